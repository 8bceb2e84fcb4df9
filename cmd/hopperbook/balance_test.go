package main

import (
	"math"
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

// A square of 4 ha spread with 800 kg, then 500 kg more put in, of which
// nothing is driven yet: 2.5 ha at 200 kg/ha. Through the book itself and
// through a hub.
func TestBalance(t *testing.T) {
	dir := t.TempDir()
	events := squareField() +
		line("load.weighed", "2026-03-02T09:05:00Z", `{"load":"L2","product":"urea","net_kg":500,"method":"weighbridge"}`) + "\n" +
		line("hopper.refilled", "2026-03-02T09:10:00Z", `{"machine":"sp1","refill":"R3","product":"urea","loads":["L2"],"residual_kg":0,"residual_method":"empty"}`) + "\n"
	must(t, events, "publish", "-", "--book", dir)
	args := []string{"balance", "sp1", "--json", "--book", dir}
	own := must(t, "", args...)
	a := decode[reports.BalanceAnswer](t, own)
	if a.Schema != reports.SchemaBalance || len(a.Intervals) != 3 {
		t.Fatalf("%+v", a)
	}
	first := a.Intervals[0]
	if first.Refill != "R1" || first.ToRefill != "R2" || first.MassKg != 800 || math.Abs(first.NominalKg-800) > 2 || !(first.MassLowKg < 760 && 840 < first.MassHighKg) ||
		!(first.FlowRatioLow < 1 && 1 < first.FlowRatioHigh) {
		t.Errorf("first interval %+v", first)
	}
	h := a.Hopper
	if h.HopperKg != 500 || !(h.HopperLowKg < 460 && 540 < h.HopperHighKg) || h.SetRateKgHa != 200 || math.Abs(h.LeftHa-2.5) > 0.02 || h.LoadedKg != 1300 || h.SpreadKg != 800 {
		t.Errorf("hopper %+v", h)
	}
	for _, want := range []string{"Now in the hopper: 0.50 t", "enough for 2.5 ha at the set rate of 200.0 kg/ha", "Loaded 1.300 t + 0.000 t at the start = spread 0.800 t + 0.500 t in the hopper.", "estimated"} {
		if text := must(t, "", "balance", "sp1", "--book", dir); !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if csv := must(t, "", "balance", "sp1", "--csv", "--book", dir); !strings.HasPrefix(csv, "load,refill,to_refill,from,product,loaded_t,mass_t,") || strings.Count(csv, "\n") != 4 {
		t.Errorf("CSV\n%s", csv)
	}

	startHub(t, dir)
	if got := must(t, "", args...); got != own {
		t.Errorf("a hub says\n%s\nthe book itself\n%s", got, own)
	}
	for _, r := range []struct {
		args string
		exit fault.Code
		says string
	}{
		{"balance", fault.Usage, "takes one MACHINE"},
		{"balance sp2", fault.NotFound, "name one of: sp1"},
	} {
		_, stderr, exit := command(t, "", append(strings.Fields(r.args), "--book", dir)...)
		if exit != r.exit.Exit() || !strings.Contains(stderr, r.says) {
			t.Errorf("hopperbook %s: exit %d, %s", r.args, exit, stderr)
		}
	}
}
