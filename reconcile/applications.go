package reconcile

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/track"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Application is what one job, on one day where days are told apart, put of one
// product on one field. Its Field is measured of that work alone: ground that
// two applications cover is covered in both.
type Application struct {
	Field
	Job      schemas.JobID       `json:"job"`           // "": of no job the book knows
	Day      string              `json:"day,omitempty"` // local date, YYYY-MM-DD; "" where days are not told apart
	Machines []schemas.MachineID `json:"machines"`
	From     time.Time           `json:"from"` // of the first metre spread
	To       time.Time           `json:"to"`   // of the last
}

// Grouping says what applications are told apart by, beside field, product and job.
type Grouping struct {
	Day bool // the local day of the machine, by its time zone; UTC where it names none
}

// partMark stands between job and day in a part; no identifier holds it.
const partMark = "/"

// Divided is what was spread, divided by job, and by day where asked.
type Divided struct {
	Applications []Application // sorted by field, job, day, product
	in           Input
	told         []*machine
	reg          *registers
	links        *links
}

// Divide divides what was spread on fields by job, and by day where asked.
// A metre belongs to the job its pass log names, where that job has the field;
// else to the job the machine had started, where that has it; else to the one
// registered job of the product that has it; else to the job picked or started;
// else to none. A load over several applications is
// split by nominal mass, as over fields; their masses are those of Run, divided.
// Cost: that of Run's fields.
func Divide(in Input, by Grouping) (Divided, error) {
	found := &findings{}
	reg := readRegisters(in, found)
	d := Divided{in: in, reg: &reg, links: newLinks(in, &reg)}
	zones, err := readZones(&reg, by)
	if err != nil {
		return d, err
	}
	reg.parts = func(id schemas.MachineID) func(track.Segment, schemas.ProductID) string {
		jobs, zone := d.links.of(id), zones[id]
		return func(s track.Segment, product schemas.ProductID) string {
			part := string(jobs.at(s.FromMilli, s.Field, product)) + partMark
			if zone != nil {
				part += time.UnixMilli(s.FromMilli).In(zone).Format(time.DateOnly)
			}
			return part
		}
	}
	if d.told, err = tellAll(in, &reg, found, func([]Pass) bool { return true }); err != nil {
		return d, err
	}
	err = eachGround(&reg, d.told, found, func(f Field, g ground, pieces [][]track.Segment) {
		job, day, _ := strings.Cut(g.part, partMark)
		a := Application{Field: f, Job: schemas.JobID(job), Day: day}
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

// readZones gives each machine's zone where days are told apart; UTC for one
// that names none.
func readZones(reg *registers, by Grouping) (map[schemas.MachineID]*time.Location, error) {
	zones := map[schemas.MachineID]*time.Location{}
	if !by.Day {
		return zones, nil
	}
	for _, id := range sortedKeys(reg.machines) {
		zone, err := time.LoadLocation(cmp.Or(reg.machines[id].Data.TimeZone, "UTC"))
		if err != nil {
			return nil, fault.New("read the time zone of "+string(id), fault.Input, err, "register the machine again with an IANA name, like Europe/Vienna")
		}
		zones[id] = zone
	}
	return zones, nil
}
