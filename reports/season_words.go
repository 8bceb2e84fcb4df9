package reports

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

// loud is what nobody may overlook, the worst first: limits exceeded, limits
// that cannot be shown to be kept, broken checks.
func (a SeasonAnswer) loud() (out []string) {
	for _, v := range slices.SortedStableFunc(slices.Values(a.Verdicts), worseFirst) {
		if v.State == nutrient.Over || v.State == nutrient.NotShown {
			out = append(out, fmt.Sprintf("%s: %s %s, %s, %s: %s", VerdictWords(v.State), v.Scope, v.Subject, v.Rule, v.Section, v.Text)+assumed(v.Verdict))
		}
	}
	for _, c := range a.Checks {
		if c.State == nutrient.Broken {
			out = append(out, fmt.Sprintf("%s: field %s, %s, %s: %s", checkWords(c.State), c.Field, c.Rule, c.Section, c.Text))
		}
	}
	if n := a.count(nutrient.NotJudged); n > 0 {
		out = append(out, fmt.Sprintf("NOT JUDGED: %d limits, because the dates do not hold all of their periods.", n))
	}
	if len(a.Gaps) > 0 {
		out = append(out, fmt.Sprintf("EVENTS ARE MISSING: %d gaps are known in the book; these records may lack applications.", len(a.Gaps)))
	}
	if n := len(a.Missing); n > 0 {
		out = append(out, fmt.Sprintf("RECORDS ARE MISSING: %d that the rules want are not in the book; they are listed with how to supply them.", n))
	}
	return out
}

func worseFirst(a, b SeasonVerdict) int {
	rank := func(v SeasonVerdict) int {
		return slices.Index([]string{nutrient.Over, nutrient.NotShown, nutrient.NotJudged, nutrient.Under, nutrient.NotApplicable}, v.State)
	}
	return rank(a) - rank(b)
}

// assumed is what a verdict takes as given of the land it is about, so that
// nobody reads it without that.
func assumed(v nutrient.Verdict) (words string) {
	n := 0
	for _, note := range v.Notes {
		if strings.HasPrefix(note, nutrient.TakenAsApplying) {
			if n++; n == 1 {
				words = "; " + note
			}
		}
	}
	if n > 1 {
		words += fmt.Sprintf(" (and %d more, in the CSV)", n-1)
	}
	return words
}

// localClock shows local times for reading: with their offset where the
// applications have more than one.
func (a SeasonAnswer) localClock() func(string) string {
	form, offsets := "2006-01-02 15:04", map[string]bool{}
	for _, p := range a.Applications {
		for _, text := range []string{p.FromLocal, p.ToLocal} {
			offsets[text[min(len(text), len("2006-01-02T15:04:05")):]] = true
		}
	}
	if len(offsets) > 1 {
		form += " -07:00"
	}
	return func(text string) string {
		at, err := time.Parse(time.RFC3339, text)
		if err != nil {
			return text
		}
		return strings.Replace(at.Format(form), " -", " \u2212", 1)
	}
}

// whoWords is who did it, with what and how.
func whoWords(p SeasonApplication) string {
	words := []string{string(p.Machine), cmp.Or(string(p.Operator), "nobody noted")}
	if p.Method != "" {
		words = append(words, p.Method)
	}
	if p.CertificateHolder != "" {
		words = append(words, "certificate holder "+p.CertificateHolder)
	}
	return strings.Join(words, ", ")
}

func weatherWords(w *schemas.WeatherNoted) string {
	words := "wind " + number(w.WindMS, 1) + "\u00a0m/s, rain " + number(w.RainMm, 1) + "\u00a0mm"
	if w.TemperatureC != nil {
		words += ", " + number(*w.TemperatureC, 1) + "\u00a0°C"
	}
	words += ", soil " + strings.ReplaceAll(w.Soil, "_", " ")
	if forecast := forecastWords(w); forecast != "" {
		words += "; forecast: " + forecast
	}
	return words
}

// forecastWords are the forecaster's, and the rain that was forecast.
func forecastWords(w *schemas.WeatherNoted) string {
	words := w.Forecast
	if w.ForecastRainMm == nil {
		return words
	}
	if words != "" {
		words += ", "
	}
	words += "rain " + number(*w.ForecastRainMm, 1) + " mm"
	if w.ForecastHours != nil {
		words += " within " + plain(*w.ForecastHours) + " h"
	}
	if w.ForecastRainChancePct != nil {
		words += " (chance " + plain(*w.ForecastRainChancePct) + " %)"
	}
	return words
}
