package reports

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hopperbook/reconcile/calibration"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// The schema names of the calibration's answers.
const (
	SchemaCalibrateDensity = "hopperbook.calibrate.density/1"
	SchemaCalibrateCatch   = "hopperbook.calibrate.catch/1"
	SchemaCalibrateGate    = "hopperbook.calibrate.gate/1"
	SchemaCalibrateTray    = "hopperbook.calibrate.tray/1"
	SchemaCalibrateOverlap = "hopperbook.calibrate.overlap/1"
)

type (
	// TestHead says which test an answer is about.
	TestHead struct {
		Schema  string            `json:"schema"`
		Test    schemas.TestID    `json:"test,omitempty"`
		Product schemas.ProductID `json:"product,omitempty"`
		Machine schemas.MachineID `json:"machine,omitempty"`
	}

	// DensityAnswer is a density test.
	DensityAnswer struct {
		TestHead
		calibration.Density
	}

	// CatchAnswer is a catch test, and what it lets expect elsewhere.
	CatchAnswer struct {
		TestHead
		calibration.Flow
		GateMm     float64   `json:"gate_mm,omitempty"`
		At         *CatchAt  `json:"at,omitempty"`
		FirstTry   *FirstTry `json:"first_try,omitempty"`
		BoutWidthM float64   `json:"bout_width_m,omitempty"`
	}

	// CatchAt is the rate of the same flow at another bout width and speed.
	CatchAt struct {
		BoutWidthM float64 `json:"bout_width_m"`
		SpeedKmh   float64 `json:"speed_kmh,omitempty"`
		RateKgHa   float64 `json:"rate_kg_ha"`
	}

	// FirstTry is the gate in proportion to the rate wanted.
	FirstTry struct {
		WantedKgHa float64 `json:"wanted_kg_ha"`
		GateMm     float64 `json:"gate_mm"`
	}

	// GateAnswer is every curve of some catch tests, and the gates they name.
	GateAnswer struct {
		Schema string                   `json:"schema"`
		Curves []calibration.Curve      `json:"curves"`
		Gates  []calibration.GateAdvice `json:"gates"`
	}

	// TrayAnswer is a tray test.
	TrayAnswer struct {
		TestHead
		DiscSet      string   `json:"disc_set,omitempty"`
		VanePosition string   `json:"vane_position,omitempty"`
		WindMS       *float64 `json:"wind_m_s"`
		calibration.Tray
	}

	// OverlapAnswer is an overlap test.
	OverlapAnswer struct {
		TestHead
		calibration.Overlap
	}
)

const (
	stopFirst = "Caution: stop the engine, take the key and wait until discs, belt and PTO shaft stand still before you reach in, adjust, hang a bucket or lay a sheet; keep every guard on."
	dustCare  = "Caution: wear goggles and gloves against dust, with lime above all; keep ammonium nitrate from fuel, heat and dirt."
	throwCare = "Caution: nobody stands in the throw or near the trays while the discs turn: they fling lumps and stones far. Watch from well behind and to the side, and fetch trays only when the discs stand still."
	beltCare  = "Caution: catch at the belt with the discs' drive off or guarded; nobody between tractor and spreader or near the PTO shaft while it turns; no loose clothing."
)

// valueTable is a table of one quantity a row.
func valueTable(caption string, head TestHead) Table {
	if name := strings.TrimSpace(string(head.Test) + " " + string(head.Product)); name != "" {
		caption += ": " + name
	}
	return Table{Caption: caption, Columns: []Column{{"what", "What", false}, {"value", "Value", true}, {"standard_error", "Standard error", true}}}
}

func (t *Table) value(what, value string, se *float64, decimals int) {
	text := "-"
	if se != nil {
		text = number(*se, decimals)
	}
	t.Rows = append(t.Rows, []string{what, value, text})
}

func (t *Table) tell(found []calibration.Finding) {
	for _, f := range found {
		t.Notes = append(t.Notes, string(f.Kind)+": "+f.Text)
	}
}

// CalibrateDensity is the table of a density test.
func CalibrateDensity(a DensityAnswer) Table {
	t := valueTable("Density test", a.TestHead)
	t.value("density kg/m3", number(a.DensityKgM3, 1), a.SEKgM3, 2)
	t.value("density kg/l", number(a.DensityKgL, 4), nil, 0)
	assumed := ""
	if a.U95Assumed {
		assumed = " (assumed)"
	}
	t.value("95 % half-width kg/m3"+assumed, number(a.U95KgM3, 1), nil, 0)
	t.value("samples", strconv.Itoa(a.Repeats), nil, 0)
	for _, c := range a.Against {
		name := strings.ReplaceAll(c.With, "_", " ")
		t.value("difference to "+name+" kg/m3", signed(c.DifferenceKgM3, 1), nil, 0)
		t.value("changes the rate at the same opening by %", signed(c.RateChangePct, 1), nil, 0)
	}
	t.tell(a.Findings)
	t.Notes = append(t.Notes, dustCare)
	return t
}

// CalibrateCatch is the table of a catch test.
func CalibrateCatch(a CatchAnswer) Table {
	t := valueTable("Catch test", a.TestHead)
	t.value("catches", strconv.Itoa(a.Repeats), nil, 0)
	t.value("net mass kg", number(a.MassKg, 3), nil, 0)
	for _, q := range []struct {
		what      string
		value, se *float64
		decimals  int
	}{{"kg per metre of travel", a.KgPerM, a.KgPerMSE, 4}, {"kg/min", a.KgMin, a.KgMinSE, 3}, {"kg per revolution", a.KgRev, a.KgRevSE, 4}} {
		if q.value != nil {
			t.value(q.what, number(*q.value, q.decimals), q.se, q.decimals)
		}
	}
	if a.RateKgHa != nil {
		t.value("kg/ha at "+plain(a.BoutWidthM)+" m", number(*a.RateKgHa, rateDecimals(*a.RateKgHa)), a.RateSE, 2)
	}
	if a.U95Pct != nil {
		t.value("95 % half-width %", number(*a.U95Pct, 2), nil, 0)
	}
	if a.At != nil {
		where := plain(a.At.BoutWidthM) + " m"
		if a.Drive == calibration.ByTime {
			where += " and " + plain(a.At.SpeedKmh) + " km/h"
		}
		t.value("kg/ha at "+where, number(a.At.RateKgHa, rateDecimals(a.At.RateKgHa)), nil, 0)
	}
	if a.FirstTry != nil {
		t.value("gate mm to try for "+plain(a.FirstTry.WantedKgHa)+" kg/ha", number(a.FirstTry.GateMm, 1), nil, 0)
		t.Notes = append(t.Notes, "The gate to try is in proportion to the rate: right for a linear meter near the tested opening; confirm it by a catch test.")
	}
	t.tell(a.Findings)
	t.Notes = append(t.Notes, stopFirst, beltCare)
	return t
}

func plain(v float64) string { return unit.Plain(v, 6) }

// CalibrateGate is the table of the gates to set, or of the curves' points
// where no rate was asked for.
func CalibrateGate(a GateAnswer) Table {
	t := Table{Caption: "Gate scale", Columns: []Column{{"product", "Product", false}, {"disc_set", "Discs", false}, {"belt_gear", "Gear", false}, {"pto_rpm", "PTO rpm", true}, {"drive", "Belt by", false}}}
	if len(a.Gates) > 0 {
		gateRows(&t, a.Gates)
	} else {
		pointRows(&t, a.Curves)
	}
	for _, c := range a.Curves {
		t.tell(c.Findings)
	}
	for _, g := range a.Gates {
		t.tell(g.Findings)
	}
	t.Notes = append(t.Notes, stopFirst, beltCare)
	return t
}

func curveCells(k calibration.CurveKey) []string {
	pto := "-"
	if k.PTORpm > 0 {
		pto = number(k.PTORpm, 0)
	}
	return []string{cmp.Or(string(k.Product), "-"), cmp.Or(k.DiscSet, "-"), cmp.Or(k.BeltGear, "-"), pto, string(k.Drive)}
}

func gateRows(t *Table, gates []calibration.GateAdvice) {
	w := gates[0].GateWanted
	t.Caption = fmt.Sprintf("Gate for %s kg/ha at a bout width of %s m", plain(w.RateKgHa), plain(w.BoutWidthM))
	if w.SpeedKmh > 0 {
		t.Caption += " and " + plain(w.SpeedKmh) + " km/h"
	}
	t.Columns = append(t.Columns, Column{"gate_mm", "Gate mm", true}, Column{"gate_se_mm", "Standard error", true}, Column{"extrapolated", "Beyond tests", false},
		Column{"tested_mm", "Tested mm", true}, Column{"reach_kg_ha", "Reach kg/ha", true})
	for _, g := range gates {
		gate, se := "-", "-"
		if g.GateMm != nil {
			gate = number(*g.GateMm, 1)
		}
		if g.GateSEMm != nil {
			se = number(*g.GateSEMm, 2)
		}
		d := rateDecimals(g.HighestKgHa)
		t.Rows = append(t.Rows, append(curveCells(g.CurveKey), gate, se, yes(g.Extrapolated), plain(g.TestedFromMm)+" to "+plain(g.TestedToMm), number(g.LowestKgHa, d)+" to "+number(g.HighestKgHa, d)))
	}
}

func pointRows(t *Table, curves []calibration.Curve) {
	t.Columns = append(t.Columns, Column{"gate_mm", "Gate mm", true}, Column{"flow", "Caught", true}, Column{"flow_se", "Standard error", true}, Column{"fitted", "Curve", true},
		Column{"flow_unit", "Unit", false}, Column{"catches", "Catches", true})
	for _, c := range curves {
		for _, p := range c.Points {
			se := "-"
			if p.FlowSE != nil {
				se = number(*p.FlowSE, 4)
			}
			t.Rows = append(t.Rows, append(curveCells(c.CurveKey), plain(p.GateMm), number(p.Flow, 4), se, number(p.Fitted, 4), c.FlowUnit, strconv.Itoa(p.Catches)))
		}
	}
}

// CalibrateTray is the table of a tray test: one bout width a row.
func CalibrateTray(a TrayAnswer) Table {
	t := valueTable("Tray test, CV with the "+string(a.Divisor)+" standard deviation", a.TestHead)
	t.Columns = []Column{{"bout_width_m", "Bout width m", true}, {"mean_kg_ha", "Mean kg/ha", true}, {"to_and_fro_cv_pct", "To-and-fro CV %", true},
		{"round_and_round_cv_pct", "Round-and-round CV %", true}, {"within", "Within limit", false}, {"note", "", false}}
	rows := slices.Concat(a.Rows, a.Further)
	if a.AtSet != nil {
		rows = append(rows, *a.AtSet)
	}
	slices.SortFunc(rows, func(x, y calibration.WidthRow) int { return cmp.Compare(x.BoutWidthM, y.BoutWidthM) })
	for _, r := range slices.CompactFunc(rows, func(x, y calibration.WidthRow) bool { return x.BoutWidthM == y.BoutWidthM }) {
		var marks []string
		if a.WidestBoutWidthM != nil && r.BoutWidthM == *a.WidestBoutWidthM {
			marks = append(marks, "widest")
		}
		if a.AtSet != nil && r.BoutWidthM == a.AtSet.BoutWidthM {
			marks = append(marks, "set")
		}
		t.Rows = append(t.Rows, []string{plain(r.BoutWidthM), number(r.MeanKgHa, rateDecimals(r.MeanKgHa)), number(r.ToAndFroCVPct, 1), number(r.RoundAndRoundCVPct, 1), within(r, a.CVLimitPct), strings.Join(marks, ", ")})
	}
	t.Notes = trayNotes(a)
	t.tell(a.Findings)
	t.Notes = append(t.Notes, "Take the rate from a catch test or from mass over area; trays show evenness.", throwCare, stopFirst)
	return t
}

func within(r calibration.WidthRow, limitPct float64) string {
	there, round := r.ToAndFroCVPct <= limitPct, r.RoundAndRoundCVPct <= limitPct
	switch {
	case there && round:
		return "both"
	case there:
		return "to-and-fro"
	case round:
		return "round-and-round"
	}
	return "no"
}

func trayNotes(a TrayAnswer) (notes []string) {
	for _, w := range a.Widest {
		text := "none"
		switch {
		case !a.Valid:
			text = "void"
		case w.BoutWidthM != nil:
			text = plain(*w.BoutWidthM) + " m"
		}
		notes = append(notes, fmt.Sprintf("Widest bout width %s within a CV of %s %%: %s", strings.ReplaceAll(string(w.Driving), "_", "-"), plain(a.CVLimitPct), text))
	}
	rates := make([]string, len(a.RatesKgHa))
	for i, r := range a.RatesKgHa {
		rates[i] = number(r, 0)
	}
	notes = append(notes, fmt.Sprintf("Left %s %%, right %s %%; centre of the mass %s m right of the driving line", number(a.LeftPct, 1), number(a.RightPct, 1), signed(a.CentreRightM, 2)),
		"kg/ha of the trays in one pass, left to right: "+strings.Join(rates, " "))
	for _, s := range a.Shapes {
		notes = append(notes, "Shape "+s.Text+".")
	}
	return notes
}

// CalibrateOverlap is the table of an overlap test.
func CalibrateOverlap(a OverlapAnswer) Table {
	t := valueTable("Overlap test", a.TestHead)
	t.value("mean on the driving lines g", number(a.AtLineG, 2), nil, 0)
	t.value("mean between them g", number(a.BetweenG, 2), nil, 0)
	t.value("between / on", number(a.Ratio, 3), a.RatioSE, 3)
	t.value("CV of all trays %", number(a.CVPct, 1), nil, 0)
	t.value("verdict at a tolerance of "+plain(a.TolerancePct)+" %", strings.ReplaceAll(string(a.Verdict), "_", " "), nil, 0)
	t.Notes = append(t.Notes, "Verdict: "+a.Text+".")
	t.tell(a.Findings)
	t.Notes = append(t.Notes, throwCare, stopFirst)
	return t
}
