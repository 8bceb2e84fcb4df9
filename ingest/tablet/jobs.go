package tablet

import (
	"cmp"
	"math"
	"slices"
	"time"

	"hopperbook/schemas"
)

// jobHolds is how long the tablet's own word on a job outlasts the office's:
// its event may still be on the way when the copies were made.
const jobHolds = 12 * time.Hour

// nearAgainM is how far the machine moves before distances are taken again.
const nearAgainM = 10

// nearby is the list of jobs as it was last put in order.
type nearby struct {
	jobs           []JobView
	located        bool
	latDeg, lonDeg float64
}

func (b *book) job(id schemas.JobID) *schemas.CabJob {
	for i := range b.packet.Jobs {
		if b.packet.Jobs[i].Job == id && id != "" {
			return &b.packet.Jobs[i]
		}
	}
	return nil
}

// jobState is how a job stands by office and tablet.
func (b *book) jobState(j *schemas.CabJob) string {
	if own, ok := b.jobs[j.Job]; ok && own.at.Add(jobHolds).After(b.packet.At) {
		return own.state
	}
	return cmp.Or(j.State, "ordered")
}

// fieldAt is the field whose boundary holds a position, outside its holes; the
// smallest identifier where several do, "" where none does.
func (b *book) fieldAt(latDeg, lonDeg float64) schemas.FieldID {
	found := schemas.FieldID("")
	at := placeAt(latDeg, lonDeg)
	for i := range b.packet.Fields {
		f := &b.packet.Fields[i]
		if b.boxes[i].mayHold(latDeg, lonDeg) && (found == "" || f.Field < found) && at.awayM(f.Boundary) == 0 {
			found = f.Field
		}
	}
	return found
}

// jobViews lists jobs field by field, nearest first, finished ones last.
// Distances are taken anew when the machine has moved; mu is held.
func (c *Cab) jobViews() []JobView {
	located := c.fix.UnixMilli != 0
	fresh := c.near.jobs != nil && c.near.located == located &&
		(!located || distanceM(c.near.latDeg, c.near.lonDeg, c.fix.LatDeg, c.fix.LonDeg) < nearAgainM)
	if !fresh {
		c.near = nearby{c.listJobs(located), located, c.fix.LatDeg, c.fix.LonDeg}
	}
	return slices.Clone(c.near.jobs)
}

func (c *Cab) listJobs(located bool) []JobView {
	b := c.book
	away := map[schemas.FieldID]*float64{}
	views := []JobView{}
	at := placeAt(c.fix.LatDeg, c.fix.LonDeg)
	for i := range b.packet.Jobs {
		j := &b.packet.Jobs[i]
		for _, id := range j.Fields {
			v := JobView{Job: j.Job, Field: id, Customer: b.names[j.Customer], Product: j.Product, SetRate: j.SetRateKgHa, State: b.jobState(j)}
			if f := b.fields[id]; f != nil {
				v.FieldName, v.AreaHa = f.Name, areaM2(f.Boundary)/1e4
				if _, taken := away[id]; !taken && located {
					away[id] = finite(at.awayM(f.Boundary))
				}
				v.AwayM = away[id]
			}
			views = append(views, v)
		}
	}
	slices.SortStableFunc(views, func(x, y JobView) int {
		return cmp.Or(cmp.Compare(late(x), late(y)), cmp.Compare(orFar(x.AwayM), orFar(y.AwayM)), cmp.Compare(x.Job, y.Job), cmp.Compare(x.Field, y.Field))
	})
	return views
}

func late(v JobView) int {
	if v.State == "finished" {
		return 1
	}
	return 0
}

func orFar(m *float64) float64 {
	if m == nil {
		return math.Inf(1)
	}
	return *m
}

func finite(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	return &v
}
