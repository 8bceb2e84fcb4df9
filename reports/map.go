package reports

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"

	"hopperbook/reconcile"
	"hopperbook/reconcile/applied"
	"hopperbook/reconcile/plane"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// SchemaMap names the shape of MapAnswer's JSON.
const SchemaMap = "hopperbook.map/1"

type (
	// MapAnswer is where one product landed on one field.
	MapAnswer struct {
		Schema        string                 `json:"schema"`
		Field         schemas.FieldID        `json:"field"`
		Name          string                 `json:"name"`
		Customer      schemas.CustomerID     `json:"customer"`
		Product       schemas.ProductID      `json:"product"`
		ProductName   string                 `json:"product_name"`
		SetRateKgHa   float64                `json:"set_rate_kg_ha"` // 0: not known; classes are then against the mean
		SetRateVaries bool                   `json:"set_rate_varies"`
		Open          bool                   `json:"open"` // part of the mass is estimated: no reading closes the last load yet
		Patterns      []reconcile.MapPattern `json:"patterns"`
		SpreadKg      float64                `json:"spread_kg"` // while driving in the field
		InFieldKg     float64                `json:"in_field_kg"`
		ExcludedKg    float64                `json:"excluded_kg"` // landed in exclusion areas of the field
		OutsideKg     float64                `json:"outside_kg"`
		AreaM2        float64                `json:"area_m2"`     // of the cells in the field, without its exclusion areas; the shares are of it
		ExcludedM2    float64                `json:"excluded_m2"` // of the field's cells in exclusion areas
		MeanKgHa      float64                `json:"mean_kg_ha"`
		CVPct         float64                `json:"cv_pct"`
		BelowPct      float64                `json:"below_pct"`   // of the area, under 80 % of the set rate
		AbovePct      float64                `json:"above_pct"`   // of the area, over 120 % of the set rate
		NotHitPct     float64                `json:"not_hit_pct"` // of the area, under 1 % of the set rate
		ClassPct      []float64              `json:"class_pct"`   // of the area: up to 1, 60, 80, 90, 110, 120, 140 % of the set rate, and over
		CellM         float64                `json:"cell_m"`
		Grid          *MapGrid               `json:"grid,omitempty"`
	}

	// MapGrid is the cells. The plane is the transverse Mercator of WGS84 with its
	// origin at LatDeg, LonDeg and scale 1 there.
	MapGrid struct {
		LatDeg    float64          `json:"lat_deg"`
		LonDeg    float64          `json:"lon_deg"`
		XM        float64          `json:"x_m"` // south-west corner of the first cell
		YM        float64          `json:"y_m"`
		Cols      int              `json:"cols"`
		Rows      int              `json:"rows"`
		KgHa      []byte           `json:"kg_ha_float32"`         // little-endian float32, row by row from the south, each from the west; NaN outside the field and in its exclusion areas
		Boundary  [][][][2]float64 `json:"boundary_m"`            // parts, rings, x and y
		Exclusion [][][][2]float64 `json:"exclusion_m,omitempty"` // the same; may reach over the boundary
	}
)

// NewMapAnswer shows a map as JSON can hold it, with its cells or without.
func NewMapAnswer(m reconcile.FieldMap, cells bool) MapAnswer {
	a := MapAnswer{Schema: SchemaMap, Field: m.Field, Name: m.Name, Customer: m.Customer, Product: m.Product, ProductName: m.ProductName,
		SetRateKgHa: m.SetRateKgHa, SetRateVaries: m.SetRateVaries, Open: m.Open, Patterns: m.Patterns,
		SpreadKg: decimals(m.Map.SpreadKg, 3), InFieldKg: decimals(m.Map.InFieldKg, 3), OutsideKg: decimals(m.Map.OutsideKg, 3),
		ExcludedKg: decimals(m.Map.ExcludedKg, 3), ExcludedM2: decimals(m.Map.ExcludedM2, 2),
		AreaM2: decimals(m.Figures.AreaM2, 2), MeanKgHa: decimals(m.Figures.MeanKgHa, 4), CVPct: decimals(m.Figures.CVPct, 2),
		BelowPct: decimals(100*m.Figures.BelowShare(), 3), AbovePct: decimals(100*m.Figures.AboveShare(), 3), NotHitPct: decimals(100*m.Figures.NotHitShare(), 3),
		CellM: m.Map.CellM}
	for _, share := range m.Figures.ClassShares {
		a.ClassPct = append(a.ClassPct, decimals(100*share, 3))
	}
	if !cells {
		return a
	}
	g := &MapGrid{XM: m.Map.OriginXM, YM: m.Map.OriginYM, Cols: m.Map.Cols, Rows: m.Map.Rows, KgHa: make([]byte, 0, 4*len(m.Map.KgHa))}
	g.LatDeg, g.LonDeg = m.Boundary.Plane.Origin()
	for i, v := range m.Map.KgHa {
		if !m.Map.Inside[i] {
			v = math.NaN()
		}
		g.KgHa = binary.LittleEndian.AppendUint32(g.KgHa, math.Float32bits(float32(v)))
	}
	g.Boundary, g.Exclusion = partsM(m.Boundary.Polygon), partsM(m.Exclusion)
	a.Grid = g
	return a
}

// partsM is a polygon's parts and rings, to a tenth of a millimetre.
func partsM(p plane.Polygon) (parts [][][][2]float64) {
	for _, part := range p.Parts {
		var rings [][][2]float64
		for _, ring := range append([]plane.Ring{part.Outer}, part.Holes...) {
			var points [][2]float64
			for _, p := range ring {
				points = append(points, [2]float64{decimals(p.XM, 4), decimals(p.YM, 4)})
			}
			rings = append(rings, points)
		}
		parts = append(parts, rings)
	}
	return parts
}

func decimals(v float64, n int) float64 {
	p := math.Pow10(n)
	return math.Round(v*p) / p
}

// Rates unpacks the cells; NaN lies outside the field. An answer without a
// grid, or with one that does not hold what it says or lies nowhere on a plane, is refused (fault.Input).
func (a MapAnswer) Rates() ([]float32, error) {
	g := a.Grid
	if g == nil || g.Cols < 1 || g.Rows < 1 || g.Cols > applied.MaxCells/g.Rows || len(g.KgHa) != 4*g.Cols*g.Rows || !a.placed() {
		return nil, fault.Newf("read the map", fault.Input, "the answer holds no grid, or another one than it says", "hub and command are of different versions; update the older")
	}
	out := make([]float32, g.Cols*g.Rows)
	for i := range out {
		out[i] = math.Float32frombits(binary.LittleEndian.Uint32(g.KgHa[4*i:]))
	}
	return out, nil
}

// placed reports whether the grid has a place and a size.
func (a MapAnswer) placed() bool {
	g, near := a.Grid, func(v float64) bool { return math.Abs(v) <= 2*plane.ReachM }
	for _, part := range slices.Concat(g.Boundary, g.Exclusion) {
		for _, ring := range part {
			for _, p := range ring {
				if !near(p[0]) || !near(p[1]) {
					return false
				}
			}
		}
	}
	return a.CellM >= applied.MinCellM && a.CellM <= applied.MaxCellM && near(g.XM) && near(g.YM) &&
		near(g.XM+a.CellM*float64(g.Cols)) && near(g.YM+a.CellM*float64(g.Rows)) && math.Abs(g.LatDeg) <= 85 && math.Abs(g.LonDeg) <= 180
}

// ReferenceKgHa is what classes are against: the set rate, or the mean where that is not known.
func (a MapAnswer) ReferenceKgHa() float64 {
	if a.SetRateKgHa > 0 {
		return a.SetRateKgHa
	}
	return a.MeanKgHa
}

func (a MapAnswer) reference() string {
	if a.SetRateKgHa > 0 {
		return "set rate"
	}
	return "mean rate"
}

func (a MapAnswer) rate(kgHa float64) string { return number(kgHa, rateDecimals(a.ReferenceKgHa())) }

// figures are label and value of each figure of the map.
func (a MapAnswer) figures() [][2]string {
	pct := func(v float64) string { return number(v, 1) + " %" }
	set := "not known"
	if a.SetRateKgHa > 0 {
		set = a.rate(a.SetRateKgHa) + " kg/ha"
	}
	if a.SetRateVaries {
		set += " (mean; it varied)"
	}
	out := [][2]string{
		{"Set rate", set},
		{"Mean on the field", a.rate(a.MeanKgHa) + " kg/ha"},
		{"Variation between cells (CV)", pct(a.CVPct)},
		{"Under 80 % of the " + a.reference(), pct(a.BelowPct) + " of the area"},
		{"Not hit, part of that", pct(a.NotHitPct) + " of the area"},
		{"Over 120 % of the " + a.reference(), pct(a.AbovePct) + " of the area"},
		{"On the field", tonnes(a.InFieldKg) + " t on " + ha(a.AreaM2) + " ha"},
		{"Thrown over the boundary", number(a.OutsideKg, 0) + " kg"},
		{"Cells", number(a.CellM, -int(math.Floor(math.Min(0, math.Log10(a.CellM))))) + " m"},
	}
	if a.ExcludedM2 > 0 {
		excluded := [2]string{"In exclusion areas", number(a.ExcludedKg, 0) + " kg on " + ha(a.ExcludedM2) + " ha"}
		out = slices.Insert(out, len(out)-2, excluded)
	}
	return out
}

// pattern says what the map was laid with.
func (a MapAnswer) pattern() string {
	var tests []string
	assumed := false
	for _, p := range a.Patterns {
		if p.TrayTest == "" {
			assumed = true
		} else {
			tests = append(tests, string(p.TrayTest)+" of "+string(p.Machine))
		}
	}
	var words []string
	if len(tests) > 0 {
		words = append(words, "Pattern of tray test "+strings.Join(tests, ", ")+".")
	}
	if assumed {
		words = append(words, "Pattern taken as even across the bout width: no tray test.")
	}
	return strings.Join(words, " ")
}

// caution is what a reader of the map must know.
func (a MapAnswer) caution() []string {
	out := []string{"Computed from passes and loads, not measured on the ground. " + a.pattern()}
	if a.SetRateVaries {
		out = append(out, "The set rate varied on the field; classes are against its mean.")
	}
	if a.Open {
		out = append(out, "Part of the mass is estimated: no reading of the residual closes the last load yet.")
	}
	return out
}

// Map is the table of a map's figures.
func Map(a MapAnswer) Table {
	t := Table{Caption: a.title(), Columns: []Column{{"what", "What", false}, {"value", "Value", true}}, Notes: a.caution()}
	for _, f := range a.figures() {
		t.Rows = append(t.Rows, f[:])
	}
	return t
}

func (a MapAnswer) title() string {
	title := fmt.Sprintf("%s (%s): %s as applied", cmp.Or(a.Name, string(a.Field)), a.Field, cmp.Or(a.ProductName, string(a.Product)))
	if a.SetRateKgHa > 0 {
		title += ", set " + a.rate(a.SetRateKgHa) + " kg/ha"
	}
	return title
}

// MapSheet is the words of a drawn map.
type MapSheet struct {
	Title     string
	Legend    [applied.Classes]LegendLine
	Scale     string // what the classes are shares of
	Band      string // what hatching means
	Exclusion string // what exclusion areas are drawn as; "" where the field has none
	Figures   [][2]string
	Caution   []string
}

// LegendLine is one class: its limits as share and as rate, and how much of the area it has.
type LegendLine struct{ Share, Rate, Area string }

// Sheet is the words of a drawn map.
func (a MapAnswer) Sheet() MapSheet {
	s := MapSheet{Title: a.title(), Scale: "Share of the " + a.reference(), Band: "Hatched: outside 80 to 120 %", Figures: a.figures(), Caution: a.caution()}
	if a.ExcludedM2 > 0 || a.Grid != nil && len(a.Grid.Exclusion) > 0 { // they are drawn beside the field too
		s.Exclusion = "not to be spread (exclusion area)"
	}
	for c := range applied.Classes {
		from := number(100*c.From(), 0)
		line := LegendLine{Area: number(a.classPct(c), 1) + " %"}
		switch c {
		case applied.NotHit:
			line.Share = "not hit"
		case applied.FarLow:
			line.Share = "under " + number(100*applied.Low.From(), 0) + " %"
			line.Rate = "< " + a.rate(applied.Low.From()*a.ReferenceKgHa())
		case applied.FarHigh:
			line.Share, line.Rate = "over "+from+" %", "> "+a.rate(c.From()*a.ReferenceKgHa())
		default:
			line.Share = from + " to " + number(100*(c+1).From(), 0) + " %"
			line.Rate = a.rate(c.From()*a.ReferenceKgHa()) + " to " + a.rate((c+1).From()*a.ReferenceKgHa())
		}
		s.Legend[c] = line
	}
	return s
}

func (a MapAnswer) classPct(c applied.Class) float64 {
	if int(c) < len(a.ClassPct) {
		return a.ClassPct[c]
	}
	return math.NaN()
}
