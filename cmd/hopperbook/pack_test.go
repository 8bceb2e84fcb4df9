package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// ownRules is a rule file of a user's own: 1 kg/ha of Ca, invented.
const ownRules = `{"schema":"hopperbook.rules/1","id":"own-cap","title":"Own cap","law":"None, invented","jurisdiction":"Here","sources":["the kitchen table"],"date_read":"2026-03-01",
"caveat":"Invented; the local authority and a licensed adviser decide.",
"limits":[{"id":"cap","section":"1","text":"Not too much.","nutrient":"Ca","scope":"field","period":{"kind":"calendar_year"},"value":1,"unit":"kg/ha"}]}`

// ownPack writes records of an invented book, held against a shipped rule file
// and one of the user's own, which is gone afterwards.
func ownPack(t *testing.T) (book, dir string) {
	t.Helper()
	book, dir = bookOf(t, billable(2, true, false)), filepath.Join(t.TempDir(), "records")
	rules := writeFile(t, "own.json", ownRules)
	must(t, "", "season", "--book", book, "--customer", "c1", "--season", "2026", "--rules", rules, "--rules", "nz-synthetic-nitrogen-cap", "--paper", "letter", "--out", dir)
	if err := os.Remove(rules); err != nil {
		t.Fatal(err)
	}
	return book, dir
}

// manifest changes what the manifest says.
func manifest(t *testing.T, dir string, change func(map[string]any)) {
	t.Helper()
	name := filepath.Join(dir, "manifest.json")
	raw, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	m := decode[map[string]any](t, string(raw))
	change(m)
	out, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	overwrite(t, name, string(out)+"\n")
}

// listed changes a file of a pack and what the manifest says of it; nil: the
// manifest no longer lists it.
func listed(t *testing.T, dir, name string, change func(string) string) {
	t.Helper()
	manifest(t, dir, func(m map[string]any) {
		m["files"] = slices.DeleteFunc(m["files"].([]any), func(f any) bool {
			entry := f.(map[string]any)
			if entry["name"] != name || change == nil {
				return entry["name"] == name
			}
			text, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil {
				t.Fatal(err)
			}
			text = []byte(change(string(text)))
			sum := sha256.Sum256(text)
			entry["bytes"], entry["sha256"] = len(text), hex.EncodeToString(sum[:])
			overwrite(t, filepath.Join(dir, name), string(text))
			return false
		})
	})
}

func overwrite(t *testing.T, name, text string) {
	t.Helper()
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func inFile(t *testing.T, name, old, new string) {
	t.Helper()
	raw, err := os.ReadFile(name)
	if err != nil || !strings.Contains(string(raw), old) {
		t.Fatalf("%s: %v, or no %q in it", name, err, old)
	}
	overwrite(t, name, strings.Replace(string(raw), old, new, 1))
}

// A folder of records is drawn again from the book: whatever was altered is
// named, also where the manifest was altered with it.
func TestVerifyDrawsRecordsAgain(t *testing.T) {
	book, dir := ownPack(t)
	if out := must(t, "", "verify", dir, "--book", book); !strings.Contains(out, "as drawn from the book") || !strings.Contains(out, "own-cap") {
		t.Errorf("verify says\n%s", out)
	}
	for _, c := range []struct {
		name, says string
		alter      func(dir string)
	}{
		{"a figure and its digest", "verdicts.csv", func(dir string) {
			listed(t, dir, "verdicts.csv", func(text string) string { return text + "x\n" })
		}},
		{"a file that the manifest no longer lists", "records.pdf", func(dir string) {
			listed(t, dir, "records.pdf", nil)
			overwrite(t, filepath.Join(dir, "records.pdf"), "%PDF-1.4 not ours")
		}},
		{"a file taken away everywhere", "records.pdf is missing", func(dir string) {
			listed(t, dir, "records.pdf", nil)
			_ = os.Remove(filepath.Join(dir, "records.pdf"))
		}},
		{"one file more", "permit.pdf", func(dir string) { overwrite(t, filepath.Join(dir, "permit.pdf"), "invented") }},
		{"what is not known, emptied", "manifest.json", func(dir string) {
			manifest(t, dir, func(m map[string]any) { m["not_known"] = []string{} })
		}},
		{"a rule file and its digest", "records.json", func(dir string) {
			listed(t, dir, "rule-own-cap.json", func(text string) string { return strings.Replace(text, `"value":1,`, `"value":9999,`, 1) })
		}},
		{"a shipped rule file and its digest", "is not the rule file shipped", func(dir string) {
			listed(t, dir, "rule-nz-synthetic-nitrogen-cap.json", func(text string) string { return strings.Replace(text, "190", "1900", 1) })
		}},
		{"a rule file alone", "rule-own-cap.json", func(dir string) {
			inFile(t, filepath.Join(dir, "rule-own-cap.json"), `"value":1,`, `"value":9999,`)
		}},
		{"the paper", "records.pdf", func(dir string) { inFile(t, filepath.Join(dir, "manifest.json"), `"letter"`, `"a4"`) }},
		{"a rule left out", "verdicts.csv", func(dir string) {
			manifest(t, dir, func(m map[string]any) { m["rules"] = m["rules"].([]any)[:1] })
		}},
		{"no marks", "manifest.json", func(dir string) { inFile(t, filepath.Join(dir, "manifest.json"), `"marks"`, `"nothing"`) }},
		{"marks that are none", "only against the manifest", func(dir string) { inFile(t, filepath.Join(dir, "manifest.json"), `#`, `!`) }},
		{"another customer", "c2", func(dir string) { inFile(t, filepath.Join(dir, "manifest.json"), `"c1"`, `"c2"`) }},
		{"a name out of the folder", "manifest.json", func(dir string) {
			inFile(t, filepath.Join(dir, "manifest.json"), `"records.pdf"`, `"../records.pdf"`)
		}},
	} {
		copied := filepath.Join(t.TempDir(), "records")
		if err := os.CopyFS(copied, os.DirFS(dir)); err != nil {
			t.Fatal(err)
		}
		c.alter(copied)
		out, stderr, exit := command(t, "", "verify", copied, "--book", book)
		if exit != fault.Conflict.Exit() || !strings.Contains(out+stderr, c.says) {
			t.Errorf("%s: exit %d, no %q in\n%s%s", c.name, exit, c.says, out, stderr)
		}
	}
}

// Records are held against the book as it was: what came since is said, and
// makes no file another.
func TestVerifyRecordsAfterTheBookGrew(t *testing.T) {
	book, dir := ownPack(t)
	must(t, line("register.customer", "2026-06-01T00:00:00Z", `{"customer":"c1","name":"Another name"}`)+"\n", "publish", "-", "--book", book)
	must(t, "", "verify", dir, "--book", book)
	must(t, line("load.weighed", "2026-03-02T08:00:30Z", `{"load":"l2","product":"lime","net_kg":100,"method":"bucket","machine":"m1"}`)+"\n"+
		line("hopper.refilled", "2026-03-02T12:01:00Z", `{"machine":"m1","refill":"r2","product":"lime","loads":["l2"],"residual_kg":0,"residual_method":"empty"}`)+"\n", "publish", "-", "--book", book)
	out, _, exit := command(t, "", "verify", dir, "--json", "--book", book)
	a := decode[reports.PackAnswer](t, out)
	if exit != fault.Conflict.Exit() || a.Unchanged || !a.Drawn || !a.Whole || !strings.Contains(strings.Join(a.Changes, "\n"), "hopper.refilled: 1 then, 2 now") {
		t.Errorf("a reading came late: exit %d, %+v", exit, a)
	}
	other := bookOf(t, line("register.customer", "2026-06-01T00:00:00Z", `{"customer":"c9","name":"Other"}`)+"\n")
	out, _, exit = command(t, "", "verify", dir, "--json", "--book", other)
	a = decode[reports.PackAnswer](t, out)
	if exit != fault.Conflict.Exit() || a.Drawn || !a.Whole || a.Unchanged || !strings.Contains(strings.Join(a.Changes, "\n"), "only against the manifest") {
		t.Errorf("another book: exit %d, %+v", exit, a)
	}
}

// Records are written over records, and over nothing else.
func TestRecordsSpareOtherFiles(t *testing.T) {
	book, dir := ownPack(t)
	write := func(dir string) []string {
		return []string{"season", "--book", book, "--customer", "c1", "--season", "2026", "--out", dir}
	}
	for _, name := range []string{"records.pdf", "manifest.json"} {
		own := t.TempDir()
		overwrite(t, filepath.Join(own, name), `{"mine":true}`)
		refused(t, fault.Conflict, name, write(own)...)
		entries, err := os.ReadDir(own)
		if raw, _ := os.ReadFile(filepath.Join(own, name)); err != nil || len(entries) != 1 || string(raw) != `{"mine":true}` {
			t.Errorf("someone's own %s: %v, %d files, now %q", name, err, len(entries), raw)
		}
	}
	overwrite(t, filepath.Join(dir, "notes.txt"), "mine")
	manifest(t, dir, func(m map[string]any) { // as a write that was stopped leaves it
		for _, f := range m["files"].([]any) {
			f.(map[string]any)["sha256"] = ""
		}
	})
	must(t, "", write(dir)...)
	if _, err := os.Stat(filepath.Join(dir, "rule-own-cap.json")); err != nil {
		t.Errorf("a file of which nobody knows whose it is was removed: %v", err)
	}
	_ = os.Remove(filepath.Join(dir, "rule-own-cap.json"))
	_ = os.Remove(filepath.Join(dir, "rule-nz-synthetic-nitrogen-cap.json"))
	must(t, "", append(write(dir), "--rules", "us-oh-905-326")...)
	must(t, "", write(dir)...)
	if _, err := os.Stat(filepath.Join(dir, "rule-us-oh-905-326.json")); !os.IsNotExist(err) {
		t.Errorf("a rule file of the records before is left: %v", err)
	}
	refused(t, fault.Conflict, "notes.txt is no part of the records", "verify", dir, "--book", book)
	if err := os.Remove(filepath.Join(dir, "notes.txt")); err != nil {
		t.Fatal(err)
	}
	must(t, "", "verify", dir, "--book", book)
}

// A rule file that bears the id of a shipped one and says other things is refused:
// its records could not be told from those of the law.
func TestAnAlteredShippedRuleIsRefused(t *testing.T) {
	shipped := must(t, "", "rules", "show", "nz-synthetic-nitrogen-cap")
	name := filepath.Join(t.TempDir(), "mine.json")
	for text, refuse := range map[string]bool{shipped: false, strings.Replace(shipped, "190", "250", 1): true, strings.Replace(shipped, `"nz-synthetic-nitrogen-cap"`, `"mine"`, 1): false} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		says, code := "there is no book", fault.NotFound
		if refuse {
			says, code = "give it an id of its own", fault.Input
		}
		refused(t, code, says, "season", "--customer", "c1", "--season", "2026", "--rules", name, "--book", t.TempDir())
	}
}
