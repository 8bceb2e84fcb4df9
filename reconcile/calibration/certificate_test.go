package calibration

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func dated[T any](hours float64, data T) Dated[T] {
	return Dated[T]{noon.Add(time.Duration(hours * float64(time.Hour))), data}
}

// tested is a machine that passed everything at noon.
func tested(t *testing.T) CertificateInput {
	t.Helper()
	masses := trayCases(t)[0].masses
	return CertificateInput{Machine: "sp1", Product: "urea", AsOf: noon.AddDate(0, 0, 10), RegisterKgM3: 760,
		Densities: []Dated[schemas.TestDensity]{dated(-2, schemas.TestDensity{Product: "urea", MassKg: 16.2, VolumeL: 20, TareKg: known(1), Repeats: []float64{16.1, 16.2, 16.3}})},
		Catches: []Dated[schemas.TestCatch]{
			dated(-1, schemas.TestCatch{CatchTest: "C1", Product: "urea", GateMm: 40, CollectedKg: 20, Repeats: []float64{19.9, 20, 20.1}, BoutWidthM: 10, DistanceM: known(100), DiscSet: "granular"}),
			dated(0, schemas.TestCatch{CatchTest: "C2", Product: "urea", GateMm: 60, CollectedKg: 30, Repeats: []float64{29.9, 30, 30.1}, BoutWidthM: 10, DistanceM: known(100), DiscSet: "granular"}),
		},
		Trays: []Dated[schemas.TestTray]{dated(1, schemas.TestTray{TrayTest: "T1", Product: "urea", BoutWidthM: 10, TraySpacingM: 1, TrayWidthM: 0.5, TrayLengthM: 0.5,
			MassesG: masses, DiscSet: "granular", WindMS: known(1)})},
		Overlaps: []Dated[schemas.TestOverlap]{dated(2, schemas.TestOverlap{OverlapTest: "O1", AtDrivingLineG: []float64{10, 10.1, 9.9}, BetweenLinesG: []float64{9.9, 10, 10.1}})},
		Checks:   []Check{checkAt(0, schemas.ItemGuard, 1, "-", true)},
		Changes:  []ProductChange{{noon.Add(-3 * time.Hour), "lime"}, {noon.Add(time.Hour), "urea"}},
		Spread:   []Spread{{noon.Add(-time.Hour), 9000}, {noon.Add(time.Hour), 4000}, {noon.AddDate(0, 0, 1), 5000}, {noon.AddDate(0, 0, 20), 7000}},
	}
}

func certify(t *testing.T, in CertificateInput) Certificate {
	t.Helper()
	c, err := Certify(in)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestACertificateByHand(t *testing.T) {
	c := certify(t, tested(t))
	if !c.Validity.Valid || len(c.Validity.Reasons) != 0 || len(c.Findings) != 0 {
		t.Errorf("%+v %+v", c.Validity, c.Findings)
	}
	if c.DiscSet != "granular" || !c.TestedAt.Equal(noon) || !c.Validity.Until.Equal(noon.AddDate(0, 0, 365)) || c.Validity.UntilKg != 500_000 {
		t.Errorf("%+v", c.Validity)
	}
	near(t, "spread since the test", c.Validity.SpreadKg, 9000, 1e-9)
	near(t, "density", c.Density.DensityKgM3, 760, 1e-9)
	if len(c.Catches) != 2 || len(c.Curves) != 1 || len(c.Curves[0].Points) != 2 {
		t.Fatalf("%+v", c.Curves)
	}
	near(t, "rate of C2", *c.Catches[1].Flow.RateKgHa, 300, 1e-9)
	near(t, "widest", *c.Tray.Result.WidestBoutWidthM, 13, 1e-9)
	if c.Tray.Result.Divisor != Sample || c.Overlap.Result.Verdict != Even || len(c.Checks) != 1 {
		t.Errorf("%+v", c)
	}
	if _, err := json.Marshal(c); err != nil {
		t.Error(err)
	}
}

// What stands against a certificate is said, each alone.
func TestWhatStandsAgainstACertificate(t *testing.T) {
	for _, r := range []struct {
		name   string
		change func(*CertificateInput)
		says   string
	}{
		{"another product", func(in *CertificateInput) {
			in.Changes = append(in.Changes, ProductChange{noon.AddDate(0, 0, 2), "lime"})
		}, "changed to lime on 2026-03-04"},
		{"another product later", func(in *CertificateInput) {
			in.Changes = append(in.Changes, ProductChange{noon.AddDate(0, 0, 11), "lime"})
		}, ""},
		{"too much spread", func(in *CertificateInput) { in.ValidKg = 9000 }, "9.0 t have been spread since the test; it holds for 9.0 t"},
		{"nearly", func(in *CertificateInput) { in.ValidKg = 9001 }, ""},
		{"too old", func(in *CertificateInput) { in.ValidDays = 10 }, "it held until 2026-03-12"},
		{"a day before", func(in *CertificateInput) { in.ValidDays = 11 }, ""},
		{"a guard off", func(in *CertificateInput) {
			in.Checks = append(in.Checks, checkAt(5, schemas.ItemHitchChain, 0, "-", false))
		}, "hitch chain: noted as failed"},
		{"a slack belt", func(in *CertificateInput) {
			in.Checks = append(in.Checks, checkAt(5, schemas.ItemBeltSag, 60, "mm", true))
		}, ""},
		{"drift", func(in *CertificateInput) { in.Against = []string{"it has drifted"} }, "it has drifted"},
		{"no catch test", func(in *CertificateInput) { in.Catches = nil }, "no catch test"},
		{"no tray test", func(in *CertificateInput) { in.Trays = nil }, "no tray test"},
		{"an old tray test", func(in *CertificateInput) { in.Trays[0].At = noon.AddDate(-1, 0, 0) }, "the tray test of 2025-03-02 is older than 365 days"},
		{"no wind", func(in *CertificateInput) { in.Trays[0].Data.WindMS = nil }, "nobody wrote down the wind"},
		{"wind", func(in *CertificateInput) { in.Trays[0].Data.WindMS = known(4) }, "the tray test is void"},
		{"a bout width too wide", func(in *CertificateInput) { in.Trays[0].Data.BoutWidthM = 15 }, "at the set bout width of 15 m the CV to-and-fro is 25.9 %"},
		{"a bout width beyond the trays", func(in *CertificateInput) { in.Trays[0].Data.BoutWidthM = 22 }, "beyond the row of trays"},
		{"passes that do not meet", func(in *CertificateInput) { in.Overlaps[0].Data.BetweenLinesG = []float64{6, 6, 6} }, "too little between the driving lines"},
	} {
		in := tested(t)
		r.change(&in)
		v := certify(t, in).Validity
		if v.Valid != (r.says == "") || !strings.Contains(strings.Join(v.Reasons, "\n"), r.says) {
			t.Errorf("%s: %v %q, want %q", r.name, v.Valid, v.Reasons, r.says)
		}
	}
}

// The newest tests of the product and set-up up to the day count, whatever else
// is in the book.
func TestACertificateTakesItsOwnTests(t *testing.T) {
	want, err := json.Marshal(certify(t, tested(t)))
	if err != nil {
		t.Fatal(err)
	}
	in := tested(t)
	odd := in.Catches[0].Data
	odd.CatchTest, odd.CollectedKg, odd.Repeats = "X", 99, nil
	other, powder := odd, odd
	other.Product, powder.DiscSet = "lime", "powder"
	in.Catches = append(in.Catches, dated(-40, odd), dated(400, odd), dated(0.5, other))
	tray := in.Trays[0].Data
	tray.MassesG = []float64{1, 9, 1}
	in.Trays = append(in.Trays, dated(-40, tray), dated(400, tray))
	in.Densities = append(in.Densities, dated(400, in.Densities[0].Data))
	slices.Reverse(in.Catches)
	slices.Reverse(in.Trays)
	got, err := json.Marshal(certify(t, in))
	if err != nil || string(got) != string(want) {
		t.Errorf("other tests count:\n%s\n%s", got, want)
	}
	in.Catches = append(in.Catches, dated(1.5, powder))
	if c := certify(t, in); c.DiscSet != "powder" {
		t.Errorf("disc set %q, the newest test is with powder discs", c.DiscSet)
	}
	in.DiscSet = "powder"
	if c := certify(t, in); len(c.Catches) != 1 || c.Catches[0].Test.CatchTest != "X" || c.Tray != nil || c.Validity.Valid {
		t.Errorf("the powder set-up: %+v", c)
	}
}

func TestNoCertificateWithoutTests(t *testing.T) {
	in := tested(t)
	in.Product = "dap"
	if _, err := Certify(in); fault.CodeOf(err) != fault.NotFound || fault.HintOf(err) == "" {
		t.Errorf("%v", err)
	}
	in = tested(t)
	in.Catches[1].Data.Repeats[0] = 0
	_, err := Certify(in)
	wantInput(t, err, "C2: catch test: catch 1: 0 kg is not above the tare")
	in = tested(t)
	in.Trays[0].Data.MassesG = []float64{1, math.NaN(), math.NaN(), 1}
	_, err = Certify(in)
	wantInput(t, err, "T1: tray test: tray 2 is missing")
	in = tested(t)
	in.Densities, in.Overlaps, in.Checks = nil, nil, nil
	c := certify(t, in)
	if got := kinds(c.Findings); !slices.Equal(got, []Kind{NotTested, NotTested, NotTested}) || !c.Validity.Valid {
		t.Errorf("%v %+v", c.Findings, c.Validity)
	}
}

func TestADensityIsComparedWithTheOneBefore(t *testing.T) {
	in := tested(t)
	in.Densities = append(in.Densities, dated(-48, schemas.TestDensity{Product: "urea", MassKg: 20, VolumeL: 20}))
	c := certify(t, in)
	if len(c.Density.Against) != 2 || c.Density.Against[1].With != "last_test" || !slices.Contains(kinds(c.Findings), DensityChanged) {
		t.Errorf("%+v", c.Density)
	}
}

func TestCVLimitFor(t *testing.T) {
	for _, r := range []struct {
		analysis *schemas.Analysis
		want     float64
	}{{nil, 15}, {&schemas.Analysis{}, 15}, {&schemas.Analysis{NPct: known(46)}, 15}, {&schemas.Analysis{NeutralisingValuePct: known(92)}, 25},
		{&schemas.Analysis{NPct: known(27), NeutralisingValuePct: known(20)}, 15}} {
		if got := CVLimitFor(r.analysis); got != r.want {
			t.Errorf("%+v: %v", r.analysis, got)
		}
	}
}
