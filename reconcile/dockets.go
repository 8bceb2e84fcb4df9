package reconcile

import (
	"fmt"
	"math"
	"slices"

	"hopperbook/reconcile/rating"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// docketUse is what was taken of a docket that a work's loads name.
type docketUse struct {
	received At[schemas.DocketReceived]
	known    bool // else only its name is
	takenKg  float64
	sureKg   float64 // difference of docket and loads that their uncertainties explain, 95 %
	loads    []schemas.EventID
	wrong    string // a load of the work's, of another product
}

// scaleBiasShare is the standard uncertainty of a scale's relative bias, as in balance.
const scaleBiasShare = 0.005

// docketsOf looks up what all loads took of the dockets that some loads name; a
// load that was weighed twice under one name counts once, as everywhere.
func (d *Divided) docketsOf(loads []WorkLoad) map[schemas.DocketID]*docketUse {
	out := map[schemas.DocketID]*docketUse{}
	for _, l := range loads {
		if l.Docket != "" && out[l.Docket] == nil {
			out[l.Docket] = &docketUse{}
		}
	}
	kept, _ := first(d.in.Dockets, func(d schemas.DocketReceived) schemas.DocketID { return d.Docket })
	for _, r := range kept {
		if u := out[r.Data.Docket]; u != nil {
			u.received, u.known = r, true
		}
	}
	for _, l := range loads {
		u := out[l.Docket]
		if u == nil || !u.known || u.wrong != "" {
			continue
		}
		for _, p := range []schemas.ProductID{l.Product, d.reg.loads[l.Load].Data.Product} {
			if p != u.received.Data.Product {
				u.wrong = fmt.Sprintf("load %s of %s names docket %s, which is of %s", l.Load, p, l.Docket, u.received.Data.Product)
			}
		}
	}
	variance := map[schemas.DocketID]float64{}
	for _, id := range sortedKeys(d.reg.loads) {
		l := d.reg.loads[id]
		if u := out[l.Data.Docket]; u != nil && l.Data.Product == u.received.Data.Product {
			u.takenKg += l.Data.NetKg
			u.loads = append(u.loads, l.ID)
			sd := stockLoad(l).SdKg
			variance[l.Data.Docket] += sd * sd
		}
	}
	for id, u := range out {
		bias, sd := scaleBiasShare*u.takenKg, docket(u.received).SdKg
		u.sureKg = z95 * math.Sqrt(variance[id]+bias*bias+sd*sd)
	}
	return out
}

// partKg is what a load is of its docket: while more is left of the docket than is
// uncertain its own mass, then its share of the docket. 0: not known.
func (u *docketUse) partKg(loadKg float64) float64 {
	switch {
	case !u.known || u.wrong != "" || u.takenKg <= 0:
		return 0
	case u.left() > 0:
		return loadKg
	}
	return u.received.Data.NetKg * loadKg / u.takenKg
}

// left is above zero where more is left of the docket than its and the loads' uncertainty
// explains, below where more was taken.
func (u *docketUse) left() float64 {
	left := u.received.Data.NetKg - u.takenKg
	switch {
	case left > u.sureKg:
		return left - u.sureKg
	case left < -u.sureKg:
		return left + u.sureKg
	}
	return 0
}

// docketed gives by product what the work's loads are of their dockets. A product
// with a load that names no docket, or one that cannot be used, has no docketed mass.
func (w *Work) docketed(give func(p schemas.ProductID, kg float64, dockets int)) {
	kg, used, lacks := map[schemas.ProductID]float64{}, map[schemas.ProductID]map[schemas.DocketID]bool{}, map[schemas.ProductID]bool{}
	for _, l := range w.Loads {
		u := w.dockets[l.Docket]
		if u == nil || u.partKg(1) == 0 {
			lacks[l.Product] = true
			continue
		}
		if used[l.Product] == nil {
			used[l.Product] = map[schemas.DocketID]bool{}
		}
		used[l.Product][l.Docket] = true
		kg[l.Product] += u.partKg(l.ForKg)
	}
	for _, p := range sortedKeys(kg) {
		if !lacks[p] {
			give(p, kg[p], len(used[p]))
		}
	}
}

// checkDockets refuses loads on a docket of another product, and says where
// docket and loads differ by more than is uncertain.
func (w *Work) checkDockets() (unsure []rating.Unsure, err error) {
	for _, id := range sortedKeys(w.dockets) {
		u := w.dockets[id]
		if u.wrong != "" {
			return nil, fault.Newf("bill "+list(w.Jobs)+" by docket", fault.Input, u.wrong, "amend the load, or the docket, with an event.amended that replaces it")
		}
		text := ""
		switch left := u.left(); {
		case !u.known:
		case left > 0:
			text = "docket %s: %.3f t, its loads took %.3f t so far; an invoice issued now is shown as changed when the rest is loaded"
		case left < 0:
			text = "docket %s: %.3f t, but its loads took %.3f t: does a load name the wrong docket?"
		}
		if text != "" {
			unsure = append(unsure, rating.Unsure{Kind: rating.UnsureDocket, Text: fmt.Sprintf(text, id, u.received.Data.NetKg/1e3, u.takenKg/1e3)})
		}
	}
	return unsure, nil
}

// CountsDockets reports whether a line of an agreement counts dockets.
func CountsDockets(a *schemas.RegisterAgreement) bool {
	return slices.ContainsFunc(a.Lines, func(l schemas.AgreementLine) bool { return l.Basis == schemas.BasisDocket })
}
