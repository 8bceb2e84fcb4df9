package desk

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reconcile/nutrient"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// SeasonParams says whose season is asked for, and held against what.
type SeasonParams struct {
	Customer schemas.CustomerID `json:"customer"`
	Season   string             `json:"season"`              // "2026", or "2025/26" from Starts on
	From     string             `json:"from,omitempty"`      // first local day, instead of a season
	To       string             `json:"to,omitempty"`        // local day after the last one
	Starts   string             `json:"starts,omitempty"`    // MM-DD of a season over two years; "": DefaultStarts
	Zone     string             `json:"time_zone,omitempty"` // "": the contractor's, else that of the machines, else UTC
	Rules    []string           `json:"rules,omitempty"`     // IDs of shipped rule files
	Files    []RuleFile         `json:"rule_files,omitempty"`
	AsOf     []string           `json:"as_of,omitempty"` // from no other events than these marks hold
}

// RuleFile is a user's rule file.
type RuleFile struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// DefaultStarts is the first day of a season over two years: common practice
// of the southern half, no source.
const DefaultStarts = "07-01"

// WhyParams asks where a figure of a season comes from.
type WhyParams struct {
	SeasonParams
	ID string `json:"id"`
}

// period reads the season's name.
func (p SeasonParams) period() (nutrient.Period, error) {
	if dated := p.From != "" || p.To != ""; dated == (p.Season != "") || dated && p.Starts != "" {
		return nutrient.Period{}, fault.Newf("read the season", fault.Usage, "a season or dates are needed, and not both", "name --season 2026, or --from 2026-03-01 --to 2026-04-01 (the day after the last one)")
	} else if dated {
		return nutrient.Period{}, nil
	}
	wrong := fault.Newf("read the season", fault.Usage, fmt.Sprintf("%q is no season", p.Season), "write it like 2026, or 2025/26 with --starts MM-DD where it does not begin on 1 July")
	if first, last, over := strings.Cut(p.Season, "/"); over {
		a, err := time.Parse("2006", first)
		starts, bad := time.Parse("2006-01-02", "2001-"+cmp.Or(p.Starts, DefaultStarts))
		switch {
		case bad != nil:
			return nutrient.Period{}, fault.Newf("read the season", fault.Usage, p.Starts+" is no day of every year", "write --starts like 07-01")
		case err != nil || fmt.Sprintf("%02d", (a.Year()+1)%100) != last || starts.YearDay() == 1:
			return nutrient.Period{}, wrong
		}
		return nutrient.Period{Kind: nutrient.FromDate, Month: int(starts.Month()), Day: starts.Day()}, nil
	}
	if _, err := time.Parse("2006", p.Season); err != nil {
		return nutrient.Period{}, wrong
	}
	if p.Starts != "" {
		return nutrient.Period{}, fault.Newf("read the season", fault.Usage, "season "+p.Season+" is a calendar year and begins on 1 January", "leave --starts out, or name a season over two years, like 2025/26")
	}
	return nutrient.Period{Kind: nutrient.CalendarYear}, nil
}

// rulesOf reads the rule files asked for, each once.
func rulesOf(names []string, files []RuleFile) ([]nutrient.Rules, error) {
	all, err := nutrient.Named(names...)
	if err != nil {
		return nil, err
	}
	for _, f := range files {
		r, err := nutrient.Read(f.Name, []byte(f.Text))
		if err != nil {
			return nil, err
		}
		all = append(all, r)
	}
	for i, r := range all {
		if slices.ContainsFunc(all[:i], func(o nutrient.Rules) bool { return o.ID == r.ID }) {
			return nil, fault.Newf("read the rules", fault.Usage, "rule file "+r.ID+" is named twice", "name each once, and give a file of your own an id of its own")
		}
	}
	return all, nil
}

// seasonWork is everything a season's answer is made of, of one state of the
// book.
type seasonWork struct {
	head   int64
	asked  string
	ledger *ledger
	season reconcile.Season
	result nutrient.Result
	answer reports.SeasonAnswer
}

// seasonWork keeps the last one: figures of one season are followed one after
// the other.
func (d *Desk) seasonWork(ctx context.Context, p SeasonParams) (*seasonWork, error) {
	asked, err := json.Marshal(p)
	if err != nil {
		return nil, fault.New("answer season", fault.Internal, err, "")
	}
	head, err := d.book.Head(ctx)
	if err != nil {
		return nil, err
	}
	d.seasons.Lock()
	defer d.seasons.Unlock()
	if k := d.lastSeason; k != nil && k.head == head && k.asked == string(asked) {
		return k, nil
	}
	d.lastSeason = nil
	w, err := d.makeSeason(ctx, p)
	if err != nil {
		return nil, err
	}
	w.head, w.asked = head, string(asked)
	d.lastSeason = w
	return w, nil
}

func (d *Desk) makeSeason(ctx context.Context, p SeasonParams) (*seasonWork, error) {
	period, err := p.period()
	if err != nil {
		return nil, err
	}
	rules, err := rulesOf(p.Rules, p.Files)
	if err != nil {
		return nil, err
	}
	l, err := d.seasonLedger(ctx, p.AsOf)
	if err != nil {
		return nil, err
	}
	if _, known := l.customers[p.Customer]; !known && !slices.ContainsFunc(l.in.Fields, func(f reconcile.At[schemas.RegisterField]) bool { return f.Data.Customer == p.Customer }) {
		return nil, fault.Newf("find customer "+string(p.Customer), fault.NotFound, "it is not registered and no field is its", "name one with --customer")
	}
	zone, err := l.zone(p.Zone)
	if err != nil {
		return nil, err
	}
	ask, name := reconcile.NutrientAsk{Location: zone, Season: period, Customer: p.Customer, Rules: rules}, p.Season
	if p.Season == "" {
		if ask.Dates, err = nutrient.Dates(p.From, p.To, zone); err != nil {
			return nil, err
		}
		name = ask.Dates.Name
	}
	w := &seasonWork{ledger: l}
	if w.season, err = reconcile.Seasonal(l.in, ask); err != nil {
		return nil, err
	}
	if w.result, err = nutrient.Run(w.season.Input); err != nil {
		return nil, err
	}
	frame := reports.SeasonFrame{Customer: p.Customer, CustomerName: l.customers[p.Customer].Name, Location: zone, Products: map[schemas.ProductID]string{}, Boundaries: map[schemas.FieldID]schemas.Boundary{}}
	if l.contractor != nil {
		frame.Contractor = l.contractor.Name
	}
	for _, e := range l.in.Products {
		frame.Products[e.Data.Product] = e.Data.Name
	}
	for _, e := range l.in.Fields {
		frame.Boundaries[e.Data.Field] = e.Data.Boundary
	}
	var any bool
	if w.answer, any = reports.NewSeasonAnswer(w.season, w.result, name, frame); !any {
		return nil, fault.Newf("season "+name, fault.NotFound, "the book has no application of "+string(p.Customer)+" in it", "it has some in: "+cmp.Or(strings.Join(daysOrSeasons(w), ", "), "none"))
	}
	w.addFound()
	return w, w.prove(ctx, d)
}

// addFound tells what the reconciliation found that bears on the season.
func (w *seasonWork) addFound() {
	w.answer.Findings = slices.Clone(w.answer.Findings)
	for _, f := range w.season.FoundIn(w.answer.Season) {
		text := f.Text
		if f.Machine != "" {
			text = string(f.Machine) + ": " + text
		}
		w.answer.Findings = append(w.answer.Findings, nutrient.Finding{Kind: f.Kind, Field: f.Field, Event: f.Event, Text: text})
	}
	nutrient.SortFindings(w.answer.Findings)
}

// prove adds the evidence: every event of every application shown, and the
// registers of all land that a limit counts.
func (w *seasonWork) prove(ctx context.Context, d *Desk) error {
	uses := map[schemas.EventID]bool{}
	for i, a := range w.season.Input.Applications {
		if !slices.ContainsFunc(w.answer.Applications, func(s reports.SeasonApplication) bool { return s.ID == "application/"+a.ID }) {
			continue
		}
		for _, id := range w.season.Origins[i].Uses {
			uses[id] = true
		}
	}
	land := map[schemas.FieldID]bool{}
	for _, v := range w.answer.Verdicts {
		for _, id := range v.Fields {
			land[id] = true
		}
	}
	for _, e := range w.ledger.in.Fields {
		if land[e.Data.Field] {
			uses[e.ID] = true
		}
	}
	e := w.ledger.evidenceOf(uses)
	w.answer.Evidence = reports.Evidence{Digest: e.digest, Kinds: map[string]int64{}}
	for _, k := range e.kinds {
		w.answer.Evidence.Kinds[k.Kind] = k.Count
		w.answer.Evidence.Events += k.Count
	}
	for id := range uses {
		for _, line := range w.ledger.lines[id] {
			if line.at.After(w.answer.AsOf) {
				w.answer.AsOf = line.at
			}
		}
	}
	w.answer.Marks = w.ledger.marks
	gaps, err := d.gapsAt(ctx, w.ledger.marks)
	for _, g := range gaps {
		w.answer.Gaps = append(w.answer.Gaps, reports.Gap{Source: g.Source, From: g.From, To: g.To})
	}
	return err
}

// zone is whose days a season's records are in.
func (l *ledger) zone(asked string) (*time.Location, error) {
	name := asked
	if name == "" && l.contractor != nil {
		name = l.contractor.TimeZone
	}
	if name == "" {
		zones := map[string]bool{}
		for _, m := range l.in.Machines {
			if z := m.Data.TimeZone; z != "" {
				zones[z], name = true, z
			}
		}
		if len(zones) > 1 {
			return nil, fault.Newf("choose a time zone", fault.Usage, "the machines are of several time zones", "name one with --zone, or register the contractor with one")
		}
	}
	zone, err := time.LoadLocation(cmp.Or(name, "UTC"))
	if err != nil {
		return nil, fault.New("read time zone "+name, fault.Usage, err, "use an IANA name, like Europe/Vienna")
	}
	return zone, nil
}

// daysOrSeasons is when the book has applications: seasons, or the calendar
// years where dates were asked for.
func daysOrSeasons(w *seasonWork) (names []string) {
	for _, s := range w.result.Sums {
		names = append(names, s.Season.Name)
	}
	if in := w.season.Input; in.Dates != (nutrient.Span{}) {
		names = nil
		for i := range in.Applications {
			if a := &in.Applications[i]; in.Own(a) {
				names = append(names, a.From.In(in.Location).Format("2006"))
			}
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

func (d *Desk) seasonRecords(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[SeasonParams]("season", params)
	if err != nil {
		return err
	}
	work, err := d.seasonWork(ctx, p)
	if err != nil {
		return err
	}
	return write(w, work.answer)
}

func (d *Desk) why(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[WhyParams]("why", params)
	if err != nil {
		return err
	}
	work, err := d.seasonWork(ctx, p.SeasonParams)
	if err != nil {
		return err
	}
	a, ok := reports.Why(work.answer, work.result, p.ID)
	if !ok {
		return fault.Newf("find "+p.ID, fault.NotFound, "no figure of these records has this ID", "records.json has the ID beside each figure; name the same customer, season and rules")
	}
	uses := map[schemas.EventID]bool{}
	if name, is := strings.CutPrefix(p.ID, "application/"); is {
		i := slices.IndexFunc(work.season.Origins, func(o reconcile.Origin) bool { return o.Application == name })
		for _, id := range work.season.Origins[i].Uses {
			uses[id] = true
		}
	}
	for _, e := range work.ledger.in.Fields {
		if slices.Contains(a.Fields, e.Data.Field) {
			uses[e.ID] = true
		}
	}
	a.Events = work.ledger.whyEvents(uses)
	return write(w, a)
}
