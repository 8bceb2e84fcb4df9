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
	// AskedKgHa is the job's rate of the product, whatever the machine was set to
	// on each of its covers; of no such job, the mean set rate; 0: not known.
	AskedKgHa float64 `json:"asked_kg_ha"`
}

// Divided is what was spread, divided by job. It keeps no fix and no segment, so that it can be held for long.
type Divided struct {
	Applications []Application // sorted by field, job, product
	in           Input         // of each pass log only the first and the last fix
	reg          *registers
	links        *links
	loads        []WorkLoad // by time, each with a job that took of it
	carries      []carry
	drivenKm     map[schemas.JobID]float64
	sources      map[schemas.JobID][]schemas.EventID // what its fillings come from
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
	d := Divided{in: in, reg: &reg, links: reg.divideByJob(in)}
	told, err := tellAll(in, &reg, found, func([]Pass) bool { return true })
	if err != nil {
		return d, err
	}
	machines := machinesByGround(told)
	err = eachGround(&reg, told, found, func(f Field, g ground, pieces [][]track.Segment) {
		a := Application{Field: f, Job: schemas.JobID(g.part), Machines: machines[g], AskedKgHa: f.SetRateKgHa}
		if j, ok := reg.jobs[a.Job]; ok && j.Data.Product == f.Product && j.Data.SetRateKgHa > 0 {
			a.AskedKgHa = j.Data.SetRateKgHa
		}
		a.when(pieces)
		d.Applications = append(d.Applications, a)
	})
	d.gather(told)
	d.in.Passes = Ends(in.Passes)
	d.links.in = d.in
	return d, err
}

// Ends are the pass logs with the first and the last fix alone: when they began and ended, and whose they are.
func Ends(passes []Pass) []Pass {
	out := slices.Clone(passes)
	for i, p := range out {
		if n := len(p.Fixes); n > 2 {
			out[i].Fixes = []schemas.Fix{p.Fixes[0], p.Fixes[n-1]}
		}
	}
	return out
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

// machinesByGround gives, per field, part and product, the machines that worked
// there, in order. O(segments).
func machinesByGround(told []*machine) map[ground][]schemas.MachineID {
	out := map[ground][]schemas.MachineID{}
	for _, m := range told {
		for _, p := range m.periods {
			for _, s := range p.segments {
				g := m.groundOf(s, p.product)
				if n := len(out[g]); s.Field != "" && (n == 0 || out[g][n-1] != m.id) {
					out[g] = append(out[g], m.id)
				}
			}
		}
	}
	return out
}
