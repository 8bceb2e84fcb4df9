package desk

import (
	"context"
	"time"

	"hopperbook/ingest/book"
	"hopperbook/reconcile"
	"hopperbook/schemas"
)

// maxGaps bounds the gaps looked at one by one; more are told when some of
// these are filled.
const maxGaps = 200

// PlanNotices says which notices are to be raised now. What was raised counts
// also where it was voided since: nobody is told twice.
func (d *Desk) PlanNotices(ctx context.Context, now time.Time) ([]schemas.NoticeRaised, error) {
	res, err := d.result(ctx)
	if err != nil {
		return nil, err
	}
	in := reconcile.NoticeInput{Now: now, Drifts: res.Drifts, Findings: res.Findings}
	gaps, err := d.book.Gaps(ctx)
	if err != nil {
		return nil, err
	}
	err = d.book.Read(ctx, func(v *book.View) error {
		for _, g := range gaps[:min(len(gaps), maxGaps)] {
			since, err := v.FirstAfter(ctx, g.Source, g.To)
			if err != nil {
				return err
			}
			in.Gaps = append(in.Gaps, reconcile.NoticeGap{Source: g.Source, From: g.From, To: g.To, Since: since})
		}
		return v.Events(ctx, []schemas.EventType{schemas.TypeNoticeRaised}, func(e *schemas.Event) error {
			n, err := schemas.DecodeData[schemas.NoticeRaised](e)
			in.Raised = append(in.Raised, n)
			return err
		})
	})
	if err != nil {
		return nil, err
	}
	troubles, err := d.book.Troubles(ctx, false)
	if err != nil {
		return nil, err
	}
	for _, t := range troubles {
		if t.Kind == book.TroubleContradicting {
			in.Contradicting = append(in.Contradicting, schemas.Identity{Source: t.Source, Sequence: t.Sequence})
		}
	}
	return reconcile.PlanNotices(in)
}
