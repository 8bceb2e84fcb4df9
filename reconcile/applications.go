package reconcile

import (
	"slices"
	"time"

	"hopperbook/reconcile/track"
	"hopperbook/schemas"
)

// Application is what one job put of one product on one field. Its Field is measured of that work alone: ground that
// two applications cover is covered in both.
type Application struct {
	Field
	Job      schemas.JobID       `json:"job"` // "": of no job the book knows
	Machines []schemas.MachineID `json:"machines"`
	From     time.Time           `json:"from"` // of the first metre spread
	To       time.Time           `json:"to"`   // of the last
}

// Divided is what was spread, divided by job.
type Divided struct {
	Applications []Application // sorted by field, job, product
	in           Input
	told         []*machine
	reg          *registers
	links        *links
}

// Divide divides what was spread on fields by job.
// A metre belongs to the job its pass log names, where that job has the field;
// else to the job the machine had started, where that has it; else to the one
// registered job of the product that has it; else to the job picked or started;
// else to none. A load over several applications is
// split by nominal mass, as over fields; their masses are those of Run, divided.
// Cost: that of Run's fields.
func Divide(in Input) (Divided, error) {
	found := &findings{}
	reg := readRegisters(in, found)
	d := Divided{in: in, reg: &reg, links: newLinks(in, &reg)}
	reg.parts = func(id schemas.MachineID) func(track.Segment, schemas.ProductID) string {
		jobs := d.links.of(id)
		return func(s track.Segment, product schemas.ProductID) string {
			return string(jobs.at(s.FromMilli, s.Field, product))
		}
	}
	var err error
	if d.told, err = tellAll(in, &reg, found, func([]Pass) bool { return true }); err != nil {
		return d, err
	}
	err = eachGround(&reg, d.told, found, func(f Field, g ground, pieces [][]track.Segment) {
		a := Application{Field: f, Job: schemas.JobID(g.part)}
		a.when(pieces)
		for _, m := range d.told {
			if m.workedOn(g) {
				a.Machines = append(a.Machines, m.id)
			}
		}
		d.Applications = append(d.Applications, a)
	})
	return d, err
}

// when takes the time from the pieces, which are in order within a machine.
func (a *Application) when(machines [][]track.Segment) {
	var from, to int64
	for i, pieces := range machines {
		first, last := pieces[0].FromMilli, pieces[len(pieces)-1].ToMilli
		if i == 0 {
			from, to = first, last
		}
		from, to = min(from, first), max(to, last)
	}
	if len(machines) > 0 {
		a.From, a.To = time.UnixMilli(from).UTC(), time.UnixMilli(to).UTC()
	}
}

func (m *machine) workedOn(g ground) bool {
	for i := range m.periods {
		p := &m.periods[i]
		if p.product == g.product && slices.ContainsFunc(p.segments, func(s track.Segment) bool {
			return s.Field == g.field && m.partOf(s, p.product) == g.part
		}) {
			return true
		}
	}
	return false
}
