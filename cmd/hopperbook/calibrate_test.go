package main

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const trapezoid = "0,2,4,6,8,10,12,12,12,12,12,12,12,12,12,12,12,10,8,6,4,2,0"

// A trapezoid flat to 5 m and nothing from 11 m on is even at 16 m: its rows as
// the check values have them, from flags and from a file.
func TestCalibrateTray(t *testing.T) {
	type rows struct {
		Rows []struct {
			BoutWidthM *float64 `json:"bout_width_m"`
			MeanKgHa   *float64 `json:"mean_kg_ha"`
			TF         *float64 `json:"to_and_fro_cv_pct"`
			RR         *float64 `json:"round_and_round_cv_pct"`
		} `json:"rows"`
		Widest   *float64 `json:"widest_bout_width_m"`
		MeanKgHa *float64 `json:"mean_kg_ha"`
		Valid    bool     `json:"valid"`
		Divisor  string   `json:"divisor"`
	}
	flags := must(t, "", "calibrate", "tray", "--masses-g", trapezoid, "--spacing", "1", "--wind", "1", "--low-analysis", "--bout-width", "16", "--json")
	name := filepath.Join(t.TempDir(), "tray.json")
	if err := os.WriteFile(name, []byte(`{"tray_test":"T2","product":"lime","bout_width_m":16,"tray_spacing_m":1,"tray_width_m":0.5,"tray_length_m":0.5,"wind_m_s":1,"masses_g":[`+trapezoid+`]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	a := decode[rows](t, flags)
	b := decode[rows](t, must(t, "", "calibrate", "tray", name, "--json", "--limit", "25"))
	for _, r := range []rows{a, b} {
		if len(r.Rows) != 20 || *r.Widest != 18 || *r.MeanKgHa != 480 || !r.Valid || r.Divisor != "sample" {
			t.Fatalf("%d rows, widest %v, mean %v, %+v", len(r.Rows), *r.Widest, *r.MeanKgHa, r)
		}
		row := r.Rows[15]
		if *row.BoutWidthM != 19 || math.Abs(*row.MeanKgHa-404.2105) > 1e-4 || math.Abs(*row.TF-24.7572) > 1e-4 || math.Abs(*row.RR-25.0987) > 1e-4 {
			t.Errorf("at 19 m %v %v %v %v", *row.BoutWidthM, *row.MeanKgHa, *row.TF, *row.RR)
		}
	}
	population := decode[rows](t, must(t, "", "calibrate", "tray", name, "--json", "--divisor", "population", "--limit", "25"))
	if *population.Widest != 19 || population.Divisor != "population" {
		t.Errorf("population: widest %v", *population.Widest)
	}
	text := must(t, "", "calibrate", "tray", name, "--at", "15.5")
	for _, want := range []string{"sample standard deviation", "T2 lime", "  15.5  ", "Widest bout width to-and-fro within a CV of 15 %: 10 m", "passes_later", "regular", "nobody stands in the throw"} {
		if !strings.Contains(text, want) {
			t.Errorf("the table lacks %q:\n%s", want, text)
		}
	}
	if out := must(t, "", "calibrate", "tray", name, "--csv"); !strings.HasPrefix(out, "bout_width_m,mean_kg_ha,to_and_fro_cv_pct,round_and_round_cv_pct,") {
		t.Errorf("csv %.100s", out)
	}
}

// A wind over the limit voids the test, none written down is said, a missing
// tray is filled and said.
func TestCalibrateTrayFindings(t *testing.T) {
	windy := must(t, "", "calibrate", "tray", "--masses-g", trapezoid, "--spacing", "1", "--wind", "2.3")
	if !strings.Contains(windy, "VOID") || !strings.Contains(windy, "within a CV of 15 %: void") || strings.Contains(windy, "widest") {
		t.Errorf("windy:\n%s", windy)
	}
	null := must(t, `[{"masses_g":[0,5,null,5,0],"tray_spacing_m":1}]`, "calibrate", "tray", "-")
	for _, want := range []string{"wind_unknown", "tray_filled: tray 3"} {
		if !strings.Contains(null, want) {
			t.Errorf("no %s in\n%s", want, null)
		}
	}
	if dash := must(t, "", "calibrate", "tray", "--masses-g", "0,5,-,5,0", "--spacing", "1"); dash != null {
		t.Errorf("by flags\n%s", dash)
	}
}

// Catch tests of a season's export: voided ones do not count, products and
// disc sets are curves of their own, and the rate gives the gate.
func TestCalibrateGateFromEvents(t *testing.T) {
	event := func(id byte, seq, kind, data string) string {
		return `{"specversion":"1.0","id":"01JNB3Q2Q3W4E5R6T7Y8V9B00` + string(id) + `","source":"/devices/sp1/a","sequence":"` + seq + `","type":"` + kind +
			`","time":"2026-03-02T07:40:00Z","dataschema":"urn:hopperbook:` + kind + `/1","data":` + data + "}\n"
	}
	catch := func(id, product, rest string) string {
		return `{"catch_test":"` + id + `","product":"` + product + `","bout_width_m":20,"distance_m":100,` + rest + `}`
	}
	events := event('A', "1", "test.catch", catch("C1", "urea", `"gate_mm":40,"collected_kg":20`)) +
		event('B', "2", "load.weighed", `{"load":"L1","product":"urea","net_kg":4100,"method":"bucket"}`) +
		event('C', "3", "test.catch", catch("C2", "urea", `"gate_mm":80,"collected_kg":400`)) +
		event('D', "4", "test.catch", catch("C3", "urea", `"gate_mm":80,"collected_kg":40,"repeats":[39,41]`)) +
		event('E', "5", "test.catch", catch("C4", "lime", `"gate_mm":100,"collected_kg":200,"disc_set":"powder"`)) +
		event('F', "6", "event.amended", `{"amends":"01JNB3Q2Q3W4E5R6T7Y8V9B00C","action":"void","reason":"read wrongly"}`) +
		`{"type":"test.catch","time":"2026-03-02T07:40:00Z","data":` + catch("C5", "urea", `"gate_mm":60,"collected_kg":30`) + "}\n"
	got := decode[reports.GateAnswer](t, must(t, events, "calibrate", "gate", "-", "--rate", "175", "--bout-width", "20", "--json"))
	if len(got.Curves) != 2 || got.Curves[0].Product != "lime" || got.Curves[0].DiscSet != "powder" || len(got.Curves[1].Points) != 3 {
		t.Fatalf("curves %+v", got.Curves)
	}
	if lime, urea := got.Gates[0], got.Gates[1]; lime.GateMm != nil || !lime.Extrapolated || urea.GateMm == nil || math.Abs(*urea.GateMm-70) > 1e-9 || urea.Extrapolated {
		t.Errorf("gates %+v", got.Gates)
	}
	one := must(t, events, "calibrate", "gate", "-", "--product", "urea")
	if strings.Contains(one, "lime") || !strings.Contains(one, "0.4000") {
		t.Errorf("urea alone:\n%s", one)
	}
	text := must(t, "", "calibrate", "gate", "--catch", "40:21", "--catch", "80:41", "--tare-kg", "1", "--distance", "100", "--rate", "220", "--bout-width", "20")
	if !strings.Contains(text, "88.0") || !strings.Contains(text, "extrapolated: 88.0 mm lies beyond the tested openings (40 to 80 mm)") {
		t.Errorf("beyond the tests:\n%s", text)
	}
	catchOut := must(t, events, "calibrate", "catch", "-", "--test", "C3")
	if !strings.Contains(catchOut, "C3 urea") || !strings.Contains(catchOut, "200.0") {
		t.Errorf("one of the catches:\n%s", catchOut)
	}
}

func TestCalibrateCatch(t *testing.T) {
	got := decode[reports.CatchAnswer](t, must(t, `{"gate_mm":62.5,"collected_kg":54,"time_s":30,"speed_kmh":18,"bout_width_m":24}`,
		"calibrate", "catch", "-", "--at-bout-width", "12", "--want", "300", "--json"))
	if math.Abs(*got.KgMin-108) > 1e-9 || math.Abs(*got.RateKgHa-150) > 1e-9 || math.Abs(got.At.RateKgHa-300) > 1e-9 || math.Abs(got.FirstTry.GateMm-125) > 1e-9 {
		t.Errorf("%+v at %+v try %+v", got.Flow, got.At, got.FirstTry)
	}
	text := must(t, `{"collected_kg":50,"repeats":[35,36,37],"distance_m":100,"bout_width_m":24}`, "calibrate", "catch", "-")
	for _, want := range []string{"150.0", "mean_disagrees", "Caution: catch at the belt"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
}

// Events of a product on two days: the newest day is the test, the one before
// it what it is compared with.
func TestCalibrateDensity(t *testing.T) {
	line := func(day, kg string) string {
		return `{"type":"test.density","time":"2026-03-` + day + `T07:00:00Z","data":{"product":"urea","mass_kg":` + kg + `,"volume_l":20}}` + "\n"
	}
	got := decode[reports.DensityAnswer](t, must(t, line("02", "15.0")+line("09", "16.0")+line("01", "12")+line("09", "16.1")+line("09", "16.2"), "calibrate", "density", "-", "--json"))
	if got.Repeats != 3 || math.Abs(got.DensityKgM3-805) > 1e-9 || len(got.Against) != 1 || got.Against[0].With != "last_test" || math.Abs(got.Against[0].DensityKgM3-750) > 1e-9 || !got.Against[0].BeyondUncertainty {
		t.Errorf("%+v", got)
	}
	text := must(t, "", "calibrate", "density", "--mass-kg", "16.0 16.1 16.2", "--tare-kg", "1.1", "--volume-l", "20", "--register-kg-m3", "800")
	for _, want := range []string{"750.0", "2.89", "density_changed: 750 kg/m3 differs by -50", "changes by -6.2 %", "goggles"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
}

func TestCalibrateOverlap(t *testing.T) {
	got := decode[reports.OverlapAnswer](t, must(t, `{"at_driving_line_g":[10,10.1,9.9],"between_lines_g":[6.9,7,7.1]}`, "calibrate", "overlap", "-", "--json"))
	if got.Verdict != "between_light" || !got.Sure || math.Abs(got.Ratio-0.7) > 1e-9 {
		t.Errorf("%+v", got)
	}
	if text := must(t, "", "calibrate", "overlap", "--at-line-g", "10,10.1,9.9", "--between-g", "6.9,7,7.1"); !strings.Contains(text, "narrow it or throw wider") {
		t.Errorf("%s", text)
	}
}

func TestCalibrateRefuses(t *testing.T) {
	for _, r := range []struct {
		stdin string
		args  string
		exit  int
		says  string
	}{
		{"", "tray", fault.Usage.Exit(), "--help shows examples"},
		{"", "tray a b", fault.Usage.Exit(), "takes one FILE"},
		{"", "tray no-such-file", fault.NotFound.Exit(), "check the file's name"},
		{"", "tray --masses-g 1,x,3 --spacing 1", fault.Usage.Exit(), `"x" is not a number`},
		{"", "tray --masses-g 1,NaN,3 --spacing 1", fault.Usage.Exit(), `"NaN" is not a number`},
		{"", "tray --masses-g 1,-2,3 --spacing 1", fault.Input.Exit(), "tray 2: -2 g"},
		{"", "tray --masses-g 1,-,-,3 --spacing 1", fault.Input.Exit(), "tray 2 is missing"},
		{"", "tray --masses-g 1,2,3 --spacing 0", fault.Usage.Exit(), "--spacing: 0: must be above zero"},
		{"", "tray --masses-g 1,2,3 --positions-m -1,0,3", fault.Input.Exit(), "2 missing between tray 2"},
		{"", "tray --masses-g 1,2,3 --positions-m -1,0,1.5", fault.Input.Exit(), "unequal spacing"},
		{"", "tray --masses-g 1,2,3 --spacing 1 --at 9", fault.Input.Exit(), "beyond the row of trays"},
		{"", "tray --masses-g 1,2,3 --spacing 1 --divisor half", fault.Input.Exit(), "sample or population"},
		{`{"masses_g":[1,2,3],"tray_spacing_m":1,"tray_width_m":0}`, "tray -", fault.Input.Exit(), "tray_width_m: 0 is not from"},
		{`{"masses_g":"1,2,3","tray_spacing_m":1}`, "tray -", fault.Input.Exit(), "masses_g"},
		{`{"masses_g":[1,2`, "tray -", fault.Input.Exit(), "value 1"},
		{`7`, "tray -", fault.Input.Exit(), "not an object"},
		{``, "tray -", fault.Input.Exit(), "no test.tray"},
		{`{"product":"a"} {"product":"b"}`, "tray -", fault.Usage.Exit(), "choose one with --test"},
		{`{"specversion":"1.0","type":"test.tray","data":{}}`, "tray -", fault.Input.Exit(), "missing"},
		{"", "density --mass-kg 15 --volume-l 0", fault.Usage.Exit(), "--volume-l: 0"},
		{`{"mass_kg":15,"volume_l":0}`, "density -", fault.Input.Exit(), "volume_l: 0 is not from 0.001"},
		{"", "density --mass-kg 15", fault.Input.Exit(), "a volume of 0 l"},
		{`{"product":"a","mass_kg":1,"volume_l":1} {"product":"b","mass_kg":1,"volume_l":1}`, "density -", fault.Usage.Exit(), "--product"},
		{"", "catch --collected-kg -3 --distance 10", fault.Input.Exit(), "-3 kg"},
		{"", "catch --collected-kg 3", fault.Input.Exit(), "neither distance nor time"},
		{"", "catch --collected-kg 3, --distance 10", fault.Usage.Exit(), "number 2 is missing"},
		{"", "catch --collected-kg 3 --distance 10 --want 100", fault.Usage.Exit(), "give --want and --gate"},
		{"", "gate --catch 40 --distance 10", fault.Usage.Exit(), "write it like 60:30.3"},
		{"", "gate --catch 40:20 --distance 10 --rate 100", fault.Input.Exit(), "a bout width of 0 m"},
		{"", "overlap --at-line-g 1,2", fault.Input.Exit(), "no tray between"},
		{"", "overlap --nonsense", fault.Usage.Exit(), "hopperbook calibrate overlap --help"},
		{"", "trays", fault.Usage.Exit(), `there is no test "trays"`},
	} {
		_, stderr, exit := command(t, r.stdin, append([]string{"calibrate"}, strings.Fields(r.args)...)...)
		if exit != r.exit || !strings.Contains(stderr, r.says) {
			t.Errorf("calibrate %s: exit %d, want %d; says %q, want %q", r.args, exit, r.exit, stderr, r.says)
		}
	}
}

// Whatever a file holds, reading it ends in tests or in an input error.
func FuzzReadTests(f *testing.F) {
	for _, seed := range []string{`{"masses_g":[1,null,3]}`, `[{"a":1},{}]`, `{"type":"test.tray","data":{}}`, `{"specversion":"1.0","type":"event.amended","data":{}}`, "7", "[[", `{"tray_spacing_m":1e999}`} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		tests, err := readTests(strings.NewReader(text), schemas.TypeTestTray)
		if err != nil && fault.CodeOf(err) != fault.Input {
			t.Errorf("%v is no input error", err)
		}
		for _, one := range tests {
			if err := checkNumbers(one.data, schemas.TypeTestTray); err != nil && fault.CodeOf(err) != fault.Input {
				t.Errorf("%v is no input error", err)
			}
		}
	})
}
