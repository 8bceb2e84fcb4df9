package reconcile

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

// noteH is how far from an application a note may be made and still be of it:
// half a day (common practice, no source).
const noteH = 12

// notes is what crews wrote down around an application.
type notes struct {
	starts   []At[schemas.JobStarted]
	finishes []At[schemas.JobFinished]
	weather  []At[schemas.WeatherNoted]
	jobs     map[schemas.JobID]At[schemas.RegisterJob]
}

// write fills in who, how, how far from water, and in what weather, and names
// the events that say so: the last start before and the first end after of the
// machine on the field (or on no field that it names), the weather noted
// nearest, and whatever was noted in between. Of several notes the worst counts.
func (n notes) write(a *nutrient.Application) (uses []schemas.EventID) {
	var operators, holders, methods []string
	started := n.started(a)
	for i := range started {
		s := &started[i]
		operators = append(operators, string(s.Data.Operator))
		uses = append(uses, s.ID)
	}
	finished := n.finished(a)
	for i := range finished {
		d := &finished[i].Data
		if d.Operator != "" || len(started) == 0 {
			operators = append(operators, string(d.Operator))
		}
		holders, methods = append(holders, d.CertificateHolder), append(methods, d.Method)
		a.Buffers = append(a.Buffers, d.Buffers...)
		uses = append(uses, finished[i].ID)
	}
	slices.SortStableFunc(a.Buffers, func(x, y schemas.BufferKept) int {
		return cmp.Or(strings.Compare(x.To, y.To), cmp.Compare(x.DistanceM, y.DistanceM))
	})
	a.Operator, a.CertificateHolder, a.Method = schemas.Operator(eachOnce(operators)), eachOnce(holders), leastMethod(methods)
	for i, w := range n.weatherOf(a) {
		if i == 0 {
			a.Weather = &w.Data
		} else {
			a.MoreWeather = append(a.MoreWeather, w.Data)
		}
		uses = append(uses, w.ID)
	}
	return uses
}

// eachOnce joins names in their order, each once.
func eachOnce(names []string) string {
	var kept []string
	for _, n := range names {
		if n != "" && !slices.Contains(kept, n) {
			kept = append(kept, n)
		}
	}
	return strings.Join(kept, ", ")
}

// leastMethod is the one that puts least into the soil: what is allowed of
// injected product is not allowed of the part that stayed on the surface. Not
// noted stands before incorporated, since nobody knows.
func leastMethod(methods []string) string {
	order := []string{"surface", "", "incorporated", "injected"}
	if len(methods) == 0 {
		return ""
	}
	return slices.MinFunc(methods, func(x, y string) int { return cmp.Compare(slices.Index(order, x), slices.Index(order, y)) })
}

// started are the last start before an application and those during it; where
// none was made near it, the start that its job still goes on from.
func (n notes) started(a *nutrient.Application) (out []At[schemas.JobStarted]) {
	var own []At[schemas.JobStarted]
	for _, s := range n.starts {
		switch {
		case s.Machine != a.Machine || s.Data.Field != "" && s.Data.Field != a.Field:
		case s.Time.After(a.From):
			if s.Time.Before(a.To) && n.mayBeOf(a, s.Data.Job, s.Data.Field) {
				out = append(out, s)
			}
		case a.From.Sub(s.Time) <= noteH*time.Hour:
			out = []At[schemas.JobStarted]{s}
		case s.Data.Job == a.Job && a.Job != "":
			own = []At[schemas.JobStarted]{s}
		}
	}
	if near := len(out) > 0 && !out[0].Time.After(a.From); near || len(own) == 0 || n.endedBetween(a, own[0].Time, a.From) {
		return out
	}
	return append(own, out...)
}

func (n notes) endedBetween(a *nutrient.Application, from, to time.Time) bool {
	return slices.ContainsFunc(n.finishes, func(f At[schemas.JobFinished]) bool {
		return f.Machine == a.Machine && f.Data.Job == a.Job && f.Time.After(from) && !f.Time.After(to)
	})
}

// finished are the ends during an application and the end of its job after it,
// else the first end near it.
func (n notes) finished(a *nutrient.Application) (out []At[schemas.JobFinished]) {
	var own, near []At[schemas.JobFinished]
	for _, f := range n.finishes {
		switch {
		case f.Machine != a.Machine || f.Data.Field != "" && f.Data.Field != a.Field || !f.Time.After(a.From):
		case f.Time.Before(a.To):
			if n.mayBeOf(a, f.Data.Job, f.Data.Field) {
				out = append(out, f)
			}
		case a.Job != "" && f.Data.Job == a.Job && len(own) == 0 && (f.Time.Sub(a.To) <= noteH*time.Hour || !n.startedBetween(a, f.Time)):
			own = append(own, f)
		case f.Time.Sub(a.To) <= noteH*time.Hour && len(near) == 0:
			near = append(near, f)
		}
	}
	if len(own) > 0 {
		return append(out, own...)
	}
	return append(out, near...)
}

// startedBetween tells whether an application's job was begun again before a time.
func (n notes) startedBetween(a *nutrient.Application, to time.Time) bool {
	return slices.ContainsFunc(n.starts, func(s At[schemas.JobStarted]) bool {
		return s.Machine == a.Machine && s.Data.Job == a.Job && s.Time.After(a.To) && s.Time.Before(to)
	})
}

// mayBeOf tells whether a note made during an application is of it, and not of
// another job that the machine did meanwhile, there or on other fields.
func (n notes) mayBeOf(a *nutrient.Application, job schemas.JobID, field schemas.FieldID) bool {
	registered, known := n.jobs[job]
	here := known && slices.Contains(registered.Data.Fields, a.Field)
	switch {
	case job == a.Job || !known:
		return true
	case here:
		return a.Job == ""
	}
	return field == a.Field
}

// weatherOf is the weather noted nearest to the beginning of an application and
// all that was noted during it, the worst first.
func (n notes) weatherOf(a *nutrient.Application) (out []At[schemas.WeatherNoted]) {
	nearest, found := n.weatherAt(a.From, a.Machine)
	if found {
		out = append(out, nearest)
	}
	for _, w := range n.weather {
		if w.Time.After(a.From) && w.Time.Before(a.To) && (w.Machine == a.Machine || w.Machine == "") && w.Identity != nearest.Identity {
			out = append(out, w)
		}
	}
	slices.SortStableFunc(out, func(x, y At[schemas.WeatherNoted]) int {
		return cmp.Or(cmp.Compare(soilRank(y.Data.Soil), soilRank(x.Data.Soil)), cmp.Compare(y.Data.RainMm, x.Data.RainMm))
	})
	return out
}

// soilRank orders soil conditions by how little should be spread on them:
// common sense, no source. It only picks the note that is shown first: rules are
// held against all.
func soilRank(soil string) int {
	return slices.Index([]string{"dry", "moist", "wet", "snow_covered", "frozen", "waterlogged", "flooded"}, soil)
}

// weatherAt is what was noted nearest to a time, within noteH, on a machine or
// on none; "" takes that of every machine.
func (n notes) weatherAt(at time.Time, machine schemas.MachineID) (nearest At[schemas.WeatherNoted], found bool) {
	best := noteH*time.Hour + 1
	for _, w := range n.weather {
		if off := w.Time.Sub(at).Abs(); off < best && (machine == "" || w.Machine == machine || w.Machine == "") {
			nearest, best, found = w, off, true
		}
	}
	return nearest, found
}
