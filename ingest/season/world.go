package season

import (
	"fmt"
	"math"
	"math/rand/v2"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// product is what is spread and how.
type product struct {
	id          schemas.ProductID
	name, form  string
	densityKgM3 float64
	rateKgHa    float64
	speedKmh    float64
	gateMm      float64
	gear        string
	analysis    schemas.Analysis
}

func (p product) stockpile() schemas.StockpileID {
	return schemas.StockpileID("pile-" + string(p.id))
}

const invented = "invented for the demo"

const (
	lime = iota
	gypsum
	super
	urea
)

func products() []product {
	pct := func(v float64) *float64 { return &v }
	return []product{
		lime: {"lime-powder", "Lime powder", "powder", 1250, 2500, 12, 180, "high",
			schemas.Analysis{NPct: pct(0), PPct: pct(0), KPct: pct(0), SPct: pct(0), NeutralisingValuePct: pct(94), Fineness: pct(0.82), CaPct: pct(37.5), MoisturePct: pct(3), Kind: schemas.KindManufactured, Source: invented}},
		gypsum: {"gypsum", "Gypsum", "powder", 1080, 1000, 13, 140, "high",
			schemas.Analysis{NPct: pct(0), PPct: pct(0), KPct: pct(0), CaPct: pct(22), SPct: pct(17), MoisturePct: pct(6), NeutralisingValuePct: pct(0), Kind: schemas.KindManufactured, Source: invented}},
		super: {"super-9p", "Superphosphate, granular", "granular", 1100, 350, 16, 70, "low",
			schemas.Analysis{NPct: pct(0), PPct: pct(9), KPct: pct(0), SPct: pct(11), CaPct: pct(20), NeutralisingValuePct: pct(0), Kind: schemas.KindManufactured, Source: invented}},
		urea: {"urea-46n", "Urea, granular", "granular", 750, 180, 17, 55, "low",
			schemas.Analysis{NPct: pct(46), PPct: pct(0), KPct: pct(0), SPct: pct(0), CaPct: pct(0), MgPct: pct(0), NeutralisingValuePct: pct(0), Kind: schemas.KindManufactured, Source: invented}},
	}
}

// spreader is one spreading machine.
type spreader struct {
	id       schemas.MachineID
	name     string
	loader   int
	hopperM3 float64
	boutM    float64
	operator schemas.Operator
}

// customer is one of the invented farms.
type customer struct {
	id   schemas.CustomerID
	name string
}

func customers() []customer {
	return []customer{
		{"fernwick", "Fernwick Downs (invented)"},
		{"owlgate", "Owlgate Farm (invented)"},
		{"merriburn", "Merriburn Flats (invented)"},
		{"saltmarsh", "Saltmarsh Station (invented)"},
	}
}

// field is one field of the world.
type field struct {
	id       schemas.FieldID
	name     string
	soil     string
	customer int
	shape    area
	gate     pt // where the loader tips, just outside the boundary
	crop     string
}

// The world lies at sea.
const (
	originLatDeg = -46.2
	originLonDeg = 150.3
	timeZone     = "Etc/GMT-10"
	farmFields   = 4 // neighbouring fields of one customer
	gridM        = 1250.0
	widestM      = 30.0 // bout width every field can be driven with
)

// newField draws the i-th field of a seed; the same whatever else is drawn.
func newField(seed uint64, i int) (field, error) {
	rng := rand.New(rand.NewPCG(seed, 0xf1e1d<<32|uint64(i)))
	f := field{
		id:       schemas.FieldID(fmt.Sprintf("f%02d", i+1)),
		customer: i / farmFields % len(customers()),
		crop:     [...]string{"pasture", "barley", "kale", "pasture"}[rng.IntN(4)],
	}
	f.name = fmt.Sprintf("%s paddock %d", [...]string{"Gull", "Tussock", "Culvert", "Thistle", "Shed", "Lagoon", "Windmill"}[rng.IntN(7)], i+1)
	f.soil = [...]string{"silt loam", "clay loam", "stony loam"}[i%3]
	row, col := i/farmFields, i%farmFields
	centre := pt{
		(float64(col) - 1.5 + rng.Float64()*0.16) * gridM,
		(float64(row) - 1.5 + rng.Float64()*0.16) * gridM,
	}
	hectares := 8 + 30*math.Pow(rng.Float64(), 1.4)
	if i%farmFields == 2 {
		hectares = max(hectares, 18)
	}
	for range 5000 {
		if f.shape = draw(rng, centre, hectares*1e4, i%3 == 1, i%16 == 2); f.drivable() {
			corner := f.shape.outer[0]
			f.gate = corner.plus(corner.minus(centre).unit(), 14)
			return f, nil
		}
	}
	return f, fault.Newf("draw a field", fault.Internal, fmt.Sprintf("seed %d, field %d: no drivable shape found", seed, i+1), "choose another seed")
}

// draw makes an irregular outline around a centre; star-shaped, so that it
// can't cross itself.
func draw(rng *rand.Rand, centre pt, areaM2 float64, notch, hole bool) area {
	n := 6 + rng.IntN(9)
	sin, cos := math.Sincos(rng.Float64() * 2 * math.Pi)
	stretch := 0.7 + 0.6*rng.Float64()
	dent := -1
	if notch {
		dent = rng.IntN(n)
	}
	var r ring
	for k := range n {
		s, c := math.Sincos((float64(k) + 0.5*(rng.Float64()-0.5)) * 2 * math.Pi / float64(n))
		away := 1 + 0.36*(rng.Float64()-0.5)
		if k == dent {
			away *= 0.55
		}
		r = append(r, pt{c * away * stretch, s * away / stretch}.rotated(sin, cos))
	}
	scale := math.Sqrt(areaM2 / r.areaM2())
	for k := range r {
		r[k] = centre.plus(r[k], scale)
	}
	f := area{outer: r}
	if hole {
		for k := range 6 {
			s, c := math.Sincos((float64(k) + 0.5*rng.Float64()) * math.Pi / 3)
			f.hole = append(f.hole, centre.plus(pt{c * 34, s * 26}, 1+0.3*rng.Float64()))
		}
	}
	return f
}

// landUse goes by the crop.
func (f field) landUse() string {
	switch f.crop {
	case "pasture":
		return "pasture"
	case "kale":
		return "annual_forage"
	}
	return "arable"
}

// drivable fields have headlands at every bout width, and hold their hole well
// inside.
func (f field) drivable() bool {
	if !f.shape.outer.simple() {
		return false
	}
	for d := 3.0; d <= 1.2*widestM; d += 3 {
		if _, ok := f.shape.outer.inset(d); !ok {
			return false
		}
	}
	if f.shape.hole == nil {
		return true
	}
	grown, ok := f.shape.hole.inset(-widestM)
	core, okCore := f.shape.outer.inset(widestM)
	if !ok || !okCore || !f.shape.hole.simple() {
		return false
	}
	for _, p := range grown {
		if !core.contains(p) {
			return false
		}
	}
	return true
}

// boundary is the field's outline as its register event has it.
func (f field) boundary(e earth) schemas.Boundary {
	rings := [][]schemas.Position{closed(e, f.shape.outer, false)}
	if f.shape.hole != nil {
		rings = append(rings, closed(e, f.shape.hole, true))
	}
	return schemas.Boundary{rings}
}

// brook is a strip of 3 m along the south of every second field, 4 m outside
// it, so that it takes nothing from the field; nil: none.
func (f field) brook(i int, e earth) (*schemas.Boundary, []string) {
	if i%2 == 1 {
		return nil, nil
	}
	west, east, south := math.Inf(1), math.Inf(-1), math.Inf(1)
	for _, p := range f.shape.outer {
		west, east, south = min(west, p.x), max(east, p.x), min(south, p.y)
	}
	return &schemas.Boundary{{closed(e, ring{{west, south - 7}, {east, south - 7}, {east, south - 4}, {west, south - 4}}, false)}}, []string{"watercourse"}
}

// closed writes a ring as GeoJSON does: holes clockwise (RFC 7946, 3.1.6).
func closed(e earth, r ring, clockwise bool) []schemas.Position {
	out := make([]schemas.Position, 0, len(r)+1)
	for i := range len(r) + 1 {
		k := i % len(r)
		if clockwise {
			k = (len(r) - k) % len(r)
		}
		lat, lon := e.position(r[k])
		out = append(out, schemas.Position{lon, lat})
	}
	return out
}

func newSpreaders(cfg Config) []spreader {
	hopper, bout := [...]float64{9, 7, 5}, [...]float64{12, 18, 24}
	people := [...]schemas.Operator{"Ash", "Bramble", "Clover", "Dock", "Elder", "Furze"}
	var out []spreader
	for i := range cfg.Spreaders {
		id := fmt.Sprintf("spreader-%d", i+1)
		s := spreader{schemas.MachineID(id), fmt.Sprintf("Spreader %d", i+1), i % cfg.Loaders, hopper[i%3], bout[i%3], people[i%len(people)]}
		if cfg.BoutWidthM != 0 {
			s.boutM = cfg.BoutWidthM
		}
		out = append(out, s)
	}
	return out
}

func loaderID(i int) schemas.MachineID { return schemas.MachineID(fmt.Sprintf("loader-%d", i+1)) }
