package nutrient

import (
	"fmt"
	"time"

	"hopperbook/schemas/fault"
)

// Kinds of periods.
const (
	CalendarYear   = "calendar_year"
	FromDate       = "from"        // Months from Month and Day of every year on
	PerApplication = "application" // each application for itself
)

// Period says over what a limit or a sum counts. The zero value is the
// calendar year.
type Period struct {
	Kind   string `json:"kind"`
	Month  int    `json:"month,omitempty"`  // of FromDate: 1 to 12
	Day    int    `json:"day,omitempty"`    // of FromDate; 0: 1
	Months int    `json:"months,omitempty"` // of FromDate: 1 to 12; 0: 12
}

// Span is one period: half open.
type Span struct {
	Name string    `json:"name"`
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// Dates is the span of local days from the first one up to the day after the
// last one, named by its first and last day. fault.Usage: days that are none,
// or that hold none.
func Dates(first, after string, loc *time.Location) (Span, error) {
	from, err := time.ParseInLocation(time.DateOnly, first, loc)
	to, bad := time.ParseInLocation(time.DateOnly, after, loc)
	if err != nil || bad != nil || !from.Before(to) {
		return Span{}, fault.Newf("read the dates", fault.Usage, fmt.Sprintf("%q to %q are no days, or hold none", first, after), "write them like 2026-03-01; the second is the day after the last one")
	}
	return Span{first + " to " + to.AddDate(0, 0, -1).Format(time.DateOnly), from.UTC(), to.UTC()}, nil
}

// holds reports whether all of another span lies in this one.
func (s Span) holds(o Span) bool { return !o.From.Before(s.From) && !o.To.After(s.To) }

// seasonOf is what a sum counts an instant in; none outside the dates, where
// there are some.
func (b *book) seasonOf(at time.Time) (Span, bool) {
	if b.Dates == (Span{}) {
		return b.season.span(at, b.loc)
	}
	if at.Before(b.Dates.From) || !at.Before(b.Dates.To) {
		return Span{}, false
	}
	return b.Dates, true
}

// span is the period that an instant lies in; none where a season shorter than
// a year does not hold it, and for PerApplication.
func (p Period) span(at time.Time, loc *time.Location) (Span, bool) {
	at = at.In(loc)
	if p.Kind == PerApplication {
		return Span{}, false
	}
	month, day, months := max(p.Month, 1), max(p.Day, 1), p.Months
	if p.Kind != FromDate {
		month, day, months = 1, 1, 12
	}
	if months == 0 {
		months = 12
	}
	from := time.Date(at.Year(), time.Month(month), day, 0, 0, 0, 0, loc)
	if from.After(at) {
		from = time.Date(at.Year()-1, time.Month(month), day, 0, 0, 0, 0, loc)
	}
	to := time.Date(from.Year(), time.Month(month+months), day, 0, 0, 0, 0, loc)
	if !at.Before(to) {
		return Span{}, false
	}
	name := fmt.Sprint(from.Year())
	if last := to.AddDate(0, 0, -1); last.Year() != from.Year() {
		name = fmt.Sprintf("%d/%02d", from.Year(), last.Year()%100)
	}
	if months != 12 {
		name += " from " + from.Format("2 January")
	}
	return Span{name, from.UTC(), to.UTC()}, true
}

// monthDay is a day of the year, "MM-DD".
func monthDay(s string) (month, day int, ok bool) {
	at, err := time.Parse("2006-01-02", "2001-"+s) // no leap year: 29 February is no day of every year
	return int(at.Month()), at.Day(), err == nil && len(s) == 5
}

// touches reports whether [from, to) has a local day of the closed period from
// one day of the year to another, both included, over the end of a year where
// the first is the later one. An application without length is an instant.
func touches(from, to time.Time, first, last string, loc *time.Location) bool {
	fm, fd, _ := monthDay(first)
	lm, ld, _ := monthDay(last)
	from = from.In(loc)
	if !to.After(from) {
		to = from.Add(time.Nanosecond)
	}
	for year := from.Year() - 1; year <= from.Year()+1; year++ {
		begin := time.Date(year, time.Month(fm), fd, 0, 0, 0, 0, loc)
		end := time.Date(year, time.Month(lm), ld+1, 0, 0, 0, 0, loc)
		if !end.After(begin) {
			end = time.Date(year+1, time.Month(lm), ld+1, 0, 0, 0, 0, loc)
		}
		if from.Before(end) && begin.Before(to) {
			return true
		}
	}
	return false
}
