package render

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"testing"

	"hopperbook/reports"
)

// An independent reader finds numbers as numbers, and text as text whatever
// stands in it.
func TestXLSXIsReadByASecondReader(t *testing.T) {
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import openpyxl").Run() != nil {
		t.Skip("python3-openpyxl is not installed; the workbook is not held against a second reader")
	}
	table := reports.Table{Columns: []reports.Column{{Key: "name", Title: "Name"}, {Key: "kg", Title: "=kg", Right: true}}, Notes: []string{"a note"},
		Rows: [][]string{{"=1+1", "12.50"}, {"-", "-"}, {"007", "-3"}, {"+cmd", "=2"}, {"@x\x00<&\u00e4", "not known"}}}
	second := reports.Table{Columns: []reports.Column{{Key: "a"}}, Rows: [][]string{{"b"}}}
	var raw bytes.Buffer
	for range 8 {
		var again bytes.Buffer
		if err := XLSX(&again, []string{"first", "second"}, []reports.Table{table, second}); err != nil {
			t.Fatal(err)
		}
		if raw.Len() > 0 && !bytes.Equal(raw.Bytes(), again.Bytes()) {
			t.Error("the same tables give other bytes")
		}
		raw = again
	}
	name := filepath.Join(t.TempDir(), "t.xlsx")
	if err := os.WriteFile(name, raw.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(python, "../../testdata/outside/xlsx.py", name).Output()
	if err != nil {
		t.Fatal(err)
	}
	var got map[string][][][2]any
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	text, none := func(v string) [2]any { return [2]any{"s", v} }, [2]any{"n", nil}
	want := map[string][][][2]any{"second": {{text("a")}, {text("b")}}, "first": {
		{text("Name"), text("'=kg")}, {text("'=1+1"), {"n", 12.5}}, {none, none}, {text("007"), {"n", -3.0}}, {text("'+cmd"), text("'=2")}, {text("'@x<&\u00e4"), text("not known")}, {text("a note"), none}}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("read %v\nwant %v", got, want)
	}
	if XLSX(&raw, []string{"one"}, nil) == nil || XLSX(&raw, nil, nil) == nil {
		t.Error("a workbook without sheets is written")
	}
}
