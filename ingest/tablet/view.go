package tablet

import (
	"cmp"
	"slices"
	"time"

	"hopperbook/schemas"
)

const (
	shownEntries = 20
	newFor       = time.Minute // a notice is new that long after it was first seen

	// By its nitrogen a product may be ammonium nitrate: above the threshold of
	// the higher-hazard grade (HSE delivery guide, UN 2067), up to the pure salt's
	// 35.0 % (14.007 x 2 / 80.04). The register does not say more.
	ammoniumLowPct  = 24.5
	ammoniumHighPct = 35.0
)

// View is what is to be seen now. O(jobs + refills); distances to fields are
// taken anew only when the machine has moved.
func (c *Cab) View() View {
	status := c.cfg.Store.Status()
	c.mu.Lock()
	defer c.mu.Unlock()
	b := c.book
	checks := c.cfg.Rules.Checks(b.checks, c.now())
	v := View{
		At: c.now(), Device: c.cfg.Device, Machine: string(c.me), Role: c.cfg.Role, TimeZone: c.zone().String(), Operator: c.state.Hand.Operator,
		GNSS: c.gnssView(), Work: c.workView(checks), Outbox: status.OutboxView, Link: c.link, Notices: c.noticeViews(),
		Undo: c.undoView(), Jobs: c.jobViews(), Products: b.productViews(c.cfg.Rules), Piles: []PileView{}, Waiting: c.waiting(status.Confirmed),
		Spreader: []MachineView{}, Checks: checks, Last: c.entries(status.Confirmed),
	}
	if m := b.machines[c.me]; m != nil {
		v.Machine = m.Name
	}
	product := c.product()
	if s := b.settingFor(product); s != nil {
		v.Setting = &SettingView{s.Data, s.At}
	}
	if d := b.drift(product); d != nil {
		held := *d
		v.Drift = &held
	}
	c.massViews(&v, product)
	for _, p := range b.packet.Stockpile {
		v.Piles = append(v.Piles, PileView{p.Stockpile, p.Product})
	}
	for _, m := range b.packet.Machines {
		if m.Kind != RoleLoader && m.Machine != c.me {
			v.Spreader = append(v.Spreader, MachineView{m.Machine, m.Name})
		}
	}
	return v
}

func (c *Cab) gnssView() GNSSView {
	g := GNSSView{State: c.gnss, Quality: int(c.fix.Quality)}
	if c.fix.UnixMilli != 0 {
		lat, lon := c.fix.LatDeg, c.fix.LonDeg
		g.Lat, g.Lon, g.SpeedKmh = &lat, &lon, finite(c.fix.SpeedKmh)
	}
	return g
}

func (c *Cab) workView(checks []CheckView) WorkView {
	w := c.work()
	v := WorkView{State: "idle", Job: w.job, Field: w.field, Product: c.product(), Spreading: "off", Marked: c.marked, InField: c.inField, Unsafe: []CheckView{}}
	switch {
	case c.book.work.job != "":
		v.State = "working"
	case w.job != "":
		v.State = "picked"
	}
	if f := c.book.fields[w.field]; f != nil {
		v.FieldName = f.Name
	}
	if j := c.book.job(w.job); j != nil {
		v.Customer = c.book.names[j.Customer]
	}
	if rate, _ := c.asked(); rate > 0 {
		v.SetRate = &rate
	}
	switch mark := c.state.Hand.Mark; {
	case mark != "": // at once, not with the next fix
		v.Spreading, v.Marked = mark, schemas.MarkedByHand
	case v.Marked == schemas.MarkedByHand: // given back; the next fix tells
		v.Marked = ""
	case c.fix.Spreading == schemas.SpreadingOn:
		v.Spreading = "on"
	}
	for _, item := range checks {
		if item.Safety && item.State == "failed" {
			v.Unsafe = append(v.Unsafe, item)
		}
	}
	return v
}

// massViews fills in hopper and rates.
func (c *Cab) massViews(v *View, product schemas.ProductID) {
	v.Rate.Series = []Point{}
	v.Rate.SetKgHa = v.Work.SetRate
	if c.cfg.Role == RoleLoader {
		return
	}
	h := c.book.balance(c.live.By)
	ratio, known := c.book.flow(&h, cmp.Or(h.product, product))
	c.rates(&v.Rate, &h, product)
	if known && v.Rate.SetKgHa != nil {
		now := *v.Rate.SetKgHa * ratio
		v.Rate.NowKgHa = &now
	}
	if len(c.book.refills) == 0 {
		return
	}
	swathHa := h.swathM2 / 1e4
	v.Hopper = HopperView{Kg: h.leftKg(ratio), LoadedKg: h.loadedKg, SpreadHa: &swathHa, LastKnown: h.reading}
	if v.Hopper.Kg == nil {
		return
	}
	if full, ok := c.book.fullKg(c.me, h.product, c.cfg.Rules); ok {
		share := *v.Hopper.Kg / full
		v.Hopper.Share = &share
	}
	if set := v.Rate.SetKgHa; set != nil && *set > 0 {
		ha := *v.Hopper.Kg / (*set * ratio)
		v.Hopper.HaLeft = &ha
	}
}

// rates fills in the real machine rates of the last runs of a product.
func (c *Cab) rates(v *RateView, h *hopper, product schemas.ProductID) {
	for i := range h.runs {
		r := &h.runs[i]
		if product != "" && r.product != product {
			continue
		}
		p := Point{Load: r.refill, KgHa: r.kgHa(), OffPct: 100 * (r.ratio() - 1)}
		told := "tablet"
		if office, ok := c.packet.Rates[string(r.refill)]; ok && office.MachineRateKgHa > 0 {
			p.OffPct = 100 * (office.MachineRateKgHa*r.swathM2/kgPerHaOfKgM2/r.nominalKg - 1)
			p.KgHa, told = office.MachineRateKgHa, "office"
		}
		v.Series = append(v.Series, p)
		v.LastKgHa, v.LastOffPc, v.LastTold = &p.KgHa, &p.OffPct, told
	}
	v.Series = v.Series[max(0, len(v.Series)-seriesOfLoads):]
}

func (c *Cab) noticeViews() []NoticeView {
	now := c.cfg.Now()
	out := []NoticeView{}
	for _, n := range c.packet.Notices {
		if c.book.acked[n.Notice] {
			continue
		}
		first, seen := c.shown[n.Notice]
		if !seen {
			first = now
			c.shown[n.Notice] = now
		}
		out = append(out, NoticeView{n, now.Sub(first) < newFor})
	}
	return out
}

func (b *book) productViews(rules Rules) []ProductView {
	out := []ProductView{}
	for i := range b.packet.Products {
		p := &b.packet.Products[i]
		v := ProductView{Product: p.Product, Name: p.Name, Form: p.Form}
		if kgM3, ok := b.bulkDensity(p.Product, rules); ok {
			v.BulkDensityKgM3 = &kgM3
		}
		if a := p.Analysis; a != nil && a.NPct != nil && !(a.Organic != nil && *a.Organic) {
			v.Ammonium = *a.NPct > ammoniumLowPct && *a.NPct <= ammoniumHighPct
		}
		out = append(out, v)
	}
	return out
}

// waiting lists loads in no hopper yet. A load of this tablet that the book
// has and the office's later copies do not list went into a hopper elsewhere.
func (c *Cab) waiting(confirmed int64) []LoadView {
	listed := map[schemas.LoadID]bool{}
	for _, l := range c.packet.Loads {
		listed[l.Load] = true
	}
	out := []LoadView{}
	for id, l := range c.book.loads {
		gone := l.sequence > 0 && l.sequence <= confirmed && !listed[id] && c.packet.At.After(l.at)
		if !c.book.used[id] && !gone {
			out = append(out, LoadView{Load: id, Product: l.Product, NetKg: l.NetKg, At: l.at, For: l.For})
		}
	}
	slices.SortFunc(out, func(x, y LoadView) int { return cmp.Or(x.At.Compare(y.At), cmp.Compare(x.Load, y.Load)) })
	return out
}
