package rating

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os/exec"
	"reflect"
	"strconv"
	"testing"

	"hopperbook/schemas"
)

// outsideBill is a bill's numbers, as the second calculator writes them.
type outsideBill struct {
	None      bool        `json:"none,omitempty"`
	Lines     [][3]string `json:"lines,omitempty"` // quantity, price, amount
	Discounts []string    `json:"discounts,omitempty"`
	Taxes     [][3]string `json:"taxes,omitempty"` // category and rate, base, amount
	Totals    []string    `json:"totals,omitempty"`
}

func outsideOf(b *Bill) outsideBill {
	out := outsideBill{Discounts: []string{}}
	for i := range b.Lines {
		l := &b.Lines[i]
		out.Lines = append(out.Lines, [3]string{b.line(l).Quantity, l.Price.StringFixed(8), b.Currency.Text(l.Amount)})
	}
	for _, d := range b.Discounts {
		out.Discounts = append(out.Discounts, b.Currency.Text(d.Amount))
	}
	for _, x := range b.Taxes {
		out.Taxes = append(out.Taxes, [3]string{x.Category + " " + x.Pct.StringFixed(8), b.Currency.Text(x.Base), b.Currency.Text(x.Amount)})
	}
	t := &b.Totals
	out.Totals = []string{b.Currency.Text(t.Net), b.Currency.Text(t.Tax), b.Currency.Text(t.Gross)}
	return out
}

// inText writes measures as decimal text, as the second calculator reads them.
func inText(q *Quantities) map[string]any {
	text := func(m Measure) string { return strconv.FormatFloat(m.Value, 'f', -1, 64) }
	masses, areas := []any{}, []any{}
	for _, m := range q.Masses {
		masses = append(masses, map[string]any{"product": m.Product, "docket_kg": text(m.DocketKg), "loaded_kg": text(m.LoadedKg), "spread_kg": text(m.SpreadKg)})
	}
	for _, a := range q.Areas {
		areas = append(areas, map[string]any{"product": a.Product, "boundary_m2": text(a.BoundaryM2), "covered_m2": text(a.CoveredM2)})
	}
	return map[string]any{"masses": masses, "areas": areas, "distance_km": text(q.DistanceKm), "time_h": text(q.TimeH)}
}

// A second calculator, in fractions of whole numbers in another language,
// agrees on 10 000 random agreements to the last digit.
func TestASecondCalculatorAgrees(t *testing.T) {
	t.Parallel()
	node, err := exec.LookPath("node")
	if err != nil {
		t.Skip("node is not installed; bills are not held against the second calculator")
	}
	const n = 10_000
	rng := rand.New(rand.NewPCG(9, 9))
	var in bytes.Buffer
	to := json.NewEncoder(&in)
	agreements := make([]schemas.RegisterAgreement, n)
	want := make([]outsideBill, n)
	none := 0
	for i := range n {
		agreements[i] = randomAgreement(rng)
		q := randomQuantities(rng)
		if err := to.Encode(map[string]any{"agreement": agreements[i], "quantities": inText(&q)}); err != nil {
			t.Fatal(err)
		}
		if b, err := Rate(agreements[i], q, Tax{}); err != nil {
			want[i].None = true
			none++
		} else {
			want[i] = outsideOf(&b)
		}
	}
	cmd := exec.CommandContext(t.Context(), node, "../../testdata/outside/rating.mjs")
	cmd.Stdin = &in
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	raw, err := cmd.Output()
	if err != nil {
		t.Fatalf("node: %v\n%s", err, stderr.String())
	}
	from := json.NewDecoder(bytes.NewReader(raw))
	wrong, shown := 0, 0
	for i := range n {
		var got outsideBill
		if err := from.Decode(&got); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, want[i]) {
			if wrong++; shown < 3 {
				shown++
				a, _ := json.Marshal(agreements[i])
				t.Errorf("%s:\nhere  %+v\nthere %+v", a, want[i], got)
			}
		}
	}
	if wrong > 0 || none > n/10 {
		t.Errorf("%d of %d bills differ, %d have no lines", wrong, n, none)
	}
	t.Logf("%d bills agree, %d of them refused", n-wrong, none)
}
