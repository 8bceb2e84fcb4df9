package reports

import (
	"fmt"
	"strings"

	"hopperbook/reconcile/nutrient"
	"hopperbook/schemas"
)

func seasonAnalyses(a SeasonAnswer) Table {
	t := Table{Caption: "Analyses used", Columns: []Column{{"id", "ID", false}, {"product", "Product", false}, {"kind", "Kind of product", false}, {"batch", "Docket", false}, {"from_local", "Holds from, local time", false}, {"basis", "Figures are of", false}}}
	figures := analysisFigures(schemas.Analysis{})
	for _, f := range figures {
		t.Columns = append(t.Columns, Column{f.key, f.name + ", " + f.unit, true})
	}
	t.Columns = append(t.Columns, Column{"fineness", "Fineness, share that counts", true}, Column{"fineness_set", "Fineness by", false}, Column{"fractions", "Fractions of the lime", false}, Column{"effective_lime_pct", "Effective lime as received, % as CaCO3", true},
		Column{"source", "Taken from", false}, Column{"event", "Event", false}, Column{"applications", "Applications", true})
	for _, u := range a.Analyses {
		x := u.Analysis
		row := []string{u.ID, string(u.Product), u.Kind, string(x.Batch), u.FromLocal, basisWords(x)}
		for _, f := range analysisFigures(x) {
			row = append(row, plainOrNone(f.value))
		}
		lime := "-"
		if u.LimeKnown {
			lime = number(u.EffectiveLimePct, 2)
		}
		t.Rows = append(t.Rows, append(row, plainOrNone(x.Fineness), x.FinenessSet, fractionWords(x.Fractions), lime, x.Source, string(u.Event), fmt.Sprint(len(u.Applications))))
	}
	t.Notes = []string{"An empty figure is not known, which is not zero."}
	return t
}

// analysisFigure is one figure of an analysis, in the form it was given.
type analysisFigure struct {
	key, name, unit string
	value           *float64
}

func analysisFigures(x schemas.Analysis) []analysisFigure {
	return []analysisFigure{{"n_pct", "N", "%", x.NPct}, {"p2o5_pct", "P2O5", "%", x.P2O5Pct}, {"p_pct", "P", "%", x.PPct}, {"k2o_pct", "K2O", "%", x.K2OPct}, {"k_pct", "K", "%", x.KPct},
		{"s_pct", "S", "%", x.SPct}, {"so3_pct", "SO3", "%", x.SO3Pct}, {"ca_pct", "Ca", "%", x.CaPct}, {"cao_pct", "CaO", "%", x.CaOPct}, {"mg_pct", "Mg", "%", x.MgPct}, {"mgo_pct", "MgO", "%", x.MgOPct},
		{"moisture_pct", "moisture", "%", x.MoisturePct}, {"neutralising_value_pct", "neutralising value", "% as CaCO3", x.NeutralisingValuePct}, {"rel_sd_pct", "standard uncertainty", "% of each figure", x.RelSdPct}}
}

func plainOrNone(v *float64) string {
	if v == nil {
		return "-"
	}
	return plain(*v)
}

func basisWords(x schemas.Analysis) string {
	if x.Basis == schemas.BasisDry {
		return "dry matter"
	}
	return "as received"
}

func fractionWords(all []schemas.LimeFraction) string {
	var words []string
	for _, f := range all {
		text := plain(f.SharePct) + " % x " + plain(f.Factor)
		if f.NeutralisingValuePct != nil {
			text += " x " + plain(*f.NeutralisingValuePct) + " %"
		}
		words = append(words, text)
	}
	return strings.Join(words, " + ")
}

// analysisWords is what an analysis names, in its own forms.
func analysisWords(x schemas.Analysis) string {
	var words []string
	for _, f := range analysisFigures(x) {
		if f.value != nil {
			words = append(words, f.name+" "+plain(*f.value)+"\u00a0"+f.unit)
		}
	}
	if x.Fineness != nil {
		words = append(words, "fineness "+plain(*x.Fineness))
	}
	if f := fractionWords(x.Fractions); f != "" {
		words = append(words, "by fractions "+f)
	}
	if x.FinenessSet != "" {
		words = append(words, "fineness by "+x.FinenessSet)
	}
	if len(words) == 0 {
		return "names nothing"
	}
	return strings.Join(words, ", ") + " (" + basisWords(x) + ")"
}

func (a SeasonAnswer) analysisPage() Table {
	t := Table{Caption: "Analyses used", Columns: []Column{{"product", "Product", false}, {"kind", "Kind", false}, {"analysis", "Analysis as registered", false}, {"lime", "Effective lime", true}, {"source", "Taken from", false}}}
	for _, u := range a.Analyses {
		product, lime := string(u.Product), "-"
		if u.Analysis.Batch != "" {
			product += ", docket " + string(u.Analysis.Batch)
		}
		if u.LimeKnown && u.EffectiveLimePct > 0 {
			lime = number(u.EffectiveLimePct, 1) + " %"
		}
		source := u.Analysis.Source
		if source == "" {
			source = "not said"
		}
		kind := strings.ReplaceAll(u.Kind, "_", " ")
		if u.Kind == nutrient.KindUnknown {
			kind = "NOT KNOWN"
		}
		t.Rows = append(t.Rows, []string{product, kind, analysisWords(u.Analysis), lime, source})
	}
	return t
}
