package paper

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/gpkg"
	"hopperbook/reconcile/nutrient"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas/fault"
)

// ManifestName is the file of a folder of records that says what it holds.
const ManifestName = "manifest.json"

// Pack is a folder of season records: what it is drawn from.
type Pack struct {
	Answer  reports.SeasonAnswer
	Asked   desk.SeasonParams
	Paper   render.Paper
	Program string // the version that draws it
}

type packFile struct {
	name string
	raw  []byte
}

// draw draws all files in memory; the manifest is the last.
func (k *Pack) draw() ([]packFile, error) {
	copies, rules, err := ruleCopies(k.Asked)
	if err != nil {
		return nil, err
	}
	a := k.Answer
	m := reports.Manifest{Schema: reports.SchemaManifest, Program: k.Program, Customer: a.Customer, Season: a.Season.Name, From: k.Asked.From, To: k.Asked.To, Starts: k.Asked.Starts, TimeZone: a.TimeZone,
		Paper: string(cmp.Or(k.Paper, render.A4)), Rules: rules, Marks: a.Marks, Evidence: a.Evidence, NotKnown: a.NotKnown(), Files: []reports.ManifestFile{}}
	files, err := k.recordFiles()
	if err != nil {
		return nil, err
	}
	files = append(files, copies...)
	for _, f := range files {
		m.Files = append(m.Files, entryOf(f.name, f.raw))
	}
	manifest, err := packFileOf(ManifestName, func(w io.Writer) error { return writeIndented(w, m) })
	return append(files, manifest), err
}

// recordFiles are the records in every form.
func (k *Pack) recordFiles() (files []packFile, err error) {
	a, sheet, layers := k.Answer, k.Answer.Sheet(), reports.SeasonLayers(k.Answer)
	add := func(name string, draw func(io.Writer) error) {
		if err == nil {
			var f packFile
			f, err = packFileOf(name, draw)
			files = append(files, f)
		}
	}
	add("records.pdf", func(w io.Writer) error { return render.SheetPDF(w, sheet, k.Paper) })
	add("records.html", func(w io.Writer) error { return render.SheetHTML(w, sheet) })
	add("records.json", func(w io.Writer) error { return writeIndented(w, a) })
	add("records.schema.json", func(w io.Writer) error { return writeAll(w, reports.SeasonSchema()) })
	for _, l := range layers {
		add(l.Name+".geojson", func(w io.Writer) error {
			raw, err := l.GeoJSON()
			if err != nil {
				return err
			}
			return writeAll(w, raw)
		})
	}
	add("records.gpkg", func(w io.Writer) error { return gpkg.Write(w, a.AsOf, layers) })
	var names []string
	var tables []reports.Table
	for _, t := range reports.SeasonTables(a) {
		names, tables = append(names, t.Name), append(tables, t.Table)
		add(t.Name+".csv", func(w io.Writer) error { return render.CSV(w, t.Table) })
	}
	add("records.xlsx", func(w io.Writer) error { return render.XLSX(w, names, tables) })
	return files, err
}

// ruleCopies are the rule files that records were held against, so that these
// can be drawn again wherever those are by then.
func ruleCopies(asked desk.SeasonParams) (files []packFile, rules []reports.ManifestRule, err error) {
	rules = []reports.ManifestRule{}
	add := func(id string, shipped bool, raw []byte) {
		name := "rule-" + id + ".json"
		files, rules = append(files, packFile{name, raw}), append(rules, reports.ManifestRule{ID: id, File: name, Shipped: shipped})
	}
	for _, id := range asked.Rules {
		raw, ok := nutrient.ShippedText(id)
		if !ok {
			return nil, nil, fault.Newf("copy rule file "+id, fault.NotFound, "no such rule file is shipped", "hopperbook rules lists them")
		}
		add(id, true, raw)
	}
	for _, f := range asked.Files {
		r, err := nutrient.Read(f.Name, []byte(f.Text))
		if err != nil {
			return nil, nil, err
		}
		shipped, _ := nutrient.ShippedText(r.ID)
		add(r.ID, f.Text == string(shipped), []byte(f.Text))
	}
	return files, rules, nil
}

func packFileOf(name string, draw func(io.Writer) error) (packFile, error) {
	var b bytes.Buffer
	if err := draw(&b); err != nil {
		return packFile{}, fault.Wrap("draw "+name, err)
	}
	return packFile{name, b.Bytes()}, nil
}

func writeAll(w io.Writer, raw []byte) error {
	_, err := w.Write(raw)
	return err
}

func writeIndented(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	return enc.Encode(v)
}

func entryOf(name string, raw []byte) reports.ManifestFile {
	sum := sha256.Sum256(raw)
	return reports.ManifestFile{Name: name, Bytes: int64(len(raw)), SHA256: hex.EncodeToString(sum[:])}
}

// Write writes the folder: over records that are there, and over no file that
// their manifest does not list. The manifest is written first without digests,
// so that what is left of a write that was stopped is known for ours and is not
// whole, and last as it is.
func (k *Pack) Write(dir string) error {
	files, err := k.draw()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fault.New("write the records", fault.Usage, err, "name a folder that can be made and written to")
	}
	before, err := clash(dir, files)
	if err != nil {
		return err
	}
	begun := reports.Manifest{Schema: reports.SchemaManifest, Customer: k.Answer.Customer, Season: k.Answer.Season.Name, Files: slices.Clone(before.Files)}
	for _, f := range files {
		begun.Files = append(begun.Files, reports.ManifestFile{Name: f.name})
	}
	if err := Write(filepath.Join(dir, ManifestName), func(w io.Writer) error { return writeIndented(w, begun) }); err != nil {
		return err
	}
	for _, f := range before.Files { // that these records have not
		name := filepath.Join(dir, filepath.Base(f.Name))
		raw, err := os.ReadFile(name)
		if err != nil || entryOf(f.Name, raw) != f || slices.ContainsFunc(files, func(n packFile) bool { return n.name == f.Name }) {
			continue
		}
		if err := os.Remove(name); err != nil {
			return fault.New("write the records", fault.Usage, err, "name a folder that can be written to")
		}
	}
	for _, f := range files {
		if err := Write(filepath.Join(dir, f.name), func(w io.Writer) error { return writeAll(w, f.raw) }); err != nil {
			return err
		}
	}
	return nil
}

// clash is the manifest of the records that lie in the folder; an error where
// a file would be written over that is none of theirs.
func clash(dir string, files []packFile) (before reports.Manifest, err error) {
	before, err = ReadManifest(dir)
	for _, f := range files {
		if ours := err == nil && (f.name == ManifestName || before.Names(f.name)); ours {
			continue
		}
		if _, missing := os.Lstat(filepath.Join(dir, f.name)); !os.IsNotExist(missing) {
			return before, fault.Newf("write the records", fault.Conflict, filepath.Join(dir, f.name)+" is there and is no file of records that this program wrote",
				"name another folder with --out, or move that file away; nothing was written")
		}
	}
	return before, nil
}

// ReadManifest reads what a folder of records says of itself.
func ReadManifest(dir string) (m reports.Manifest, err error) {
	const op, hint = "read the manifest", "name a folder that hopperbook season --out wrote"
	raw, err := os.ReadFile(filepath.Join(dir, ManifestName))
	if err != nil {
		return m, fault.New(op, fault.NotFound, err, hint)
	}
	if err := json.Unmarshal(raw, &m); err != nil || m.Schema != reports.SchemaManifest {
		return m, fault.Newf(op, fault.Input, "it is none of ours", hint)
	}
	return m, nil
}

// Rules are the rule files that a folder of records was held against, ready to
// be asked with. changes says which cannot be relied on.
func Rules(dir string, m reports.Manifest) (rules []desk.RuleFile, changes []string) {
	for _, r := range m.Rules {
		name := filepath.Base(r.File)
		raw, err := os.ReadFile(filepath.Join(dir, name))
		shipped, isShipped := nutrient.ShippedText(r.ID)
		switch {
		case r.Shipped && isShipped && (err != nil || !bytes.Equal(raw, shipped)):
			changes = append(changes, name+" is not the rule file shipped with this program: it was altered, or is of another version")
			if err != nil || !m.Lists(entryOf(name, raw)) {
				raw = shipped
			}
		case err != nil:
			changes = append(changes, name+" is missing: without it the records cannot be drawn again")
			continue
		}
		rules = append(rules, desk.RuleFile{Name: name, Text: string(raw)})
	}
	return rules, changes
}

// Hold holds a folder against what is drawn, and says which files are altered,
// missing or no part of it.
func (k *Pack) Hold(dir string, m reports.Manifest) (changes []string, err error) {
	files, err := k.draw()
	if err != nil {
		return nil, err
	}
	var names []string
	for _, f := range files {
		names = append(names, f.name)
		raw, err := os.ReadFile(filepath.Join(dir, f.name))
		switch {
		case err != nil:
			changes = append(changes, f.name+" is missing")
		case bytes.Equal(raw, f.raw):
		case f.name == ManifestName:
			changes = append(changes, f.name+" is not what is drawn from the book"+k.otherHand(m))
		case m.Lists(entryOf(f.name, raw)):
			changes = append(changes, f.name+" is as the manifest says, but not what is drawn from the book"+k.otherHand(m))
		default:
			changes = append(changes, f.name+" was altered after it was written")
		}
	}
	unlisted, err := others(dir, names)
	return append(changes, unlisted...), err
}

func (k *Pack) otherHand(m reports.Manifest) string {
	if m.Program != k.Program {
		return fmt.Sprintf(": it was altered, or drawn by version %q of this program, which is %q", m.Program, k.Program)
	}
	return ": it was altered, or drawn by another version of this program"
}

// HoldManifest holds a folder against its manifest alone: for records that the
// book cannot draw again.
func HoldManifest(dir string, m reports.Manifest) (changes []string, err error) {
	names := []string{ManifestName}
	for _, f := range m.Files {
		names = append(names, f.Name)
		raw, err := os.ReadFile(filepath.Join(dir, filepath.Base(f.Name)))
		if err != nil {
			changes = append(changes, f.Name+" is missing")
		} else if entryOf(f.Name, raw) != f {
			changes = append(changes, f.Name+" was altered after it was written")
		}
	}
	unlisted, err := others(dir, names)
	return append(changes, unlisted...), err
}

// others are what lies in the folder beside those names.
func others(dir string, names []string) (changes []string, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fault.New("read the folder", fault.NotFound, err, "name a folder that you may read")
	}
	for _, e := range entries {
		if !slices.Contains(names, e.Name()) {
			changes = append(changes, e.Name()+" is no part of the records")
		}
	}
	return changes, nil
}
