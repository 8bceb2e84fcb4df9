package season

import (
	"fmt"
	"math/rand/v2"
	"time"

	"hopperbook/schemas"
)

// office plays the contractor's office.
type office struct {
	plan  *plan
	rng   *rand.Rand
	rec   *recorder
	now   time.Time
	truth *Truth
	stock []StockTruth // by product
	used  [][]float64  // kg by product, then day
	tally int          // dockets so far
}

func newOffice(p *plan, truth *Truth) *office {
	o := &office{
		plan: p, truth: truth, now: p.cfg.Start,
		rng: rand.New(rand.NewPCG(p.cfg.Seed, 0x0ff1ce)),
		rec: newRecorder(p.cfg.Seed, "/office/main"),
	}
	o.used = make([][]float64, len(p.products))
	for i, prod := range p.products {
		o.used[i] = make([]float64, p.cfg.Days)
		o.stock = append(o.stock, StockTruth{Stockpile: prod.stockpile(), Product: prod.id})
	}
	for _, l := range truth.Loads {
		day := min(p.cfg.Days-1, int(l.Time.Sub(p.cfg.Start)/(24*time.Hour)))
		for i := range o.stock {
			if o.stock[i].Product == l.Product {
				o.used[i][day] += l.MassKg
				o.stock[i].LoadedKg += l.MassKg
			}
		}
	}
	return o
}

func (o *office) note(t schemas.EventType, data any) {
	o.rec.add(t, o.now, data)
	o.now = o.now.Add(time.Second)
}

func (o *office) play(faults []Fault) {
	o.registers()
	o.now = o.plan.cfg.Start.Add(5 * time.Hour)
	for i := range o.stock {
		if s := &o.stock[i]; s.LoadedKg > 0 {
			s.OpeningKg = 15000 + 30000*o.rng.Float64()
			s.ClosingKg = s.OpeningKg
			o.survey(s)
		}
	}
	for day := range o.plan.cfg.Days {
		o.now = o.plan.cfg.Start.Add(time.Duration(day)*24*time.Hour + 6*time.Hour)
		for i := range o.stock {
			o.deliver(&o.stock[i], o.used[i][day], faults)
		}
	}
	o.now = o.plan.cfg.Start.Add(time.Duration(o.plan.cfg.Days)*24*time.Hour + 5*time.Hour)
	for i := range o.stock {
		if o.stock[i].LoadedKg > 0 {
			o.survey(&o.stock[i])
			o.truth.Stock = append(o.truth.Stock, o.stock[i])
		}
	}
}

// survey measures a stockpile.
func (o *office) survey(s *StockTruth) {
	sd := round(max(200, o.plan.cfg.Noise.SurveySdShare*s.ClosingKg), 1)
	o.note(schemas.TypeStockSurveyed, schemas.StockSurveyed{
		Stockpile: s.Stockpile, Product: s.Product, SdKg: sd,
		MassKg: round(max(0, s.ClosingKg+sd*o.rng.NormFloat64()), 1),
	})
}

// deliver tips trucks until the pile lasts the day, then takes the day's use.
func (o *office) deliver(s *StockTruth, useKg float64, faults []Fault) {
	const reserveKg = 12000
	for useKg > 0 && s.ClosingKg < useKg+reserveKg {
		netKg := 26000 + 1500*o.rng.NormFloat64()
		s.ClosingKg += netKg
		s.DeliveredKg += netKg
		o.docket(s, netKg, faults)
	}
	s.ClosingKg -= useKg
}

func (o *office) docket(s *StockTruth, netKg float64, faults []Fault) {
	o.tally++
	sd := o.plan.cfg.Noise.WeighbridgeSdKg
	net := round(netKg+sd*o.rng.NormFloat64(), 1)
	tare := 12000 + 20*float64(o.rng.IntN(100))
	gross := net + tare
	id := schemas.DocketID(fmt.Sprintf("d-%04d", o.tally))
	o.now = o.now.Add(3 * time.Minute)
	for i, f := range faults {
		if f.Kind == MissingDocket && f.From == o.tally {
			o.truth.Faults[i] = FaultTruth{Fault: f, At: o.now, Docket: id, NetKg: net}
			return
		}
	}
	o.note(schemas.TypeDocketReceived, schemas.DocketReceived{
		Docket: id, Product: s.Product, Stockpile: s.Stockpile, NetKg: net, GrossKg: &gross, TareKg: &tare,
		Supplier: "Pebble & Ash Supplies (invented)", SdKg: &sd,
	})
}

// registers says who, where, what and what is ordered.
func (o *office) registers() {
	p := o.plan
	for _, c := range customers() {
		o.note(schemas.TypeRegisterCustomer, schemas.RegisterCustomer{Customer: c.id, Name: c.name, Address: "All names and places here are invented", Country: country})
	}
	for _, prod := range p.products {
		o.note(schemas.TypeRegisterProduct, schemas.RegisterProduct{
			Product: prod.id, Name: prod.name, Form: prod.form, BulkDensityKgM3: &prod.densityKgM3, Analysis: &prod.analysis,
		})
	}
	for _, s := range p.spreaders {
		o.note(schemas.TypeRegisterMachine, schemas.RegisterMachine{Machine: s.id, Name: s.name, HopperM3: s.hopperM3, TimeZone: timeZone, Kind: "spreader"})
	}
	for i := range p.cfg.Loaders {
		o.note(schemas.TypeRegisterMachine, schemas.RegisterMachine{
			Machine: loaderID(i), Name: fmt.Sprintf("Loader %d", i+1), TimeZone: timeZone, Kind: "loader", Sensors: []string{"bucket scale"},
		})
	}
	e := earthAt(originLatDeg, originLonDeg)
	for i, f := range p.fields {
		brook, to := f.brook(i, e)
		o.note(schemas.TypeRegisterField, schemas.RegisterField{
			Exclusion: brook, ExclusionTo: to,
			Field: f.id, Customer: customers()[f.customer].id, Name: f.name, Boundary: f.boundary(e), Crop: f.crop, Soil: f.soil,
			Holding: schemas.HoldingID(customers()[f.customer].id), LandUse: f.landUse(), Zones: []string{},
		})
	}
	for _, jobs := range p.jobs {
		for _, j := range jobs {
			o.registerJob(j)
		}
	}
	o.terms()
}

func (o *office) registerJob(j *job) {
	var fields []schemas.FieldID
	for _, t := range j.fields {
		fields = append(fields, t.id)
	}
	prod := o.plan.products[j.product]
	o.note(schemas.TypeRegisterJob, schemas.RegisterJob{
		Job: j.id, Customer: customers()[j.fields[0].customer].id, Fields: fields, Product: prod.id, SetRateKgHa: prod.rateKgHa,
	})
}
