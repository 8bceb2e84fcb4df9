package reports

import (
	"fmt"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

// Why says what a figure sums: by application, in kg. The events of an
// application are added by who has the book. False where no figure has the ID.
// Cost: O(figures).
func Why(a SeasonAnswer, r nutrient.Result, id string) (WhyAnswer, bool) {
	w := WhyAnswer{Schema: SchemaWhy, ID: id, Parts: []WhyPart{}, Fields: []schemas.FieldID{}, Events: []WhyEvent{}}
	own := map[string]SeasonSum{}
	for _, s := range r.Sums {
		if s.Scope == nutrient.ScopeApplication {
			own[applicationID(s.Subject)] = seasonSum(s)
		}
	}
	for _, list := range [][]SeasonSum{a.Sums, a.Balance} {
		for _, s := range list {
			if s.ID == id {
				w.Text, w.Value, w.Unit = fmt.Sprintf("product spread on %s %s in %s", s.Scope, s.Subject, s.Season.Name), s.MassKg, "kg"
				return w.of(own, s.Applications, massOf), true
			}
			for _, n := range s.Amounts {
				if n.ID == id {
					w.Text, w.Value, w.Unit = fmt.Sprintf("%s on %s %s in %s: %s", n.Form, s.Scope, s.Subject, s.Season.Name, amountWords(n.Amount)), n.Kg, "kg of "+string(n.Form)
					return w.of(own, s.Applications, func(s SeasonSum) float64 { return s.of(n.Form).Kg }), true
				}
			}
		}
	}
	return w.judged(a, own, id)
}

func massOf(s SeasonSum) float64 { return s.MassKg }
func nothing(SeasonSum) float64  { return 0 }

// of adds applications, each with what it brought.
func (w WhyAnswer) of(own map[string]SeasonSum, names []string, value func(SeasonSum) float64) WhyAnswer {
	for _, n := range names {
		w.Parts = append(w.Parts, WhyPart{n, value(own[n])})
	}
	return w
}

// judged looks among what is said of the figures.
func (w WhyAnswer) judged(a SeasonAnswer, own map[string]SeasonSum, id string) (WhyAnswer, bool) {
	for _, v := range a.Verdicts {
		if v.ID == id {
			w.Text, w.Unit = v.Rule+", "+v.Section+": "+VerdictWords(v.State)+": "+v.Text, "kg of "+string(v.Nutrient)
			w.Fields = append(w.Fields, v.Fields...)
			w = w.of(own, v.Applications, func(s SeasonSum) float64 { return amountInKg(s, v.Nutrient) })
			for _, p := range w.Parts {
				w.Value += p.Value
			}
			if len(w.Parts) == 0 {
				w = w.uncounted(v)
			}
			return w, true
		}
	}
	for _, p := range a.Planned {
		if p.ID == id {
			w.Text, w.Value, w.Unit = fmt.Sprintf("job %s on field %s: planned %s kg, given %s kg of %s", p.Job, p.Field, number(p.PlannedKg, 0), number(p.GivenKg, 0), p.Product), p.GivenKg-p.OthersKg, "kg"
			if p.OthersKg > 0 {
				w.Text += fmt.Sprintf("; of it %s kg while the field was another customer's: their records show it", number(p.OthersKg, 0))
				w.Fields = append(w.Fields, p.Field)
			}
			return w.of(own, p.Applications, massOf), true
		}
	}
	for _, c := range a.Checks {
		if c.ID == id {
			w.Text = c.Rule + ", " + c.Section + ": " + checkWords(c.State) + ": " + c.Text
			return w.of(own, []string{c.Application}, nothing), true
		}
	}
	for _, u := range a.Analyses {
		if u.ID == id {
			w.Text = fmt.Sprintf("analysis of %s: %s", u.Product, analysisWords(u.Analysis))
			return w.of(own, u.Applications, nothing), true
		}
	}
	for _, m := range a.Missing {
		if m.ID == id {
			w.Text = m.Rule + ", " + m.Section + ": " + m.Text + " is missing: " + m.How
			return w.of(own, m.Applications, nothing), true
		}
	}
	return w.application(own, id)
}

// uncounted is what a verdict rests on that counts no application: the
// application it is about, or the registers of its fields.
func (w WhyAnswer) uncounted(v SeasonVerdict) WhyAnswer {
	if v.Scope == nutrient.ScopeApplication {
		w.Parts = append(w.Parts, WhyPart{applicationID(v.Subject), 0})
		return w
	}
	w.Text += "; no application counts: it rests on how the land is registered"
	return w
}

// application also finds those of other seasons, which a balance sums, and an
// application's own amounts.
func (w WhyAnswer) application(own map[string]SeasonSum, id string) (WhyAnswer, bool) {
	if s, ok := own[id]; ok {
		w.Text, w.Value, w.Unit = fmt.Sprintf("%s kg of %s on %s ha, %s: the events below", number(s.MassKg, 1), s.Product, number(s.AreaM2/1e4, 3), s.Season.Name), s.MassKg, "kg"
		return w, true
	}
	for name, s := range own {
		for _, n := range s.Amounts {
			if n.ID == id {
				w.Text, w.Value, w.Unit, w.Parts = fmt.Sprintf("%s of %s: %s", n.Form, name, amountWords(n.Amount)), n.Kg, "kg of "+string(n.Form), []WhyPart{{name, n.Kg}}
				return w, true
			}
		}
	}
	return w, false
}

// amountInKg is a form's amount, whatever form of the nutrient a sum shows.
func amountInKg(s SeasonSum, f nutrient.Form) float64 {
	for _, n := range s.Amounts {
		if k, err := nutrient.Factor(n.Form, f); err == nil {
			return n.Kg * k
		}
	}
	return 0
}

func amountWords(a nutrient.Amount) string {
	text := fmt.Sprintf("%s kg (95 %%: %s to %s), %s kg/ha", number(a.Kg, 1), number(a.LowKg, 1), number(a.HighKg, 1), number(a.KgHa, 1))
	if !a.Known {
		text = "at least " + text + "; not known of " + number(a.UnknownKg, 0) + " kg of product"
	}
	return text
}

// VerdictWords is a verdict's state as documents show it.
func VerdictWords(state string) string {
	switch state {
	case nutrient.Under:
		return "kept"
	case nutrient.Over:
		return "EXCEEDED"
	case nutrient.NotShown:
		return "CANNOT BE SHOWN TO BE UNDER"
	case nutrient.NotJudged:
		return "NOT JUDGED"
	}
	return "does not apply"
}

func checkWords(state string) string {
	switch state {
	case nutrient.Kept:
		return "kept"
	case nutrient.Broken:
		return "BROKEN"
	case nutrient.NotNoted:
		return "NOT NOTED"
	case nutrient.ToJudge:
		return "TO BE JUDGED"
	}
	return "does not apply"
}
