package main

import (
	"encoding/csv"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

var updateSeason = flag.Bool("update", false, "write the golden files anew")

// The demo's records: every form written, the text of the PDF as it was looked
// at, one set of figures in the CSV, JSON, GeoPackage and GeoJSON, and a change of a file or of the book
// found out.
func TestSeasonRecords(t *testing.T) {
	book, dir := t.TempDir(), filepath.Join(t.TempDir(), "records")
	must(t, "", "demo", "--dir", book, "--seed", "1")
	args := []string{"season", "--book", book, "--customer", "fernwick", "--season", "2026", "--rules", "nz-synthetic-nitrogen-cap", "--rules", "us-oh-901-5-4-04", "--rules", "us-oh-905-326"}
	out := must(t, "", append(args, "--out", dir)...)
	if !strings.Contains(out, "LIMITS KEPT") || !strings.Contains(out, "no legal advice") {
		t.Errorf("the terminal says\n%s", out)
	}
	raw, err := os.ReadFile(filepath.Join(dir, "records.json"))
	if err != nil {
		t.Fatal(err)
	}
	a := decode[reports.SeasonAnswer](t, string(raw))
	sameFigures(t, a, dir)
	goldenPDF(t, dir)
	sameWorkbook(t, a, dir)
	must(t, "", "verify", dir, "--book", book)
	days := filepath.Join(t.TempDir(), "days")
	out = must(t, "", "season", "--book", book, "--customer", "fernwick", "--from", "2026-03-02", "--to", "2026-03-04", "--rules", "nz-synthetic-nitrogen-cap", "--out", days)
	if !strings.Contains(out, "LIMITS NOT JUDGED") || !strings.Contains(out, "2026-03-02 to 2026-03-03") {
		t.Errorf("of two days the terminal says\n%s", out)
	}
	must(t, "", "verify", days, "--book", book)
	why := decode[reports.WhyAnswer](t, must(t, "", "why", a.Applications[0].ID, "--json", "--book", book, "--customer", "fernwick", "--season", "2026"))
	i := slices.IndexFunc(why.Events, func(e reports.WhyEvent) bool { return e.Type == schemas.TypeLoadWeighed })
	if i < 0 || why.Value != a.Applications[0].MassKg || len(why.Events) != a.Applications[0].Events {
		t.Fatalf("why %s: %+v", a.Applications[0].ID, why)
	}
	before := decode[reports.BeforeAnswer](t, must(t, "", "rules", "before", string(a.Planned[0].Job), "--rules", "gb-eng-farming-rules-for-water", "--json", "--at", "2026-03-02T00:00:00Z", "--book", book))
	if len(before.Planned)+len(before.Done) == 0 || len(before.Unknown) > 0 || before.Rules[0].Caveat == "" {
		t.Errorf("before %s: %+v", a.Planned[0].Job, before)
	}
	must(t, line("register.job", "2026-03-20T00:00:00Z", `{"job":"late","customer":"fernwick","fields":["f01"],"product":"urea-46n","set_rate_kg_ha":300}`)+"\n", "publish", "-", "--book", book)
	if out := must(t, "", "rules", "before", "late", "--rules", "nz-synthetic-nitrogen-cap", "--rules", "gb-eng-farming-rules-for-water", "--at", "2026-04-01T00:00:00Z", "--book", book); !strings.Contains(out, "SOMETHING STANDS AGAINST IT") || !strings.Contains(out, "EXCEEDED") ||
		!strings.Contains(out, "weather.noted with soil") || !strings.Contains(out, "no legal advice") {
		t.Errorf("before a job of 300 kg urea/ha on top of 170:\n%s", out)
	}
	page := filepath.Join(dir, "applications.csv")
	text, _ := os.ReadFile(page)
	if err := os.WriteFile(page, append(text, '\n'), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, line("event.amended", "2026-04-01T00:00:00Z", `{"amends":"`+string(why.Events[i].ID)+`","action":"void","reason":"weighed twice"}`)+"\n", "publish", "-", "--book", book)
	if out, _, exit := command(t, "", "verify", dir, "--book", book); exit != fault.Conflict.Exit() || !strings.Contains(out, "applications.csv") || !strings.Contains(out, "evidence: ") {
		t.Errorf("a changed file and book: exit %d\n%s", exit, out)
	}
}

// sameFigures holds the CSV and, by ogrinfo, GeoPackage and GeoJSON against the JSON.
func sameFigures(t *testing.T, a reports.SeasonAnswer, dir string) {
	t.Helper()
	file, err := os.Open(filepath.Join(dir, "applications.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) != len(a.Applications)+1 {
		t.Fatalf("%v: %d rows", err, len(rows))
	}
	for i, p := range a.Applications {
		if rows[i+1][0] != p.ID || rows[i+1][16] != strconv.FormatFloat(p.MassKg, 'f', 1, 64) {
			t.Errorf("row %v, want %s, %v kg", rows[i+1][:17], p.ID, p.MassKg)
		}
	}
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		t.Log("ogrinfo is not installed; GeoPackage and GeoJSON are not held against a second reader")
		return
	}
	ask := func(args ...string) string {
		out, err := exec.Command("ogrinfo", append([]string{"-ro"}, args...)...).CombinedOutput()
		if err != nil || strings.Contains(string(out), "Warning") {
			t.Fatalf("ogrinfo %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	layers := reports.SeasonLayers(a)
	for _, l := range layers {
		name := filepath.Join(dir, "records.gpkg")
		for _, out := range []string{ask("-al", name, l.Name), ask("-al", filepath.Join(dir, l.Name+".geojson"))} {
			for _, want := range []string{fmt.Sprintf("Feature Count: %d", len(l.Features)), "POLYGON (((", "WGS 84"} {
				if !strings.Contains(strings.ReplaceAll(out, "POLYGON ((1", "POLYGON (((1"), want) {
					t.Errorf("%s: no %q in\n%s", l.Name, want, out)
				}
			}
			for _, f := range l.Features {
				for i, c := range l.Columns {
					v, is := f.Values[i].(float64)
					whole := fmt.Sprintf("%s (Integer) = %.15g\n", c.Key, v) // a GeoJSON column of whole numbers
					if is && !strings.Contains(out, fmt.Sprintf("%s (Real) = %.15g\n", c.Key, v)) && !strings.Contains(out, whole) {
						t.Errorf("%s: %s %v is not in\n%s", f.ID, c.Key, v, out)
					}
				}
			}
		}
		if out := ask("-dialect", "SQLite", "-sql", "SELECT count(*) AS n FROM "+l.Name+" WHERE ST_IsValid(geom)", name); !strings.Contains(out, fmt.Sprintf("n (Integer) = %d", len(l.Features))) {
			t.Errorf("%s: not all geometries are valid:\n%s", l.Name, out)
		}
	}
	if len(layers[0].Features) != len(a.Applications) || len(layers[1].Features) != 4 {
		t.Errorf("%d applications and %d fields are on the map", len(layers[0].Features), len(layers[1].Features))
	}
}

// sameWorkbook has an independent reader open the workbook and holds its sheets
// against the tables: titles for people, numbers as numbers.
func sameWorkbook(t *testing.T, a reports.SeasonAnswer, dir string) {
	t.Helper()
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import openpyxl").Run() != nil {
		t.Log("python3-openpyxl is not installed; the workbook is not held against a second reader")
		return
	}
	out, err := exec.Command(python, "../../testdata/outside/xlsx.py", filepath.Join(dir, "records.xlsx")).Output()
	if err != nil {
		t.Fatal(err)
	}
	sheets := decode[map[string][][][2]any](t, string(out))
	for _, table := range reports.SeasonTables(a) {
		rows := sheets[table.Name]
		if len(rows) != 1+len(table.Rows)+len(table.Notes) {
			t.Errorf("sheet %s has %d rows for %d", table.Name, len(rows), len(table.Rows))
			continue
		}
		for i, c := range table.Columns {
			if rows[0][i][1] != c.Title {
				t.Errorf("sheet %s column %d is called %v, not %s", table.Name, i, rows[0][i][1], c.Title)
			}
			for k, r := range table.Rows {
				got := rows[k+1][i]
				if want, err := strconv.ParseFloat(r[i], 64); c.Right && err == nil && got != [2]any{"n", want} {
					t.Errorf("sheet %s row %d %s is %v, not %s", table.Name, k, c.Key, got, r[i])
				}
			}
		}
	}
}

func goldenPDF(t *testing.T, dir string) {
	t.Helper()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Log("pdftotext is not installed; the text of the PDF is not checked")
		return
	}
	got, err := exec.Command("pdftotext", "-layout", filepath.Join(dir, "records.pdf"), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	const golden = "testdata/season.golden.txt"
	if *updateSeason {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(golden, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Errorf("the PDF says\n%s", got)
	}
}

func TestRules(t *testing.T) {
	out := must(t, "", "rules")
	if !strings.Contains(out, "nz-synthetic-nitrogen-cap") || !strings.Contains(out, "no legal advice") || !strings.Contains(out, "read at https://") {
		t.Errorf("rules prints\n%s", out)
	}
	name := filepath.Join(t.TempDir(), "mine.json")
	shown := must(t, "", "rules", "show", "us-oh-905-326")
	if err := os.WriteFile(name, []byte(shown), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "", "rules", "check", name)
	if err := os.WriteFile(name, []byte(strings.Replace(shown, `"caveat"`, `"caveats"`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, stderr, exit := command(t, "", "rules", "check", name); exit != fault.Input.Exit() || !strings.Contains(stderr, "caveat") {
		t.Errorf("a misspelt field: exit %d, %s", exit, stderr)
	}
	if schema := decode[map[string]any](t, must(t, "", "rules", "schema")); schema["$id"] != "urn:hopperbook:rules/1" {
		t.Errorf("rules schema prints %v", schema)
	}
	if _, _, exit := command(t, "", "rules", "show", "none"); exit != fault.NotFound.Exit() {
		t.Errorf("no such rules: exit %d", exit)
	}
}
