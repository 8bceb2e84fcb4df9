package reports

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reconcile/calibration"
	"hopperbook/schemas"
	"hopperbook/schemas/unit"
)

// The schema names of the book's tests and of a certificate.
const (
	SchemaTests       = "hopperbook.tests/1"
	SchemaCertificate = "hopperbook.certificate/1"
	SchemaChecks      = "hopperbook.checks/1"
)

type (
	// TestsAnswer is the calibration's events as they count, in order of time.
	TestsAnswer struct {
		Schema      string                        `json:"schema"`
		Tests       []BookedTest                  `json:"tests"`
		DensityKgM3 map[schemas.ProductID]float64 `json:"density_kg_m3"` // by the products' registers
	}

	// BookedTest is the data of a test or check, as amended.
	BookedTest struct {
		Type    schemas.EventType `json:"type"`
		Machine schemas.MachineID `json:"machine"`
		At      time.Time         `json:"at"`
		Data    json.RawMessage   `json:"data"`
	}

	// ChecksAnswer is how the machines' checks stand.
	ChecksAnswer struct {
		Schema   string          `json:"schema"`
		Machines []MachineChecks `json:"machines"`
	}

	// MachineChecks is how one machine's checks stand.
	MachineChecks struct {
		Machine schemas.MachineID        `json:"machine"`
		Blocked bool                     `json:"blocked"` // a failed safety check stands against starting a job
		Checks  []calibration.CheckState `json:"checks"`
	}

	// CertificateAnswer is a machine's calibration certificate.
	CertificateAnswer struct {
		Schema      string  `json:"schema"`
		MachineName string  `json:"machine_name,omitempty"`
		HopperM3    float64 `json:"hopper_m3,omitempty"`
		ProductName string  `json:"product_name,omitempty"`
		Form        string  `json:"form,omitempty"`
		calibration.Certificate
	}
)

// NewCertificateAnswer shows a certificate as JSON can hold it.
func NewCertificateAnswer(c reconcile.MachineCertificate) CertificateAnswer {
	return CertificateAnswer{Schema: SchemaCertificate, MachineName: c.MachineName, HopperM3: c.HopperM3, ProductName: c.ProductName, Form: c.Form, Certificate: c.Certificate}
}

// certificateCautions are of general agreement in the trade and among public
// safety bodies; they are no advice for a particular machine or place.
var certificateCautions = [...]string{
	"PTO: enclose the shaft along its whole length, the guard must not turn with it; no loose clothing, cords or hair near it. Stop the engine, take the key and wait until everything stands still before you reach in.",
	"Spinning discs fling stones and lumps far, also behind and beside the machine: keep everybody out of the throw.",
	"Dust, of lime above all, harms eyes, lungs and moist skin: goggles, mask, gloves, sleeves; flush with much water.",
	"Ammonium nitrate feeds a fire: keep it away from fuel, heat, dirt and confinement, and store it apart.",
	"Weights are good for calibrating. Weighing for trade or billing needs a scale that is certified for it.",
	"Wind and slopes shift the pattern: a certificate holds for wind no stronger than in the test.",
	"Local codes, the machine's manual and licensed practice go before anything here.",
}

func (a CertificateAnswer) named() (machine, product string) {
	machine, product = string(a.Machine), string(a.Product)
	if a.MachineName != "" {
		machine = a.MachineName + " (" + machine + ")"
	}
	if a.ProductName != "" {
		product = a.ProductName + " (" + product + ")"
	}
	return machine, product
}

// Sheet is the certificate in words.
func (a CertificateAnswer) Sheet() Sheet {
	machine, product := a.named()
	s := Sheet{Title: "Calibration certificate", Subject: machine + " with " + product, Status: "VALID", Against: a.Validity.Reasons, AgainstTitle: "Why it does not hold", Facts: a.facts(),
		Cautions: certificateCautions[:], Signatures: []string{"Tested by (name, date)", "For the contractor (name, date)"}, Made: a.AsOf,
		Foot: "Coefficients of variation use the " + a.divisorWords() + ". Times are UTC. Worked out from the tests in the book up to " + clock(a.AsOf) + "."}
	if !a.Validity.Valid {
		s.Status = "NOT VALID"
	}
	if a.Density != nil {
		s.Tables = append(s.Tables, a.densityTable())
	}
	if len(a.Catches) > 0 {
		s.Tables = append(s.Tables, a.catchTable())
	}
	if a.Tray != nil {
		s.Tables = append(s.Tables, a.trayTable())
		s.Charts = append(s.Charts, a.patternChart(), a.widthChart())
	}
	if a.Overlap != nil {
		s.Tables = append(s.Tables, a.overlapTable())
	}
	if len(a.Checks) > 0 {
		s.Tables = append(s.Tables, a.checkTable())
	}
	for _, f := range a.Findings {
		s.Remarks = append(s.Remarks, capital(f.Text)+".")
	}
	return s
}

func capital(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// divisorWords says which standard deviation it is: the standards' methods do
// not make that plain, so a certificate does.
func (a CertificateAnswer) divisorWords() string {
	if a.Tray != nil && a.Tray.Result.Divisor == calibration.Population {
		return "population standard deviation (divisor n)"
	}
	return "sample standard deviation (divisor n-1)"
}

// gears is the belt gears and PTO speeds of the catch tests, each once, in their order.
func (a CertificateAnswer) gears() (words []string) {
	add := func(w string) {
		if !slices.Contains(words, w) {
			words = append(words, w)
		}
	}
	for _, c := range a.Catches {
		if c.Test.BeltGear != "" {
			add("gear " + c.Test.BeltGear)
		}
		if c.Test.PTORpm != nil {
			add("PTO " + number(*c.Test.PTORpm, 0) + " rpm")
		}
	}
	return words
}

func (a CertificateAnswer) facts() [][2]string {
	machine, product := a.named()
	setup := cmp.Or(a.DiscSet, "not noted")
	if a.DiscSet != "" {
		setup += " discs"
	}
	if a.Tray != nil && a.Tray.Test.VanePosition != "" {
		setup += ", vanes " + a.Tray.Test.VanePosition
	}
	for _, w := range a.gears() {
		setup += ", " + w
	}
	v := a.Validity
	return [][2]string{
		{"Machine", machine}, {"Product", strings.TrimSuffix(product+", "+a.Form, ", ")}, {"Set-up", setup}, {"Tested", clock(a.TestedAt)},
		{"Valid until", v.Until.UTC().Format(time.DateOnly) + ", or " + number(v.UntilKg/unit.KgPerTonne, 0) + " t spread, or the next change of product, whichever comes first"},
		{"Spread since", tonnes(v.SpreadKg) + " t"},
	}
}

func (a CertificateAnswer) densityTable() Table {
	d := a.Density
	t := Table{Caption: "Density test, " + clock(a.DensityAt), Columns: []Column{{"what", "What", false}, {"kg_m3", "kg/m3", true}, {"u95_kg_m3", "95 % half-width", true}, {"rate_change_pct", "Rate changes by %", true}}}
	t.Rows = append(t.Rows, []string{fmt.Sprintf("bulk density, %d fillings", d.Repeats), number(d.DensityKgM3, 1), number(d.U95KgM3, 1), "-"})
	for _, c := range d.Against {
		t.Rows = append(t.Rows, []string{"against the " + strings.ReplaceAll(c.With, "_", " "), number(c.DensityKgM3, 1), number(c.U95KgM3, 1), signed(c.RateChangePct, 1)})
	}
	return t
}

func (a CertificateAnswer) catchTable() Table {
	t := Table{Caption: "Catch tests", Columns: []Column{{"test", "Test", false}, {"caught_at", "Caught", false}, {"gate_mm", "Gate mm", true}, {"catches", "Catches", true}, {"flow", "Flow", true}, {"flow_unit", "Unit", false},
		{"se_pct", "Std. error %", true}, {"bout_width_m", "Bout width m", true}, {"rate_kg_ha", "kg/ha", true}}}
	for _, c := range a.Catches {
		flow, rate, se := "-", "-", "-"
		if v := c.Flow.KgPerM; c.Flow.Drive == calibration.ByGround && v != nil {
			flow = number(*v, 4)
		} else if v := c.Flow.KgMin; v != nil {
			flow = number(*v, 2)
		}
		if v := c.Flow.RateKgHa; v != nil {
			rate = number(*v, rateDecimals(*v))
		}
		if v := c.Flow.SEPct; v != nil {
			se = number(*v, 2)
		}
		t.Rows = append(t.Rows, []string{string(c.Test.CatchTest), cmp.Or(strings.ReplaceAll(c.Test.CaughtAt, "_", " "), "-"), plain(c.Test.GateMm), fmt.Sprint(c.Flow.Repeats), flow, c.Flow.Drive.FlowUnit(), se, plain(c.Test.BoutWidthM), rate})
	}
	for _, c := range a.Curves {
		if n := len(c.Points); n > 1 {
			t.Notes = append(t.Notes, fmt.Sprintf("The gate scale was tested from %s to %s mm; an opening beyond is no part of this certificate.", plain(c.Points[0].GateMm), plain(c.Points[n-1].GateMm)))
		} else if n == 1 {
			t.Notes = append(t.Notes, "The gate scale was tested at "+plain(c.Points[0].GateMm)+" mm alone; another opening is no part of this certificate.")
		}
	}
	return t
}

// shownRows is about how many bout widths a certificate lists; the chart has
// them all.
const shownRows = 8

func (a CertificateAnswer) trayTable() Table {
	r := a.Tray.Result
	answer := TrayAnswer{TestHead: TestHead{Test: a.Tray.Test.TrayTest}, Tray: r}
	every := max(1, (len(r.Rows)+shownRows-1)/shownRows)
	answer.Rows = nil
	for i, row := range r.Rows {
		if i%every == 0 || r.WidestBoutWidthM != nil && row.BoutWidthM == *r.WidestBoutWidthM {
			answer.Rows = append(answer.Rows, row)
		}
	}
	t := CalibrateTray(answer)
	t.Caption = "Tray test " + string(a.Tray.Test.TrayTest) + ", " + clock(a.Tray.At)
	t.Notes = nil
	for _, w := range r.Widest {
		text := "none"
		if w.BoutWidthM != nil && r.Valid {
			text = plain(*w.BoutWidthM) + " m"
		}
		t.Notes = append(t.Notes, fmt.Sprintf("Widest bout width %s: %s, within a CV of %s %%.", strings.ReplaceAll(string(w.Driving), "_", "-"), text, plain(r.CVLimitPct)))
	}
	wind := "not noted"
	if a.Tray.Test.WindMS != nil {
		wind = number(*a.Tray.Test.WindMS, 1) + " m/s"
	}
	t.Notes = append(t.Notes, fmt.Sprintf("%d trays, wind %s; left %s %%, right %s %% of the mass.", len(r.RatesKgHa), wind, number(r.LeftPct, 1), number(r.RightPct, 1)))
	for _, s := range r.Shapes {
		t.Notes = append(t.Notes, "Shape "+s.Text+".")
	}
	return t
}

func (a CertificateAnswer) overlapTable() Table {
	o := a.Overlap.Result
	t := CalibrateOverlap(OverlapAnswer{Overlap: o})
	t.Caption = "Overlap test " + string(a.Overlap.Test.OverlapTest) + ", " + clock(a.Overlap.At)
	t.Notes = []string{"Verdict: " + o.Text + "."}
	return t
}

func (a CertificateAnswer) checkTable() Table {
	t := Table{Caption: "Machine checks", Columns: checkColumns()}
	for _, c := range a.Checks {
		t.Rows = append(t.Rows, checkCells(c))
		if c.Failed {
			t.Notes = append(t.Notes, capital(c.Text)+".")
		}
	}
	return t
}

func checkColumns() []Column {
	return []Column{{"item", "Item", false}, {"value", "Value", true}, {"unit", "Unit", false}, {"at", "Checked", false}, {"state", "State", false}}
}

func checkCells(c calibration.CheckState) []string {
	state := "passed"
	if c.Failed {
		state = "FAILED"
	}
	value, unit := plain(c.Value), c.Unit
	if unit == "-" || unit == "" {
		value, unit = "-", ""
	}
	return []string{strings.TrimSpace(c.Words + " " + c.Position), value, unit, clock(c.At), state}
}

// Checks is the table of machine checks.
func Checks(a ChecksAnswer) Table {
	t := Table{Caption: "Machine checks", Columns: append([]Column{{"machine", "Machine", false}}, checkColumns()...)}
	for _, m := range a.Machines {
		for _, c := range m.Checks {
			t.Rows = append(t.Rows, append([]string{string(m.Machine)}, checkCells(c)...))
			if c.Failed {
				t.Notes = append(t.Notes, string(m.Machine)+": "+c.Text)
			}
		}
		if m.Blocked {
			t.Notes = append(t.Notes, "NO START with "+string(m.Machine)+": a safety check has failed; put it right and note the check again.")
		}
	}
	if len(a.Machines) == 0 {
		t.Notes = append(t.Notes, "No machine check is in the book.")
	}
	t.Notes = append(t.Notes, stopFirst)
	return t
}

// Certificate is the certificate for a terminal: facts first, then what stands
// against it.
func Certificate(a CertificateAnswer) Table {
	s := a.Sheet()
	t := Table{Caption: s.Title + ": " + s.Subject + ": " + s.Status, Columns: []Column{{"what", "What", false}, {"value", "Value", false}}}
	for _, f := range s.Facts {
		t.Rows = append(t.Rows, f[:])
	}
	for _, table := range s.Tables {
		t.Rows = append(t.Rows, []string{"With", table.Caption})
	}
	for _, r := range s.Against {
		t.Notes = append(t.Notes, "NOT VALID: "+r)
	}
	t.Notes = append(t.Notes, s.Remarks...)
	for _, c := range s.Cautions {
		t.Notes = append(t.Notes, "Caution: "+c)
	}
	t.Notes = append(t.Notes, s.Foot)
	return t
}
