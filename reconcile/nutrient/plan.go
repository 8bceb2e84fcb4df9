package nutrient

import (
	"slices"

	"hopperbook/schemas/fault"
)

// PlanResult is what stands against applications that are not spread yet.
type PlanResult struct {
	Verdicts []Verdict // of all limits that they count against, with them spread
	Warnings []Check   // of them: all checks that are not kept
	Findings []Finding
}

// Clear reports whether nothing was found against the plan.
func (p PlanResult) Clear() bool {
	return len(p.Warnings) == 0 && !slices.ContainsFunc(p.Verdicts, func(v Verdict) bool { return v.State == Over || v.State == NotShown })
}

// Plan holds planned applications against the rules, on top of what the input
// holds. It is the same judgement as Run's, made before: what it warns of, Run
// would record afterwards.
func Plan(in Input, planned []Application) (PlanResult, error) {
	in.Applications = slices.Concat(in.Applications, planned)
	r, err := Run(in)
	if err != nil {
		return PlanResult{}, fault.Wrap("plan", err)
	}
	isPlanned := func(id string) bool {
		return slices.ContainsFunc(planned, func(a Application) bool { return a.ID == id })
	}
	out := PlanResult{Findings: r.Findings}
	for _, v := range r.Verdicts {
		if slices.ContainsFunc(v.Applications, isPlanned) {
			out.Verdicts = append(out.Verdicts, v)
		}
	}
	for _, c := range r.Checks {
		if isPlanned(c.Application) && c.State != Kept && c.State != NotApplicable {
			out.Warnings = append(out.Warnings, c)
		}
	}
	return out, nil
}
