package desk

import (
	"context"
	"io"
	"time"

	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
)

// BeforeParams names a job, when it is to be spread, and what to hold it against.
type BeforeParams struct {
	Job   schemas.JobID `json:"job"`
	At    time.Time     `json:"at"`
	Zone  string        `json:"time_zone,omitempty"` // as SeasonParams.Zone
	Rules []string      `json:"rules,omitempty"`
	Files []RuleFile    `json:"rule_files,omitempty"`
}

func (d *Desk) before(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[BeforeParams](Before, params)
	if err != nil {
		return err
	}
	rules, err := rulesOf(p.Rules, p.Files)
	if err != nil {
		return err
	}
	l, err := d.readLedger(ctx, true)
	if err != nil {
		return err
	}
	zone, err := l.zone(p.Zone)
	if err != nil {
		return err
	}
	b, err := reconcile.BeforeJob(l.in, p.Job, p.At, reconcile.NutrientAsk{Location: zone, Rules: rules})
	if err != nil {
		return err
	}
	return write(w, reports.NewBeforeAnswer(b, p.At, zone, rules))
}
