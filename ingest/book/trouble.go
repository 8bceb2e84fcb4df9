package book

import (
	"context"
	"fmt"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// TroubleKind says why something needs a look.
type TroubleKind string

// The kinds of trouble.
const (
	TroubleRejected      TroubleKind = "rejected"      // breaks the contract; kept, not an event
	TroubleContradicting TroubleKind = "contradicting" // its identity was taken by other bytes; kept, not an event
	TroubleClock         TroubleKind = "clock"         // a stored event whose time cannot be right
)

// Trouble is one message the book keeps with a reservation.
type Trouble struct {
	Kind     TroubleKind     `json:"kind"`
	Source   schemas.Source  `json:"source,omitempty"`   // "" when it could not be read
	Sequence int64           `json:"sequence,omitempty"` // 0 when it could not be read
	ID       schemas.EventID `json:"id,omitempty"`       // "" for rejects
	Subject  string          `json:"subject,omitempty"`  // of rejects: the NATS subject it came on
	At       time.Time       `json:"at"`                 // when the hub received it
	Pointer  string          `json:"pointer"`
	Rule     string          `json:"rule"`
	Detail   string          `json:"detail"`
	Hint     string          `json:"hint"`
	Repaired bool            `json:"repaired"` // of a reject: an event with its identity is stored
	Raw      []byte          `json:"raw"`
}

const selectTroubles = `
SELECT kind, source, sequence, id, subject, received_at, pointer, rule, detail, repaired, CASE WHEN ? THEN raw END FROM (
	SELECT 'rejected' AS kind, source, sequence, '' AS id, subject, received_at, pointer, rule, detail,
		repaired_at IS NOT NULL AS repaired, digest, raw
	FROM reject
	UNION ALL
	SELECT 'contradicting', source, sequence, id, '', received_at, '', 'identity',
		'another event with this source and sequence came before; both are kept, the first one counts', false, digest, encode(raw)
	FROM quarantine JOIN source USING (source_no)
	UNION ALL
	SELECT 'clock', source, f.sequence, f.id, '', f.received_at, '/time', 'clock', f.detail, false, e.digest, encode(e.raw)
	FROM clock_flag f JOIN source USING (source_no)
	JOIN event e ON e.source_no = f.source_no AND e.sequence = f.sequence
)
ORDER BY received_at, kind, source, sequence, digest`

// Troubles lists rejects, contradicting events and clock flags, ordered by
// time of receipt, kind, source and sequence. Raw is left out where withRaw is
// false: the messages may be large.
func (b *Book) Troubles(ctx context.Context, withRaw bool) (all []Trouble, err error) {
	err = b.Read(ctx, func(v *View) error {
		all, err = v.Troubles(ctx, withRaw)
		return err
	})
	return all, err
}

// Troubles is Book.Troubles of this state.
func (v *View) Troubles(ctx context.Context, withRaw bool) (all []Trouble, err error) {
	err = eachRow(ctx, v.tx, func(scan scanner) error {
		var t Trouble
		err := scan(&t.Kind, &t.Source, &t.Sequence, &t.ID, &t.Subject, &t.At, &t.Pointer, &t.Rule, &t.Detail, &t.Repaired, &t.Raw)
		t.At, t.Hint = t.At.UTC(), t.hint()
		all = append(all, t)
		return err
	}, selectTroubles, withRaw)
	return all, err
}

func (t *Trouble) hint() string {
	switch {
	case t.Repaired:
		return "nothing to do: the repaired event is in the book"
	case t.Kind == TroubleContradicting:
		return "look at both; if the later one is right, amend the first with event.amended; two devices with one name also cause this"
	case t.Kind == TroubleClock:
		return "check the clock of the device; where the time is wrong, void the event (event.amended) and publish it anew"
	case t.Source == "":
		return "repair the message and publish it again"
	}
	return "repair the message (rejects --json has it) and publish it alone, with this source and sequence in it"
}

func damaged(id schemas.Identity, err error) error {
	return fault.New(fmt.Sprintf("unpack pass log %s", id), fault.Input, err, "rebuild the derived tables from the events")
}
