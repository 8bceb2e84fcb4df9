package desk

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"

	"hopperbook/reconcile"
	"hopperbook/reports"
	"hopperbook/schemas"
)

// evidence is what a document's digest covers: the events a bill comes from, the
// registers it is priced by, and what amends any of them, each with its bytes.
type evidence struct {
	digest     string
	kinds      []schemas.BillEvidence
	amendments []reports.Amendment
}

func (l *ledger) evidence(w *reconcile.Work, agreement schemas.AgreementID) evidence {
	uses := map[schemas.EventID]bool{}
	for _, id := range w.Uses {
		uses[id] = true
	}
	uses[l.priced[agreement]] = true
	return l.evidenceOf(uses)
}

// evidenceOf adds to some events what amends them, and digests them.
func (l *ledger) evidenceOf(uses map[schemas.EventID]bool) evidence {
	var e evidence
	for i := range l.amended {
		a := &l.amended[i]
		data, err := schemas.DecodeData[schemas.EventAmended](a)
		if err != nil || !uses[data.Amends] && !uses[a.ID] {
			continue
		}
		uses[a.ID] = true
		was := reports.Amendment{At: a.Time, Amends: data.Amends, Action: data.Action, Reason: data.Reason}
		for _, line := range l.lines[data.Amends] {
			was.Type = line.kind
		}
		e.amendments = append(e.amendments, was)
	}
	var lines []string
	count := map[schemas.EventType]int64{}
	for id := range uses {
		for _, line := range l.lines[id] {
			lines = append(lines, line.text)
			count[line.kind]++
		}
	}
	slices.Sort(lines)
	sum := sha256.Sum256([]byte(strings.Join(lines, "")))
	e.digest = hex.EncodeToString(sum[:])
	for t, n := range count {
		e.kinds = append(e.kinds, schemas.BillEvidence{Kind: string(t), Count: n})
	}
	slices.SortFunc(e.kinds, func(a, b schemas.BillEvidence) int { return cmp.Compare(a.Kind, b.Kind) })
	return e
}

// evidenceTypes are all types that evidence can be of.
func evidenceTypes() []schemas.EventType {
	return append(slices.Clone(inputTypes[:]), schemas.TypePassLogged, schemas.TypeRegisterAgreement, schemas.TypeEventAmended)
}
