package render

import (
	"bytes"
	"encoding/csv"
	"errors"
	"reflect"
	"testing"

	"hopperbook/reports"
)

func table() reports.Table {
	return reports.Table{Caption: "Fields", Columns: []reports.Column{{Key: "name", Title: "Name"}, {Key: "mass_t", Title: "Spread t", Right: true}},
		Rows: [][]string{{"Māra, \"north\"", "9.10"}, {"=1+1", "-12.00"}, {"line\nbreak\x1b[2J", "-"}}, Notes: []string{"a note"}}
}

func TestTextAligns(t *testing.T) {
	var b bytes.Buffer
	if err := Text(&b, table()); err != nil {
		t.Fatal(err)
	}
	want := "Fields\n" +
		"Name            Spread t\n" +
		"Māra, \"north\"       9.10\n" +
		"=1+1              -12.00\n" +
		"line\uFFFDbreak\uFFFD[2J         -\n" +
		"a note\n"
	if b.String() != want {
		t.Errorf("got\n%swant\n%s", b.String(), want)
	}
}

// encoding/csv reads back what was written, but for the text a spreadsheet
// would run.
func TestCSVReadsBackAndDisarmsFormulas(t *testing.T) {
	var b bytes.Buffer
	if err := CSV(&b, table()); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{{"name", "mass_t"}, {"Māra, \"north\"", "9.10"}, {"'=1+1", "-12.00"}, {"line\nbreak\x1b[2J", ""}}
	if !reflect.DeepEqual(rows, want) {
		t.Errorf("got %q, want %q", rows, want)
	}
	for cell, want := range map[string]bool{"-12.00": true, "+0.3": true, "7": true, "": false, "-": false, "--1": false, "+1+1": false, "-1-1": false,
		"=1": false, "1e5": false, "1.": false, "-.5": false, "-1+cmd|' /C x'!A0": false, "٣": false} {
		if isNumber(cell) != want {
			t.Errorf("isNumber(%q) is %v", cell, !want)
		}
	}
	for cell, want := range map[string]string{"+1": "'+1", "\tx": "'\tx", "\rx": "'\rx", "@x": "'@x", "-x": "'-x", "plain": "plain", "": ""} {
		if got := notFormula(cell); got != want {
			t.Errorf("notFormula(%q) = %q, want %q", cell, got, want)
		}
	}
}

// A column of numbers that text got into is disarmed as well.
func TestCSVDisarmsColumnsOfNumbers(t *testing.T) {
	var b bytes.Buffer
	column := reports.Table{Columns: []reports.Column{{Key: "mass_t", Right: true}}, Rows: [][]string{{"=1+1"}, {"-1+1"}, {"-12.5"}, {"+0.3"}, {"12 to 15"}}}
	if err := CSV(&b, column); err != nil || b.String() != "mass_t\n'=1+1\n'-1+1\n-12.5\n+0.3\n12 to 15\n" {
		t.Errorf("%q, %v", b.String(), err)
	}
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("the pipe is closed") }

func TestAFailingWriterIsAnError(t *testing.T) {
	if Text(broken{}, table()) == nil || CSV(broken{}, table()) == nil {
		t.Error("a failing writer must be an error")
	}
}
