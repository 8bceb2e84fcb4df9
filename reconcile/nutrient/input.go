package nutrient

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
)

// Input is everything a season's nutrients are worked out from.
type Input struct {
	Location     *time.Location     // whose days, seasons and closed periods; nil: UTC
	Season       Period             // of the sums; zero: the calendar year
	Dates        Span               // the sums of these dates alone, instead of seasons; zero: seasons
	Customer     schemas.CustomerID // whose records; what was another's then counts in limits alone; "": everyone's
	Fields       []Field            // all of a holding's: they make its area; each registration that changed something
	Products     []Product
	Applications []Application
	Rules        []Rules
}

// Field is a field as a rule sees it, by one of its registrations.
type Field struct {
	ID           schemas.FieldID
	From         time.Time // when it was registered so; the first one holds before, too
	Name         string
	Customer     schemas.CustomerID
	Holding      schemas.HoldingID // "": the customer's fields are the holding
	AreaM2       float64           // that may be spread; 0: not known
	LandUse      string            // as register.field; "": not known
	Zones        []string          // legal areas it lies in; nil: not known, empty: in none
	Crop         string
	PreviousCrop string
	Soil         string
	SownAt       time.Time // zero: not known
	SlopeDeg     *float64
	Ground       string // tells boundaries with their exclusion areas apart; "": by their area alone
}

// holding is whose limit the field counts against; "" where nobody is named.
func (f Field) holding() string { return cmp.Or(string(f.Holding), string(f.Customer)) }

// stands is what a limit of a holding counts the field against: without one it
// stands for itself.
func (f Field) stands() string {
	if h := f.holding(); h != "" {
		return h
	}
	return "field " + string(f.ID)
}

// Redrawn tells whether two registrations of a field bound other ground.
func (f Field) Redrawn(o Field) bool { return f.AreaM2 != o.AreaM2 || f.Ground != o.Ground }

// Product is one version of a product's analysis: a register.product event.
type Product struct {
	Product  schemas.ProductID
	Form     string // granular, powder, seed
	At       time.Time
	Event    schemas.EventID // tells two versions of one instant apart
	Analysis *schemas.Analysis
}

// Term is one independent error in a mass: how many kg the mass moves for one
// standard deviation of the error. Masses that name the same Key share it.
type Term struct {
	Key string
	Kg  float64
}

// Application is one product of one batch on one field over one period of
// passes: a day, or a job.
type Application struct {
	ID       string // unique; what a figure is traced by
	Field    schemas.FieldID
	Product  schemas.ProductID
	Batch    schemas.DocketID // "": not known
	Machine  schemas.MachineID
	Job      schemas.JobID
	From, To time.Time
	MassKg   float64
	MassSdKg float64 // standard uncertainty that it shares with no other
	Shared   []Term  // errors it may share with others
	AreaM2   float64 // covered; 0: not known
	Open     bool    // part of the mass is of a balance interval not closed yet
	Planned  bool    // not spread yet: the customer's job has it, whosever the field is

	Operator          schemas.Operator
	CertificateHolder string
	Method            string                 // surface, incorporated, injected; "": not known
	Weather           *schemas.WeatherNoted  // noted nearest to it or during it, the worst; nil: none
	MoreWeather       []schemas.WeatherNoted // noted besides
	Buffers           []schemas.BufferKept   // as the crew noted them
	Measured          []Measured             // nearest exclusion area of each kind; none: no area is registered nearby
}

// weather is all that was noted, the worst first.
func (a *Application) weather() (all []*schemas.WeatherNoted) {
	if a.Weather != nil {
		all = append(all, a.Weather)
	}
	for i := range a.MoreWeather {
		all = append(all, &a.MoreWeather[i])
	}
	return all
}

// Measured is how far the edge of the swaths stayed from the nearest exclusion
// area of one kind.
type Measured struct {
	To        string  `json:"to,omitempty"` // as schemas.BufferKept.To, or other; "": not said
	DistanceM float64 `json:"distance_m"`   // 0: the swaths meet it
	ReceiverM float64 `json:"receiver_m"`   // how far off the receiver may be (95 %)
}

// compareApplications orders by field, product, time and ID.
func compareApplications(a, b Application) int {
	return cmp.Or(strings.Compare(string(a.Field), string(b.Field)), strings.Compare(string(a.Product), string(b.Product)),
		a.From.Compare(b.From), a.To.Compare(b.To), strings.Compare(a.ID, b.ID))
}

// version is an analysis and from when on it holds.
type version struct {
	Product
	from  time.Time
	dated bool // valid_from says so
}

func versionOf(p Product) version {
	v := version{Product: p, from: p.At}
	if p.Analysis != nil && p.Analysis.ValidFrom != "" {
		if at, err := time.Parse(time.RFC3339Nano, p.Analysis.ValidFrom); err == nil {
			v.from, v.dated = at.UTC(), true
		}
	}
	return v
}

// chosen is the version of an analysis in force for a product's batch at a
// time: one of the batch before one of every delivery, of these the last
// that holds from then or before. Where all are later, the first one that
// names no date of its own counts, since nothing says that it did not hold
// (later is true then).
func chosen(products []Product, id schemas.ProductID, batch schemas.DocketID, at time.Time) (v version, later, found bool) {
	var ofBatch, ofAll []version
	for _, p := range products {
		if p.Product != id || p.Analysis == nil {
			continue
		}
		switch p.Analysis.Batch {
		case "":
			ofAll = append(ofAll, versionOf(p))
		case batch:
			ofBatch = append(ofBatch, versionOf(p))
		}
	}
	for _, all := range [][]version{ofBatch, ofAll} {
		slices.SortFunc(all, func(a, b version) int {
			return cmp.Or(a.from.Compare(b.from), a.At.Compare(b.At), strings.Compare(string(a.Event), string(b.Event)))
		})
		for i := len(all) - 1; i >= 0; i-- {
			if !all[i].from.After(at) {
				return all[i], false, true
			}
		}
		for _, first := range all {
			if !first.dated {
				return first, true, true
			}
		}
	}
	return version{}, false, false
}

// formOf is the form of the product's last registration.
func formOf(products []Product, id schemas.ProductID) (form string) {
	var last Product
	for _, p := range products {
		if p.Product == id && (form == "" || p.At.After(last.At) || p.At.Equal(last.At) && p.Event > last.Event) {
			form, last = p.Form, p
		}
	}
	return form
}
