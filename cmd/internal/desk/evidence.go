package desk

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"hopperbook/reconcile"
	"hopperbook/reconcile/rating"
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

// evidence is that of a bill by an agreement, and of the choice of it: an agreement
// that counts now in its stead is in it too.
func (l *ledger) evidence(w *reconcile.Work, agreement schemas.AgreementID) evidence {
	uses := map[schemas.EventID]bool{}
	for _, id := range w.Uses {
		uses[id] = true
	}
	uses[l.priced[agreement]] = true
	for _, id := range l.divided.Agreements(w, l.agreements) {
		uses[l.priced[id]] = true
	}
	i := slices.IndexFunc(l.agreements, func(a schemas.RegisterAgreement) bool { return a.Agreement == agreement })
	if i < 0 {
		return l.evidenceOf(uses)
	}
	if reconcile.CountsDockets(&l.agreements[i]) {
		for _, id := range w.DocketUses {
			uses[id] = true
		}
	}
	return l.evidenceOf(uses, l.taxTaken(&l.agreements[i])...)
}

// taxTaken is the contractor's tax where the agreement leaves it to him, as a line
// of its own: what else he registers (a telephone, an address) changes no amount.
func (l *ledger) taxTaken(a *schemas.RegisterAgreement) []evidenceLine {
	c := l.contractor
	if c == nil || !rating.TakesTax(a) {
		return nil
	}
	return []evidenceLine{{kind: schemas.TypeRegisterContractor, text: fmt.Sprintf("tax %q %q %q %q\n", c.TaxCategory, c.TaxPct, c.ExemptCode, c.ExemptReason)}}
}

// evidenceOf adds to some events what amends them, and digests them with what else counts.
func (l *ledger) evidenceOf(uses map[schemas.EventID]bool, more ...evidenceLine) evidence {
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
	for _, line := range more {
		lines = append(lines, line.text)
		count[line.kind]++
	}
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
