package reports

import (
	"strings"
	"testing"
)

func TestALedgerIsHeldAgainstTheBook(t *testing.T) {
	header := []string{"document", "amount"}
	records := [][]string{header, {"1", "5"}, {"2", "7"}, {"1", "6"}, {"3", "8"}}
	order, rows := LedgerRows(records)
	if len(order) != 3 || order[0] != "1" || order[2] != "3" || len(rows["1"]) != 2 {
		t.Fatalf("%v, %v", order, rows)
	}
	book := [][]string{{"1", "5"}, {"1", "6"}}
	for want, d := range map[string]LedgerDocument{
		"": HoldLedgerRows("1", header, rows["1"], book),
		`row 2, amount: "6" here, "9" in the book`: HoldLedgerRows("1", header, rows["1"], [][]string{{"1", "5"}, {"1", "9"}}),
		"2 rows here, 1 in the book":               HoldLedgerRows("1", header, rows["1"], book[:1]),
		"no such document was issued":              HoldLedgerRows("3", header, rows["3"], nil),
	} {
		if d.Same != (want == "") || strings.Join(d.Changes, "; ") != want {
			t.Errorf("%+v, want %q", d, want)
		}
	}
	for other, same := range map[string]bool{"6.0": true, "6.01": false, "six": false} {
		if d := HoldLedgerRows("1", header, [][]string{{"1", other}}, [][]string{{"1", "6"}}); d.Same != same {
			t.Errorf("%q for 6: %+v", other, d)
		}
	}
	if none, _ := LedgerRows(nil); none != nil {
		t.Error("documents in an empty file")
	}
}
