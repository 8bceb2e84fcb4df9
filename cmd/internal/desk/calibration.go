package desk

import (
	"context"
	"encoding/json"
	"io"
	"slices"
	"strings"
	"time"

	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/unit"
)

// TestsParams narrows the tests asked for; an empty field narrows nothing.
type TestsParams struct {
	Machine schemas.MachineID `json:"machine,omitempty"`
	Product schemas.ProductID `json:"product,omitempty"` // checks have none and are not narrowed by it
}

// tests answers with the calibration's events as they count, and with what the
// registers say of the products.
func (d *Desk) tests(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[TestsParams]("tests", params)
	if err != nil {
		return err
	}
	var r reading
	err = d.book.Read(ctx, func(v *book.View) error {
		return r.events(ctx, v, []schemas.EventType{schemas.TypeRegisterProduct, schemas.TypeSettingChanged, schemas.TypeTestDensity, schemas.TypeTestCatch, schemas.TypeTestTray, schemas.TypeTestOverlap, schemas.TypeCheckMachine})
	})
	if err != nil {
		return err
	}
	r.in = reconcile.WithDiscSets(r.in)
	a := reports.TestsAnswer{Schema: reports.SchemaTests, Tests: []reports.BookedTest{}, DensityKgM3: map[schemas.ProductID]float64{}}
	for _, product := range r.in.Products { // in order of time: a later entry replaces an earlier one
		if kgM3 := product.Data.BulkDensityKgM3; kgM3 != nil {
			a.DensityKgM3[product.Data.Product] = *kgM3
		}
	}
	add := adder{&a, p}
	err = booked(add, r.in.Densities, schemas.TypeTestDensity, func(t schemas.TestDensity) schemas.ProductID { return t.Product })
	if err == nil {
		err = booked(add, r.in.Catches, schemas.TypeTestCatch, func(t schemas.TestCatch) schemas.ProductID { return t.Product })
	}
	if err == nil {
		err = booked(add, r.in.Trays, schemas.TypeTestTray, func(t schemas.TestTray) schemas.ProductID { return t.Product })
	}
	if err == nil {
		err = booked(add, r.in.Overlaps, schemas.TypeTestOverlap, func(t schemas.TestOverlap) schemas.ProductID { return t.Product })
	}
	if err == nil {
		err = booked(add, r.in.Checks, schemas.TypeCheckMachine, func(schemas.CheckMachine) schemas.ProductID { return p.Product })
	}
	slices.SortStableFunc(a.Tests, func(x, y reports.BookedTest) int { return x.At.Compare(y.At) })
	return writeUnless(err, w, a)
}

// adder takes what is asked for into an answer.
type adder struct {
	answer *reports.TestsAnswer
	asked  TestsParams
}

func booked[T any](add adder, events []reconcile.At[T], kind schemas.EventType, product func(T) schemas.ProductID) error {
	for _, e := range events {
		if add.asked.Machine != "" && e.Machine != add.asked.Machine || add.asked.Product != "" && product(e.Data) != add.asked.Product {
			continue
		}
		raw, err := withMachine(e.Data, e.Machine)
		if err != nil {
			return fault.New("answer tests", fault.Internal, err, "")
		}
		add.answer.Tests = append(add.answer.Tests, reports.BookedTest{Type: kind, Machine: e.Machine, At: e.Time, Data: raw})
	}
	return nil
}

// withMachine is an event's data that names its machine, also where the event
// was made on it.
func withMachine(data any, machine schemas.MachineID) (json.RawMessage, error) {
	raw, err := json.Marshal(data)
	if err != nil || machine == "" {
		return raw, err
	}
	var fields map[string]any
	if err := json.Unmarshal(raw, &fields); err != nil {
		return nil, err
	}
	fields["machine"] = machine
	return json.Marshal(fields)
}

// CertifyParams says which certificate is asked for.
type CertifyParams struct {
	Machine    schemas.MachineID `json:"machine"`
	Product    schemas.ProductID `json:"product,omitempty"`
	DiscSet    string            `json:"disc_set,omitempty"`
	AsOf       string            `json:"as_of,omitempty"` // day like 2026-03-01, its end counts; "": the machine's last event
	CVLimitPct float64           `json:"cv_limit_pct,omitempty"`
	ValidDays  int               `json:"valid_days,omitempty"`
	ValidT     float64           `json:"valid_t,omitempty"` // tonnes
}

func (d *Desk) certify(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[CertifyParams]("certify", params)
	if err != nil {
		return err
	}
	ask := reconcile.CertificateAsk{Machine: p.Machine, Product: p.Product, DiscSet: p.DiscSet, CVLimitPct: p.CVLimitPct, ValidDays: p.ValidDays, ValidKg: p.ValidT * unit.KgPerTonne}
	if day := strings.TrimSpace(p.AsOf); day != "" {
		at, err := time.Parse(time.DateOnly, day)
		if err != nil {
			return fault.Newf("answer certify", fault.Usage, day+" is no day", "write it like 2026-03-01")
		}
		ask.AsOf = at.AddDate(0, 0, 1).Add(-time.Nanosecond)
	}
	d.working.Lock()
	defer d.working.Unlock()
	in, _, err := d.input(ctx)
	if err != nil {
		return err
	}
	c, err := reconcile.Certify(in, ask)
	if err != nil {
		return err
	}
	return write(w, reports.NewCertificateAnswer(c))
}
