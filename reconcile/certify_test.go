package reconcile

import (
	"encoding/json"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// certified is a machine that was set up and tested, and then spread a season
// of four loads of 800 kg.
func certified() *world {
	w := season(1, func(int) float64 { return 1 })
	at := func(minute int) time.Time { return day.Add(time.Duration(minute-60) * time.Minute) }
	setting := meta(w, "sp1", schemas.SettingChanged{Product: "super", BoutWidthM: boutM, SetRateKgHa: 200, DiscSet: "granular", CatchTest: "C1"})
	setting.Time = at(30)
	distance, wind := 100.0, 1.0
	catch := meta(w, "sp1", schemas.TestCatch{CatchTest: "C1", Product: "super", GateMm: 60, CollectedKg: 40, Repeats: []float64{39.9, 40, 40.1}, BoutWidthM: boutM, DistanceM: &distance})
	catch.Time = at(10)
	tray := meta(w, "sp1", schemas.TestTray{TrayTest: "T1", Product: "super", BoutWidthM: boutM, TraySpacingM: 5, TrayWidthM: 0.5, TrayLengthM: 0.5, WindMS: &wind,
		MassesG: []float64{0, 1.25, 2.5, 3.75, 5, 3.75, 2.5, 1.25, 0}})
	tray.Time = at(40)
	w.in.Settings, w.in.Catches, w.in.Trays = append(w.in.Settings, setting), append(w.in.Catches, catch), append(w.in.Trays, tray)
	return w
}

func TestCertifyReadsTheBook(t *testing.T) {
	w := certified()
	c, err := Certify(w.in, CertificateAsk{Machine: "sp1"})
	if err != nil {
		t.Fatal(err)
	}
	if !c.Validity.Valid || c.Product != "super" || c.DiscSet != "granular" {
		t.Errorf("%+v %q %q", c.Validity, c.Product, c.DiscSet)
	}
	near(t, "spread since", c.Validity.SpreadKg, 3200, 1)
	near(t, "rate", *c.Catches[0].Flow.RateKgHa, 200, 1e-9)

	early, err := Certify(w.in, CertificateAsk{Machine: "sp1", AsOf: w.in.Catches[0].Time.Add(time.Minute)})
	if err != nil || early.Validity.SpreadKg != 0 || early.Tray != nil || early.Validity.Valid {
		t.Errorf("before anything was spread: %+v %v", early.Validity, err)
	}
	change := meta(w, "sp1", schemas.SettingChanged{Product: "lime", BoutWidthM: 12, SetRateKgHa: 2000})
	w.in.Settings = append(w.in.Settings, change)
	if c, err = Certify(w.in, CertificateAsk{Machine: "sp1"}); err != nil || c.Validity.Valid || !strings.Contains(c.Validity.Reasons[0], "changed to lime") {
		t.Errorf("after a change of product: %+v %v", c.Validity, err)
	}
}

func TestCertifyRefuses(t *testing.T) {
	w := certified()
	lime := w.in.Trays[0]
	lime.Data.Product = "lime"
	w.in.Trays = append(w.in.Trays, lime)
	for _, r := range []struct {
		ask  CertificateAsk
		code fault.Code
		hint string
	}{
		{CertificateAsk{Machine: "sp9"}, fault.NotFound, "tested are: sp1"},
		{CertificateAsk{Machine: "sp1"}, fault.Usage, "name one with --product: lime, super"},
		{CertificateAsk{Machine: "sp1", Product: "dap"}, fault.NotFound, "it was tested with: lime, super"},
		{CertificateAsk{Machine: "sp1", Product: "super", AsOf: day.AddDate(0, 0, -9)}, fault.NotFound, "make the tests"},
	} {
		_, err := Certify(w.in, r.ask)
		if fault.CodeOf(err) != r.code || !strings.Contains(fault.HintOf(err), r.hint) {
			t.Errorf("%+v: %v", r.ask, fault.Message(err))
		}
	}
}

func TestACertificateIsTheSameInAnyOrder(t *testing.T) {
	w := certified()
	certificate := func() string {
		c, err := Certify(w.in, CertificateAsk{Machine: "sp1"})
		if err != nil {
			t.Fatal(err)
		}
		raw, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		return string(raw)
	}
	again := w.in.Catches[0]
	again.Sequence, again.Data.CatchTest = again.Sequence+1000, "C2" // at the same time
	w.in.Catches = append(w.in.Catches, again)
	want := certificate()
	rng := rand.New(rand.NewPCG(1, 9))
	for range 5 {
		rng.Shuffle(len(w.in.Catches), func(i, j int) { w.in.Catches[i], w.in.Catches[j] = w.in.Catches[j], w.in.Catches[i] })
		rng.Shuffle(len(w.in.Passes), func(i, j int) { w.in.Passes[i], w.in.Passes[j] = w.in.Passes[j], w.in.Passes[i] })
		rng.Shuffle(len(w.in.Refills), func(i, j int) { w.in.Refills[i], w.in.Refills[j] = w.in.Refills[j], w.in.Refills[i] })
		if got := certificate(); got != want {
			t.Fatalf("another order, another certificate:\n%s\n%s", got, want)
		}
	}
}

// A density off the register, or off the test before, is said with what it does
// to the rate; a catch test without a catch is said.
func TestFieldTestsAreFound(t *testing.T) {
	w := newWorld(1)
	register := 1100.0
	w.in.Products = append(w.in.Products, meta(w, "", schemas.RegisterProduct{Product: "super", Name: "Super", Form: "granular", BulkDensityKgM3: &register}))
	density := func(days int, kg ...float64) {
		d := meta(w, "sp1", schemas.TestDensity{Product: "super", MassKg: kg[0], VolumeL: 20, Repeats: kg})
		d.Time = day.AddDate(0, 0, days)
		w.in.Densities = append(w.in.Densities, d)
	}
	density(0, 22, 22.02, 21.98)
	if found := run(t, w.in).Findings; len(found) != 0 {
		t.Errorf("as the register has it: %+v", found)
	}
	density(5, 20.9, 20.92, 20.88)
	found := run(t, w.in).Findings
	if len(found) != 2 || found[0].Kind != "density_changed" || !strings.Contains(found[0].Text+found[1].Text, "the rate changes by -5.0 %") || !strings.Contains(found[0].Text+found[1].Text, "the last test") {
		t.Errorf("%+v", found)
	}
	distance := 100.0
	w.in.Densities = nil
	w.in.Catches = append(w.in.Catches, meta(w, "sp1", schemas.TestCatch{CatchTest: "C1", Product: "super", BoutWidthM: boutM, DistanceM: &distance}))
	if found := run(t, w.in).Findings; len(found) != 1 || found[0].Kind != "catch_test_unusable" || !strings.Contains(found[0].Text, "C1") {
		t.Errorf("%+v", found)
	}
}
