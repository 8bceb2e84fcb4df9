package tablet

import (
	"math"
	"slices"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// What is plausible, and how sure a level is (common practice, no source).
const (
	heapedShare  = 1.1  // of the level hopper: what a heaped one holds
	levelSdShare = 0.05 // of the level hopper: standard uncertainty of a level by the picture
)

func (c *Cab) load(p *plan, in Load) error {
	data, err := c.weigh(p, in)
	if err != nil {
		return err
	}
	if !in.Refill {
		p.add(schemas.TypeLoadWeighed, data)
		return nil
	}
	into := Refill{Loads: []schemas.LoadID{data.Load}, For: in.For, Residual: Residual{Method: schemas.ResidualUnknown}, Confirm: in.Confirm}
	if in.Residual != nil {
		into.Residual = *in.Residual
	}
	p.add(schemas.TypeLoadWeighed, data)
	filled, err := c.fill(p, into, &data)
	if err != nil {
		return err
	}
	p.add(schemas.TypeHopperRefilled, filled)
	return nil
}

// weigh makes a load of what was weighed, and asks where it is not plausible.
func (c *Cab) weigh(p *plan, in Load) (loadData, error) {
	product, err := c.aProduct(in.Product)
	if err != nil {
		return loadData{}, err
	}
	l := loadData{schemas.LoadWeighed{Load: schemas.LoadID(c.id(p, schemas.TypeLoadWeighed)), Product: product, Method: in.Method, VolumeM3: in.VolumeM3,
		Scale: in.Scale, Docket: in.Docket, Stockpile: in.Stockpile, Machine: c.cfg.Machine}, in.For}
	if in.For != "" {
		if err := c.spreader(in.For); err != nil {
			return l, err
		}
	}
	if err := c.net(&l, in); err != nil {
		return l, err
	}
	into := c.me
	if c.cfg.Role == RoleLoader {
		into = in.For
	}
	return l, c.plausibleLoad(&l, into, in.Confirm)
}

// net is a load's net mass: of lifts each less its tare, or as it was read, or
// by volume.
func (c *Cab) net(l *loadData, in Load) error {
	tare := 0.0
	if in.TareKg != nil {
		tare = *in.TareKg
	}
	switch {
	case tare < 0:
		return refuse(KeyNegative, fault.Input, "weigh the empty bucket again", "the tare is below zero: %g kg", tare)
	case len(in.LiftsKg) > 0:
		return l.lifts(in.LiftsKg, tare, in.TareKg != nil)
	case in.NetKg != nil:
		l.NetKg = grams(*in.NetKg)
	case in.VolumeM3 != nil:
		density, known := c.book.bulkDensity(l.Product, c.cfg.Rules)
		if !known {
			return refuse(KeyNoDensity, fault.Input, "make a density test, or weigh the load", "the bulk density of %s is not known", l.Product)
		}
		l.NetKg, l.BulkDensityKgM3 = grams(*in.VolumeM3*density), &density
		if l.Method == "" {
			l.Method = schemas.MethodVolume
		}
	default:
		return refuse(KeyNoMass, fault.Input, "enter a lift or the net mass", "the load has no mass")
	}
	if l.NetKg < 0 {
		return refuse(KeyNegative, fault.Input, "weigh it again", "the load is below zero: %g kg", l.NetKg)
	}
	return nil
}

func (l *loadData) lifts(gross []float64, tare float64, tared bool) error {
	for _, kg := range gross {
		net := grams(kg - tare)
		if net < 0 {
			return refuse(KeyNegative, fault.Input, "take the lift out, or correct the tare", "a lift of %g kg is lighter than its tare of %g kg", kg, tare)
		}
		l.LiftsKg = append(l.LiftsKg, net)
		l.NetKg += net
	}
	l.NetKg = grams(l.NetKg)
	if len(gross) == 1 && tared {
		l.GrossKg, l.TareKg = &gross[0], &tare
	}
	if l.Method == "" {
		l.Method = schemas.MethodBucket
	}
	return nil
}

// grams rounds a mass in kg to the gram, so that sums look as they were keyed.
func grams(kg float64) float64 { return math.Round(kg*1000) / 1000 }

func (c *Cab) plausibleLoad(l *loadData, into schemas.MachineID, confirmed bool) error {
	if confirmed {
		return nil
	}
	if l.NetKg == 0 {
		return ask(KeyLoadZero, nil, "confirm, or weigh it again", "a load of 0 kg")
	}
	if full, known := c.book.fullKg(into, l.Product, c.cfg.Rules); known && l.NetKg > heapedShare*full {
		return ask(KeyLoadTooBig, map[string]float64{"kg": l.NetKg, "limit_kg": heapedShare * full}, "confirm, or weigh it again",
			"a load of %.0f kg is more than the heaped hopper holds, %.0f kg", l.NetKg, heapedShare*full)
	}
	if j := c.book.job(c.work().job); j != nil && j.Product != l.Product && c.cfg.Role != RoleLoader {
		return ask(KeyOtherProduct, nil, "confirm, or choose the job's product", "the job in hand is for %s, the load is %s", j.Product, l.Product)
	}
	return nil
}

// spreader refuses a machine that cannot be filled.
func (c *Cab) spreader(m schemas.MachineID) error {
	known := c.book.machines[m]
	if len(c.book.machines) > 0 && (known == nil || known.Kind == RoleLoader) || m == "" {
		return refuse(KeyNoSpreader, fault.NotFound, "choose the spreader that is filling", "there is no spreader %.64q", string(m))
	}
	return nil
}

func (c *Cab) refill(p *plan, in Refill) error {
	data, err := c.fill(p, in, nil)
	if err != nil {
		return err
	}
	p.add(schemas.TypeHopperRefilled, data)
	return nil
}

// fill makes a refill; fresh is a load that is weighed by the same command.
func (c *Cab) fill(p *plan, in Refill, fresh *loadData) (refillData, error) {
	r := refillData{HopperRefilled: schemas.HopperRefilled{Loads: []schemas.LoadID{}, Machine: c.cfg.Machine}}
	into := c.me
	switch {
	case c.cfg.Role == RoleLoader:
		if err := c.spreader(in.For); err != nil {
			return r, err
		}
		into, r.Machine = in.For, in.For
	case in.For != "" && in.For != c.me:
		return r, refuse(KeyNoSpreader, fault.Usage, "fill it on its own tablet or the loader's", "this tablet is not of %.64q", string(in.For))
	}
	inKg, err := c.takeLoads(&r, in, fresh)
	if err != nil {
		return r, err
	}
	full, known := c.book.fullKg(into, r.Product, c.cfg.Rules)
	if err := r.residual(in.Residual, full, known); err != nil {
		return r, err
	}
	if len(in.Loads) == 0 && in.ToldKg == nil && r.ResidualKg == nil {
		return r, refuse(KeyNoReading, fault.Input, "choose loads, or read what is left", "neither loads nor a reading")
	}
	if total := inKg + orZero(r.ResidualKg); known && total > heapedShare*full && !in.Confirm {
		return r, ask(KeyOverFull, map[string]float64{"kg": total, "limit_kg": heapedShare * full}, "confirm, or correct the residual",
			"residual and loads are %.0f kg, the heaped hopper holds %.0f kg", total, heapedShare*full)
	}
	if len(in.Loads) == 0 && in.ToldKg != nil {
		r.told(*in.ToldKg)
	}
	r.Refill = schemas.RefillID(c.id(p, schemas.TypeHopperRefilled))
	return r, nil
}

// takeLoads names the loads that enter the hopper and their product, and
// gives their mass. What others weighed is noted beside, since only the office
// has it otherwise.
func (c *Cab) takeLoads(r *refillData, in Refill, fresh *loadData) (inKg float64, err error) {
	others := 0.0
	for i, id := range in.Loads {
		l, waits := c.book.loads[id]
		if fresh != nil && fresh.Load == id {
			l, waits = loadNote{loadData: *fresh, sequence: 1}, true
		}
		if !waits || c.book.used[id] || slices.Contains(in.Loads[:i], id) {
			return 0, refuse(KeyNoLoad, fault.NotFound, "choose a load that waits", "no load %.64q waits for a hopper", string(id))
		}
		if r.Product != "" && r.Product != l.Product {
			return 0, refuse(KeyMixed, fault.Conflict, "fill one product at a time", "the loads are of %s and %s", r.Product, l.Product)
		}
		r.Product = l.Product
		r.Loads = append(r.Loads, id)
		if inKg += l.NetKg; l.sequence == 0 {
			others += l.NetKg
		}
	}
	told := orZero(in.ToldKg)
	if told < 0 {
		return 0, refuse(KeyNegative, fault.Input, "enter what was loaded", "the load is below zero: %g kg", told)
	}
	if others += told; others > 0 {
		r.ToldKg = &others
	}
	if inKg += told; len(in.Loads) > 0 {
		return inKg, nil
	}
	product := in.Product
	if n := len(c.book.refills); product == "" && n > 0 && in.ToldKg == nil && c.cfg.Role != RoleLoader {
		product = c.book.refills[n-1].Product
	}
	r.Product, err = c.aProduct(product)
	return inKg, err
}

// residual notes what was left; fullKg is what the hopper holds.
func (r *refillData) residual(in Residual, fullKg float64, known bool) error {
	zero := 0.0
	r.ResidualMethod = in.Method
	switch in.Method {
	case schemas.ResidualEmpty:
		r.ResidualKg = &zero
	case "", schemas.ResidualUnknown:
		r.ResidualMethod = schemas.ResidualUnknown
	case schemas.ResidualCells:
		if r.ResidualKg = in.Kg; in.Kg == nil {
			return refuse(KeyResidual, fault.Input, "enter what is left", "the reading has no number")
		}
	case schemas.ResidualLevel:
		return r.level(in, fullKg, known)
	default:
		return refuse(KeyResidual, fault.Input, "choose empty, a level, a number or unknown", "there is no reading %.40q", in.Method)
	}
	return r.notBelowZero()
}

func (r *refillData) level(in Residual, fullKg float64, known bool) error {
	if r.ResidualKg = in.Kg; in.Kg == nil {
		switch {
		case in.Share == nil || *in.Share < 0 || *in.Share > heapedShare:
			return refuse(KeyResidual, fault.Input, "choose a level", "the level is missing or beyond a full hopper")
		case !known:
			return refuse(KeyNoHopper, fault.Input, "make a density test, or enter a number", "hopper volume or bulk density is not known")
		}
		kg := grams(*in.Share * fullKg)
		r.ResidualKg = &kg
	}
	if known {
		sd := grams(levelSdShare * fullKg)
		r.ResidualSdKg = &sd
	}
	return r.notBelowZero()
}

func (r *refillData) notBelowZero() error {
	if orZero(r.ResidualKg) < 0 {
		return refuse(KeyNegative, fault.Input, "enter what is left", "the residual is below zero: %g kg", *r.ResidualKg)
	}
	return nil
}

// told notes a refill that the loader's tablet books: the event is no reading,
// because its time beside that refill's is not sure and a residual on its
// wrong side would empty the hopper in the books.
func (r *refillData) told(kg float64) {
	r.ToldKg = &kg
	r.ToldResidualKg, r.ToldMethod = r.ResidualKg, r.ResidualMethod
	r.ResidualKg, r.ResidualSdKg, r.ResidualMethod = nil, nil, schemas.ResidualUnknown
}

func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}
