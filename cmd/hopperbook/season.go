package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/gpkg"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func seasonCommand() *cli.Command {
	return &cli.Command{
		Name:      "season",
		ArgsUsage: " ",
		Usage:     "a customer's records of a season: nutrients by field, limits, checks, every figure traceable",
		Description: "Prints the nutrients of each field; with --out it writes a folder: PDF and HTML for reading, XLSX and CSV for authorities, JSON with\n" +
			"its schema, GeoPackage and GeoJSON for maps, and a manifest that hopperbook verify DIR checks. --rules names shipped rule files\n" +
			"(hopperbook rules) or files of your own. No limit is checked that is not named. Records are no legal advice: the local\n" +
			"authority and a licensed adviser decide.\n\n" +
			"Example:\n  hopperbook season --customer fernwick --season 2026 --rules nz-synthetic-nitrogen-cap --out records",
		Flags: append(append(tableFlags(), seasonFlags()...),
			&cli.StringFlag{Name: "out", Usage: "write the records into folder `DIR`"}, paperFlag()),
		Action: seasonAction,
	}
}

func seasonFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "customer", Required: true, Usage: "whose fields: `CUSTOMER`"},
		&cli.StringFlag{Name: "season", Usage: "`SEASON`: a calendar year like 2026, or 2025/26"},
		&cli.StringFlag{Name: "from", Usage: "first local `DAY`, instead of a season; limits are judged only where the dates hold their whole period"},
		&cli.StringFlag{Name: "to", Usage: "local `DAY` after the last one"},
		&cli.StringFlag{Name: "starts", Usage: "first `DAY` (MM-DD) of a season over two years", DefaultText: desk.DefaultStarts},
		&cli.StringFlag{Name: "zone", Usage: "IANA time `ZONE` whose days count", DefaultText: "the contractor's, else the machines', else UTC"},
		rulesFlag(false),
	}
}

func rulesFlag(required bool) cli.Flag {
	return &cli.StringSliceFlag{Name: "rules", Required: required, Usage: "`RULES` to hold it against: the name of a shipped rule file, or a file; may be given several times"}
}

// seasonParams reads the flags, and the user's own rule files.
func seasonParams(c *cli.Context) (desk.SeasonParams, error) {
	p := desk.SeasonParams{Customer: schemas.CustomerID(c.String("customer")), Season: c.String("season"), From: c.String("from"), To: c.String("to"), Starts: c.String("starts"), Zone: c.String("zone")}
	var err error
	p.Rules, p.Files, err = ruleFiles(c)
	return p, err
}

// ruleFiles are those named by --rules: names of shipped ones, and files read.
func ruleFiles(c *cli.Context) (names []string, files []desk.RuleFile, err error) {
	for _, name := range c.StringSlice("rules") {
		if filepath.Ext(name) == "" {
			names = append(names, name)
			continue
		}
		raw, err := os.ReadFile(name)
		if err != nil {
			return nil, nil, fault.New("read the rules", fault.NotFound, err, "name a shipped rule file (hopperbook rules lists them) or a file that exists")
		}
		files = append(files, desk.RuleFile{Name: name, Text: string(raw)})
	}
	return names, files, nil
}

func seasonAction(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	p, err := seasonParams(c)
	if err != nil {
		return err
	}
	var a reports.SeasonAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Season, p, &a)
	})
	if err != nil {
		return err
	}
	if dir := c.String("out"); dir != "" {
		if err := writePack(dir, a, p, render.Paper(c.String("paper"))); err != nil {
			return err
		}
		logf("records are in %s: start with records.pdf; hopperbook verify %s checks them", dir, dir)
	}
	return answerOrTable(c, a, reports.SeasonTerminal)
}

const manifestName = "manifest.json"

// writePack writes the folder; the manifest last, so that a folder without one
// is not whole.
func writePack(dir string, a reports.SeasonAnswer, p desk.SeasonParams, size render.Paper) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fault.New("write the records", fault.Usage, err, "name a folder that can be made and written to")
	}
	if err := os.Remove(filepath.Join(dir, manifestName)); err != nil && !os.IsNotExist(err) {
		return fault.New("write the records", fault.Usage, err, "name a folder that can be written to")
	}
	m := reports.Manifest{Schema: reports.SchemaManifest, Customer: a.Customer, Season: a.Season.Name, From: p.From, To: p.To, Starts: p.Starts, TimeZone: a.TimeZone, Evidence: a.Evidence, NotKnown: a.NotKnown(), Files: []reports.ManifestFile{}}
	for _, f := range packFiles(a, size) {
		name := filepath.Join(dir, f.name)
		if err := paper.Write(name, f.draw); err != nil {
			return err
		}
		entry, err := digestFile(name)
		if err != nil {
			return err
		}
		m.Files = append(m.Files, entry)
	}
	return paper.Write(filepath.Join(dir, manifestName), func(w io.Writer) error { return writeIndented(w, m) })
}

type packFile struct {
	name string
	draw func(io.Writer) error
}

func packFiles(a reports.SeasonAnswer, size render.Paper) []packFile {
	sheet := a.Sheet()
	bytesOf := func(raw []byte, err error) func(io.Writer) error {
		return func(w io.Writer) error {
			if err != nil {
				return err
			}
			_, err := w.Write(raw)
			return err
		}
	}
	files := []packFile{
		{"records.pdf", func(w io.Writer) error { return render.SheetPDF(w, sheet, size) }},
		{"records.html", func(w io.Writer) error { return render.SheetHTML(w, sheet) }},
		{"records.json", func(w io.Writer) error { return writeIndented(w, a) }},
		{"records.schema.json", bytesOf(reports.SeasonSchema(), nil)},
	}
	layers := reports.SeasonLayers(a)
	for _, l := range layers {
		files = append(files, packFile{l.Name + ".geojson", bytesOf(l.GeoJSON())})
	}
	files = append(files, packFile{"records.gpkg", func(w io.Writer) error { return gpkg.Write(w, a.AsOf, layers) }})
	var names []string
	var tables []reports.Table
	for _, t := range reports.SeasonTables(a) {
		names, tables = append(names, t.Name), append(tables, t.Table)
		files = append(files, packFile{t.Name + ".csv", func(w io.Writer) error { return render.CSV(w, t.Table) }})
	}
	return append(files, packFile{"records.xlsx", func(w io.Writer) error { return render.XLSX(w, names, tables) }})
}

func writeIndented(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	return enc.Encode(v)
}

func digestFile(name string) (reports.ManifestFile, error) {
	raw, err := os.ReadFile(name)
	if err != nil {
		return reports.ManifestFile{}, fault.New("read "+name, fault.NotFound, err, "write the records again")
	}
	sum := sha256.Sum256(raw)
	return reports.ManifestFile{Name: filepath.Base(name), Bytes: int64(len(raw)), SHA256: hex.EncodeToString(sum[:])}, nil
}

// verifyPack holds a folder of records against its manifest, and its evidence
// against the book.
func verifyPack(c *cli.Context, dir string) error {
	raw, err := os.ReadFile(filepath.Join(dir, manifestName))
	if err != nil {
		return fault.New("read the manifest", fault.NotFound, err, "name a folder that hopperbook season --out wrote")
	}
	var m reports.Manifest
	if err := json.Unmarshal(raw, &m); err != nil || m.Schema != reports.SchemaManifest {
		return fault.Newf("read the manifest", fault.Input, "it is none of ours", "name a folder that hopperbook season --out wrote")
	}
	a := reports.PackAnswer{Schema: reports.SchemaManifest, Dir: dir, Customer: m.Customer, Season: m.Season, Files: len(m.Files), Whole: true, Changes: []string{}}
	for _, f := range m.Files {
		now, err := digestFile(filepath.Join(dir, filepath.Base(f.Name)))
		if err != nil || now.SHA256 != f.SHA256 {
			a.Whole = false
			a.Changes = append(a.Changes, f.Name+" is missing or not as it was written")
		}
	}
	var now reports.SeasonAnswer
	ask := desk.SeasonParams{Customer: m.Customer, Season: m.Season, From: m.From, To: m.To, Starts: m.Starts, Zone: m.TimeZone}
	if m.From != "" {
		ask.Season = "" // it only names the dates
	}
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Season, ask, &now)
	})
	switch {
	case err != nil && fault.CodeOf(err) != fault.NotFound:
		return err
	case err != nil:
		a.Changes = append(a.Changes, "the book has nothing of this customer and season")
	default:
		a.Unchanged = now.Evidence.Digest == m.Evidence.Digest
		if !a.Unchanged {
			a.Changes = append(a.Changes, fmt.Sprintf("evidence: %d events then, %d now, SHA-256 %s then, %s now", m.Evidence.Events, now.Evidence.Events, m.Evidence.Digest, now.Evidence.Digest))
		}
	}
	if err := answerOrTable(c, a, reports.VerifiedPack); err != nil {
		return err
	}
	if !a.Whole || !a.Unchanged {
		return fault.Newf("verify "+dir, fault.Conflict, "it does not agree with its manifest or the book", "what differs stands above; hopperbook season --out writes the records anew")
	}
	return nil
}

func whyCommand() *cli.Command {
	return &cli.Command{
		Name:      "why",
		ArgsUsage: "ID",
		Usage:     "where a figure of a season's records comes from: its applications, or of an application its events",
		Description: "The IDs stand beside the figures in the CSV, XLSX and JSON of hopperbook season --out. From any figure it is two steps to\n" +
			"the events: the figure's applications, then an application's events.\n\n" +
			"Example:\n  hopperbook why sum/field/f01/2026/N --customer fernwick --season 2026",
		Flags:  append(tableFlags(), seasonFlags()...),
		Action: whyAction,
	}
}

func whyAction(c *cli.Context) error {
	id, err := oneArgument(c, "ID")
	if err != nil {
		return err
	}
	p, err := seasonParams(c)
	if err != nil {
		return err
	}
	var a reports.WhyAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Why, desk.WhyParams{SeasonParams: p, ID: id}, &a)
	})
	if err != nil {
		return err
	}
	return answerOrTable(c, a, reports.WhyTable)
}

// isFolder reports whether the argument of verify is a folder of records.
func isFolder(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.IsDir()
}
