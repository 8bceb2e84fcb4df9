package desk

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"
	"slices"
	"time"

	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const (
	// cabRefills are the refills whose real rate a cab is told: more than its
	// chart shows.
	cabRefills = 50
	// cabLoads bounds the loads that wait for a hopper: one that was never
	// noted as filled in must not travel for ever.
	cabLoads = 100
)

// cabTypes are what a packet is made of beside the result.
var cabTypes = [...]schemas.EventType{
	schemas.TypeRegisterCustomer, schemas.TypeRegisterField, schemas.TypeRegisterMachine, schemas.TypeRegisterProduct, schemas.TypeRegisterJob,
	schemas.TypeJobStarted, schemas.TypeJobFinished, schemas.TypeSettingChanged, schemas.TypeLoadWeighed, schemas.TypeHopperRefilled,
	schemas.TypeTestCatch, schemas.TypeCheckMachine, schemas.TypeDocketReceived, schemas.TypeNoticeRaised, schemas.TypeNoticeAcknowledged,
}

// Cabs are the packets of all machines at one state of the book.
type Cabs struct {
	Head int64 // everything up to here is in them
	in   reconcile.Input
	res  reconcile.Result
	more cabMore
	used map[schemas.LoadID]bool // in a hopper
}

// cabMore is what a reconciliation does not read.
type cabMore struct {
	customers []reconcile.At[schemas.RegisterCustomer]
	finished  []reconcile.At[schemas.JobFinished]
	notices   []reconcile.At[schemas.NoticeRaised]
	acked     []reconcile.At[schemas.NoticeAcknowledged]
}

// Cabs reads what the packets are made of, once for all machines. It may take
// as long as a reconciliation, where events have come since the last one.
func (d *Desk) Cabs(ctx context.Context) (*Cabs, error) {
	c := &Cabs{used: map[schemas.LoadID]bool{}}
	var err error
	// The head is taken first: what is read after it may be newer, and events that
	// come meanwhile must not pass for seen.
	if c.Head, err = d.book.Head(ctx); err != nil {
		return nil, err
	}
	if c.res, err = d.result(ctx); err != nil {
		return nil, err
	}
	var r reading
	err = d.book.Read(ctx, func(v *book.View) error {
		err := v.Events(ctx, []schemas.EventType{schemas.TypeEventAmended}, func(e *schemas.Event) error { return r.amended.Add(e) })
		if err != nil {
			return err
		}
		return v.Events(ctx, cabTypes[:], func(e *schemas.Event) error { return c.more.event(&r, e) })
	})
	c.in = r.in
	for _, refill := range c.in.Refills {
		for _, l := range refill.Data.Loads {
			c.used[l] = true
		}
	}
	return c, err
}

func (m *cabMore) event(r *reading, raw *schemas.Event) error {
	switch raw.Type {
	case schemas.TypeRegisterCustomer, schemas.TypeJobFinished, schemas.TypeNoticeRaised, schemas.TypeNoticeAcknowledged:
	default:
		return r.event(raw)
	}
	e, keep := r.apply(*raw)
	switch {
	case !keep:
		return nil
	case e.Type == schemas.TypeRegisterCustomer:
		return take(&m.customers, &e, raw)
	case e.Type == schemas.TypeJobFinished:
		return take(&m.finished, &e, raw)
	case e.Type == schemas.TypeNoticeRaised:
		return take(&m.notices, &e, raw)
	}
	return take(&m.acked, &e, raw)
}

// Packet is a device's packet: its own machine's state, and the registers. No
// prices are in it. Its digest is over everything but the time it was made.
func (c *Cabs) Packet(device schemas.DeviceID, at time.Time) (*schemas.CabPacket, error) {
	machine := schemas.MachineID(device)
	p := &schemas.CabPacket{Schema: schemas.SchemaCab, Device: device,
		Fields:   latest(c.in.Fields, func(f schemas.RegisterField) schemas.FieldID { return f.Field }),
		Machines: latest(c.in.Machines, func(m schemas.RegisterMachine) schemas.MachineID { return m.Machine }),
		Products: latest(c.in.Products, func(x schemas.RegisterProduct) schemas.ProductID { return x.Product }),
		Jobs:     c.jobs(), Customers: c.customers(), Stockpile: c.stockpiles(), Settings: c.settings(machine),
		Drift: c.drifts(machine), Notices: c.notices(machine), Loads: c.loads(), Rates: c.rates(machine),
	}
	for i := range p.Jobs {
		p.Jobs[i].Agreement = ""
	}
	var err error
	if p.Catch, err = tests(c.in.Catches, machine, nil); err != nil {
		return nil, err
	}
	if p.Checks, err = tests(c.in.Checks, machine, func(x schemas.CheckMachine) string { return x.Item + "\n" + x.Position }); err != nil {
		return nil, err
	}
	raw, err := json.Marshal(p)
	if err != nil {
		return nil, fault.New("make a tablet's packet", fault.Internal, err, "")
	}
	sum := sha256.Sum256(raw)
	p.Digest, p.At = hex.EncodeToString(sum[:]), at.UTC()
	return p, nil
}

// latest is the last register entry of each key, sorted by it; entries come in
// order of time.
func latest[T any, K cmp.Ordered](list []reconcile.At[T], key func(T) K) []T {
	last := map[K]T{}
	for _, x := range list {
		last[key(x.Data)] = x.Data
	}
	out := make([]T, 0, len(last))
	for _, k := range slices.Sorted(maps.Keys(last)) {
		out = append(out, last[k])
	}
	return out
}

// jobs are those not finished: a job is when it was finished whole, or each of
// its fields was, and none of it was started again since.
func (c *Cabs) jobs() []schemas.CabJob {
	type part struct {
		job   schemas.JobID
		field schemas.FieldID // "": the whole job
	}
	started, finished := map[part]time.Time{}, map[part]time.Time{}
	begun, latestStart := map[schemas.JobID]bool{}, map[schemas.JobID]time.Time{}
	for _, s := range c.in.Starts {
		started[part{s.Data.Job, s.Data.Field}] = s.Time
		begun[s.Data.Job], latestStart[s.Data.Job] = true, s.Time
	}
	for _, f := range c.more.finished {
		finished[part{f.Data.Job, f.Data.Field}] = f.Time
	}
	over := func(p part, since time.Time) bool {
		end, ok := finished[p]
		return ok && !end.Before(since)
	}
	out := []schemas.CabJob{}
	for _, j := range latest(c.in.Jobs, func(j schemas.RegisterJob) schemas.JobID { return j.Job }) {
		done := over(part{j.Job, ""}, latestStart[j.Job])
		if !done {
			done = !slices.ContainsFunc(j.Fields, func(f schemas.FieldID) bool {
				since := started[part{j.Job, f}]
				if whole := started[part{j.Job, ""}]; whole.After(since) {
					since = whole
				}
				return !over(part{j.Job, f}, since)
			})
		}
		switch {
		case done:
		case begun[j.Job]:
			out = append(out, schemas.CabJob{RegisterJob: j, State: "started"})
		default:
			out = append(out, schemas.CabJob{RegisterJob: j, State: "ordered"})
		}
	}
	return out
}

func (c *Cabs) customers() []schemas.CabCustomer {
	out := []schemas.CabCustomer{}
	for _, x := range latest(c.more.customers, func(x schemas.RegisterCustomer) schemas.CustomerID { return x.Customer }) {
		out = append(out, schemas.CabCustomer{Customer: x.Customer, Name: x.Name})
	}
	return out
}

// stockpiles are known from what was delivered there or taken from there, with
// the product seen last.
func (c *Cabs) stockpiles() []schemas.CabStockpile {
	type seen struct {
		at      time.Time
		product schemas.ProductID
	}
	last := map[schemas.StockpileID]seen{}
	note := func(s schemas.StockpileID, p schemas.ProductID, at time.Time) {
		if s != "" && !at.Before(last[s].at) {
			last[s] = seen{at, p}
		}
	}
	for _, x := range c.in.Dockets {
		note(x.Data.Stockpile, x.Data.Product, x.Time)
	}
	for _, x := range c.in.Loads {
		note(x.Data.Stockpile, x.Data.Product, x.Time)
	}
	out := []schemas.CabStockpile{}
	for _, s := range slices.Sorted(maps.Keys(last)) {
		out = append(out, schemas.CabStockpile{Stockpile: s, Product: last[s].product})
	}
	return out
}

// settings are the last one of each product, latest last.
func (c *Cabs) settings(machine schemas.MachineID) []schemas.SettingChanged {
	last := map[schemas.ProductID]int{}
	for i, s := range c.in.Settings {
		if s.Machine == machine {
			last[s.Data.Product] = i
		}
	}
	out := []schemas.SettingChanged{}
	for _, i := range slices.Sorted(maps.Values(last)) {
		out = append(out, c.in.Settings[i].Data)
	}
	return out
}

// tests are the machine's, in order of time; with a key only the last of each.
func tests[T any](list []reconcile.At[T], machine schemas.MachineID, key func(T) string) ([]schemas.CabTest, error) {
	out, at := []schemas.CabTest{}, map[string]int{}
	for _, x := range list {
		if x.Machine != machine {
			continue
		}
		raw, err := json.Marshal(x.Data)
		if err != nil {
			return nil, fault.New("make a tablet's packet", fault.Internal, err, "")
		}
		if key != nil {
			k := key(x.Data)
			if i, ok := at[k]; ok {
				out[i].Data = nil
			}
			at[k] = len(out)
		}
		out = append(out, schemas.CabTest{At: x.Time, Data: raw})
	}
	return slices.DeleteFunc(out, func(t schemas.CabTest) bool { return t.Data == nil }), nil
}

// drifts are the verdicts under the calibrations in force, the latest series of
// each product.
func (c *Cabs) drifts(machine schemas.MachineID) []schemas.CabDrift {
	last := map[schemas.ProductID]reconcile.Drift{}
	for _, d := range c.res.Drifts {
		if d.Machine == machine && !d.Superseded && !d.Since.Before(last[d.Product].Since) {
			last[d.Product] = d
		}
	}
	out := []schemas.CabDrift{}
	for _, p := range slices.Sorted(maps.Keys(last)) {
		d := last[p]
		one := schemas.CabDrift{Product: p, State: d.State, FlowRatio: d.FlowRatio, SizePct: d.SizePct, ChangeLoad: d.ChangeLoad, FlowFactor: d.FlowFactor, Loads: d.Loads}
		if d.GateTry != nil {
			one.GateTryMm = d.GateTry.TryMm
		}
		out = append(out, one)
	}
	return out
}

// notices are those to the machine that its crew has not acknowledged.
func (c *Cabs) notices(machine schemas.MachineID) []schemas.NoticeRaised {
	out := []schemas.NoticeRaised{}
	for _, n := range c.more.notices {
		acked := slices.ContainsFunc(c.more.acked, func(a reconcile.At[schemas.NoticeAcknowledged]) bool { return a.Data.Notice == n.Data.Notice })
		if n.Data.Machine == machine && !acked {
			out = append(out, n.Data)
		}
	}
	return out
}

// loads wait for a hopper, of any machine: a loader weighs for spreaders.
func (c *Cabs) loads() []schemas.CabLoad {
	out := []schemas.CabLoad{}
	for _, l := range c.in.Loads {
		if !c.used[l.Data.Load] {
			out = append(out, schemas.CabLoad{Load: l.Data.Load, Product: l.Data.Product, NetKg: l.Data.NetKg, At: l.Time, Machine: l.Machine})
		}
	}
	return out[max(0, len(out)-cabLoads):]
}

// rates are the machine rates of the last closed balance intervals.
func (c *Cabs) rates(machine schemas.MachineID) map[string]schemas.CabRates {
	var closed []reconcile.Interval
	for _, iv := range c.res.Intervals {
		if iv.Machine == machine && !iv.Open && iv.Refill != "" && iv.SwathM2 > 0 {
			closed = append(closed, iv)
		}
	}
	out := map[string]schemas.CabRates{}
	const m2PerHa = 10_000
	for _, iv := range closed[max(0, len(closed)-cabRefills):] {
		perHa := m2PerHa / iv.SwathM2
		out[string(iv.Refill)] = schemas.CabRates{MachineRateKgHa: iv.MassKg * perHa, LowKgHa: max(0, iv.MassLowKg*perHa), HighKgHa: iv.MassHighKg * perHa}
	}
	return out
}
