package reconcile

import (
	"fmt"
	"time"

	"hopperbook/reconcile/calibration"
	"hopperbook/schemas"
)

// safety finds jobs that were started against a failed safety check, and what
// is still failed at the end. A start that happened is a fact and is booked
// whatever stood against it; it is only said. What was to keep it from
// happening asks calibration.PlanStart where the event is made.
func safety(in Input, found *findings) {
	limits := in.Policy.CheckLimits
	if limits == nil {
		limits = calibration.DefaultCheckLimits()
	}
	checks := checksOf(in.Checks)
	machines := map[schemas.MachineID]bool{}
	for _, c := range checks {
		machines[c.Machine] = true
	}
	for _, s := range sorted(in.Starts) {
		plan := calibration.PlanStart(checks, s.Machine, s.Time, s.Data.Override, limits)
		x := Finding{Kind: "unsafe_start", Machine: s.Machine, Event: s.ID, At: s.Time, Count: len(plan.Blocked),
			Text: fmt.Sprintf("job %s was started against a failed safety check and without an override: %s", s.Data.Job, plan.Reasons())}
		if o := plan.Override; o != nil {
			x.Kind, x.Text = "start_overridden", fmt.Sprintf("%s started job %s in spite of a failed safety check, because: %s. %s", o.Operator, s.Data.Job, o.Reason, plan.Reasons())
		}
		if len(plan.Blocked) > 0 {
			found.add(x)
		}
	}
	const end = 1 << 53 // ms: after every event
	for _, machine := range sortedKeys(machines) {
		for _, s := range calibration.CheckStates(checks, machine, time.UnixMilli(end), limits) {
			if s.Failed {
				found.add(Finding{Kind: "check_failed", Machine: machine, At: s.At, Amount: s.Value, Unit: s.Unit, Text: s.Text})
			}
		}
	}
}
