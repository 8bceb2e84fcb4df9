package office

import (
	"context"
	"iter"
	"time"

	"hopperbook/cmd/internal/desk"
	"hopperbook/ingest"
	"hopperbook/ingest/hub"
	"hopperbook/reports"
	"hopperbook/schemas"
)

// Published is what became of a file of events.
type Published struct {
	Schema    string `json:"schema"` // "hopperbook.published/1"
	Published int    `json:"published"`
	NotBooked int    `json:"not_booked"` // of them: kept as rejected or contradicting
}

// Events gives what is to be published, or refuses it; it may ask the book first.
type Events func(context.Context, Asker) (iter.Seq2[ingest.Outgoing, error], error)

// Publish sends events through the book's hub, waits until the book has them
// and counts those that it kept without booking them.
func Publish(ctx context.Context, cfg Config, from Events, patience time.Duration, report hub.Progress) (Published, error) {
	p := Published{Schema: "hopperbook.published/1"}
	err := With(ctx, cfg, func(ctx context.Context, client *hub.Client) error {
		events, err := from(ctx, remote{client})
		if err != nil {
			return err
		}
		sent := map[schemas.Identity]bool{}
		noted := func(yield func(ingest.Outgoing, error) bool) {
			for out, err := range events {
				sent[out.Identity] = true
				if !yield(out, err) {
					return
				}
			}
		}
		if p.Published, err = client.Publish(ctx, noted, patience, report); err != nil {
			return err
		}
		var kept reports.RejectsAnswer
		if err := AskJSON(ctx, remote{client}, desk.Rejects, desk.RejectsParams{Brief: true}, &kept); err != nil {
			return err
		}
		for _, r := range kept.Rejects {
			if r.NotBooked() && sent[schemas.Identity{Source: r.Source, Sequence: r.Sequence}] {
				p.NotBooked++
			}
		}
		return nil
	})
	return p, err
}
