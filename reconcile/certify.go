package reconcile

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"hopperbook/reconcile/calibration"
	"hopperbook/reconcile/drift"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// CertificateAsk says which certificate is wanted.
type CertificateAsk struct {
	Machine    schemas.MachineID
	Product    schemas.ProductID // "": the only one tested
	DiscSet    string            // "": that of the newest test
	AsOf       time.Time         // zero: the last event of the machine
	CVLimitPct float64           // 0: calibration.CVLimitFor the product
	ValidDays  int               // 0: calibration.DefaultValidDays
	ValidKg    float64           // 0: calibration.DefaultValidKg
}

// MachineCertificate is a certificate with the names of what it is about.
type MachineCertificate struct {
	calibration.Certificate
	MachineName string
	HopperM3    float64
	ProductName string
	Form        string // of the product
}

// Certify makes a machine's calibration certificate from its tests, checks,
// refills and settings in the book; what it has spread since is the balance's.
// fault.NotFound: no such tests; fault.Usage: several products and none named.
// Cost: that of Run for the one machine, without coverage.
func Certify(in Input, ask CertificateAsk) (MachineCertificate, error) {
	op, tested := "certify "+string(ask.Machine), testedBy(in, ask.Machine)
	if !ask.AsOf.IsZero() {
		in.Refills, in.Settings, in.Catches = upTo(in.Refills, ask.AsOf), upTo(in.Settings, ask.AsOf), upTo(in.Catches, ask.AsOf)
		in.Passes = slices.DeleteFunc(slices.Clone(in.Passes), func(p Pass) bool { return p.start().After(ask.AsOf) })
	}
	in = WithDiscSets(in)
	switch {
	case len(tested) == 0:
		return MachineCertificate{}, fault.Newf(op, fault.NotFound, "no catch test and no tray test of this machine is in the book", "tested are: "+cmp.Or(list(testedMachines(in)), "none"))
	case ask.Product == "" && len(tested) > 1:
		return MachineCertificate{}, fault.Newf(op, fault.Usage, "it was tested with several products", "name one with --product: "+list(tested))
	case ask.Product == "":
		ask.Product = tested[0]
	case !slices.Contains(tested, ask.Product):
		return MachineCertificate{}, fault.Newf(op, fault.NotFound, fmt.Sprintf("no catch test and no tray test with %s is in the book", ask.Product), "it was tested with: "+list(tested))
	}
	found := &findings{}
	reg := readRegisters(in, found)
	m, err := tell(in, &reg, ask.Machine, passesByMachine(in.Passes)[ask.Machine], found)
	if err != nil {
		return MachineCertificate{}, fault.Wrap(op, err)
	}
	machine, product := reg.machines[ask.Machine].Data, reg.products[ask.Product].Data
	against, err := drifted(m, in.Policy, ask.Product)
	if err != nil {
		return MachineCertificate{}, fault.Wrap(op, err)
	}
	c, err := m.certify(in, &reg, ask, against)
	return MachineCertificate{Certificate: c, MachineName: machine.Name, HopperM3: machine.HopperM3, ProductName: product.Name, Form: product.Form}, err
}

// certify makes the certificate of a machine whose story is told.
func (m *machine) certify(in Input, reg *registers, ask CertificateAsk, against []string) (calibration.Certificate, error) {
	product := reg.products[ask.Product].Data
	input := certificateInput(in, m, ask)
	input.Against = against
	input.RegisterKgM3 = orZero(product.BulkDensityKgM3)
	input.TrayOptions.CVLimitPct = cmp.Or(ask.CVLimitPct, calibration.CVLimitFor(product.Analysis))
	return calibration.Certify(input)
}

func upTo[T any](events []At[T], at time.Time) []At[T] {
	return slices.DeleteFunc(slices.Clone(events), func(e At[T]) bool { return e.Time.After(at) })
}

// drifted is what the drift of the machine with the product says against its
// last calibration; nothing while it holds or is only watched.
func drifted(m *machine, p Policy, product schemas.ProductID) (against []string, err error) {
	drifts, err := m.driftsOf(p)
	if err != nil {
		return nil, err
	}
	last, calibrated := m.inForce(product, time.UnixMilli(1<<53))
	for _, d := range drifts {
		if d.Product == product && d.State == string(drift.Recalibrate) && calibrated && d.Since.Equal(last.Time) {
			against = append(against, fmt.Sprintf("its loads say that the flow has changed by %+.1f %% since load %d: recalibrate", d.SizePct, d.ChangeLoad))
		}
	}
	return against, nil
}

func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

// testedBy lists the products a machine was tested with, sorted.
func testedBy(in Input, machine schemas.MachineID) []schemas.ProductID {
	products := map[schemas.ProductID]bool{}
	for _, t := range of(in.Catches, machine) {
		products[t.Data.Product] = true
	}
	for _, t := range of(in.Trays, machine) {
		products[t.Data.Product] = true
	}
	return sortedKeys(products)
}

func testedMachines(in Input) []schemas.MachineID {
	machines := map[schemas.MachineID]bool{}
	for _, t := range in.Catches {
		machines[t.Machine] = true
	}
	for _, t := range in.Trays {
		machines[t.Machine] = true
	}
	return sortedKeys(machines)
}

func certificateInput(in Input, m *machine, ask CertificateAsk) calibration.CertificateInput {
	settings := m.settings
	c := calibration.CertificateInput{Machine: m.id, Product: ask.Product, DiscSet: ask.DiscSet, AsOf: ask.AsOf, CheckLimits: in.Policy.CheckLimits,
		ValidDays: ask.ValidDays, ValidKg: ask.ValidKg, Densities: datedOf(in.Densities, m.id), Catches: datedOf(in.Catches, m.id), Trays: datedOf(in.Trays, m.id),
		Overlaps: datedOf(in.Overlaps, m.id), Checks: checksOf(in.Checks)}
	for _, s := range settings {
		c.Changes = append(c.Changes, calibration.ProductChange{At: s.Time, Product: s.Data.Product})
	}
	for i, r := range m.refills {
		if len(r.Data.Loads) > 0 {
			c.Changes = append(c.Changes, calibration.ProductChange{At: r.Time, Product: m.productAfter(i)})
		}
	}
	for _, iv := range m.balance.Intervals {
		if iv.Product == ask.Product {
			c.Spread = append(c.Spread, calibration.Spread{At: iv.Start, Kg: iv.MassKg})
		}
	}
	if c.AsOf.IsZero() {
		c.AsOf = lastOf(in, m.id)
	}
	return c
}

// WithDiscSets gives catch and tray tests that name no disc set the one the
// machine was set to. The input's own lists are not changed.
func WithDiscSets(in Input) Input {
	in.Catches, in.Trays = slices.Clone(in.Catches), slices.Clone(in.Trays)
	settings := sorted(in.Settings)
	for i, t := range in.Catches {
		in.Catches[i].Data.DiscSet = cmp.Or(t.Data.DiscSet, discSetAt(of(settings, t.Machine), t.Data.Product, t.Data.CatchTest, t.Time))
	}
	for i, t := range in.Trays {
		in.Trays[i].Data.DiscSet = cmp.Or(t.Data.DiscSet, discSetAt(of(settings, t.Machine), t.Data.Product, "", t.Time))
	}
	return in
}

// discSetAt is the disc set of the setting that names the catch test, else of
// the last setting of the product up to a time; "" where none says.
func discSetAt(settings []At[schemas.SettingChanged], product schemas.ProductID, test schemas.TestID, at time.Time) (set string) {
	for _, s := range settings {
		switch {
		case test != "" && s.Data.CatchTest == test && s.Data.DiscSet != "":
			return s.Data.DiscSet
		case s.Data.Product == product && s.Data.DiscSet != "" && !s.Time.After(at):
			set = s.Data.DiscSet
		}
	}
	return set
}

func datedOf[T any](events []At[T], machine schemas.MachineID) (out []calibration.Dated[T]) {
	for _, e := range sorted(of(events, machine)) {
		out = append(out, calibration.Dated[T]{At: e.Time, Data: e.Data})
	}
	return out
}

func checksOf(events []At[schemas.CheckMachine]) []calibration.Check {
	out := make([]calibration.Check, len(events))
	for i, e := range events {
		out[i] = calibration.Check{Machine: e.Machine, At: e.Time, CheckMachine: e.Data}
	}
	return out
}

// lastOf is when the machine's last event happened.
func lastOf(in Input, machine schemas.MachineID) (last time.Time) {
	see := func(at time.Time) {
		if at.After(last) {
			last = at
		}
	}
	for _, times := range [][]time.Time{timesOf(in.Settings, machine), timesOf(in.Refills, machine), timesOf(in.Catches, machine), timesOf(in.Trays, machine),
		timesOf(in.Densities, machine), timesOf(in.Overlaps, machine), timesOf(in.Checks, machine), timesOf(in.Starts, machine)} {
		for _, at := range times {
			see(at)
		}
	}
	for _, p := range in.Passes {
		if n := len(p.Fixes); p.Machine == machine && n > 0 {
			see(time.UnixMilli(p.Fixes[n-1].UnixMilli).UTC())
		}
	}
	return last
}

func timesOf[T any](events []At[T], machine schemas.MachineID) (out []time.Time) {
	for _, e := range events {
		if e.Machine == machine {
			out = append(out, e.Time)
		}
	}
	return out
}
