package reconcile

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"time"

	"hopperbook/reconcile/balance"
	"hopperbook/schemas"
)

// inForce is the catch test that the flow of a product stands on at t: the one
// the last setting that names any names, or the last one made since. ok is false
// when there is none.
func (m *machine) inForce(product schemas.ProductID, t time.Time) (catch At[schemas.TestCatch], ok bool) {
	for _, c := range m.catches {
		if c.Data.Product == product && !c.Time.After(t) {
			catch, ok = c, true
		}
	}
	var named *At[schemas.SettingChanged]
	for i, s := range m.settings {
		if s.Data.Product == product && s.Data.CatchTest != "" && !s.Time.After(t) {
			named = &m.settings[i]
		}
	}
	if !ok || named == nil || catch.Time.After(named.Time) {
		return catch, ok
	}
	for _, c := range m.catches {
		if c.Data.Product == product && c.Data.CatchTest == named.Data.CatchTest && !c.Time.After(named.Time) {
			catch = c
		}
	}
	return catch, ok
}

// unknownTests says where a setting names a catch test that the machine has not
// made with the product: the last one made stands then.
func (m *machine) unknownTests(found *findings) {
	for _, s := range m.settings {
		name := s.Data.CatchTest
		if name == "" || slices.ContainsFunc(m.catches, func(c At[schemas.TestCatch]) bool {
			return c.Data.CatchTest == name && c.Data.Product == s.Data.Product && !c.Time.After(s.Time)
		}) {
			continue
		}
		found.add(Finding{Kind: "unknown_catch_test", Machine: m.id, Event: s.ID, At: s.Time,
			Text: fmt.Sprintf("the setting names catch test %s, which is not in the book for %s up to then; the last one made stands", name, cmp.Or(string(s.Data.Product), "its product"))})
	}
}

// spreadFrom is when a balance interval began to spread: tests and settings are
// often made between filling the hopper and the first pass.
func (m *machine) spreadFrom(iv balance.Interval) time.Time {
	first := sort.Search(len(m.refills), func(i int) bool { return !m.refills[i].Time.Before(iv.Start) })
	for i := first; i < len(m.refills) && (iv.End.IsZero() || m.refills[i].Time.Before(iv.End)); i++ {
		if s := m.periods[i+1].segments; len(s) > 0 {
			return time.UnixMilli(s[0].FromMilli).UTC()
		}
	}
	return iv.Start
}

// calibration is the catch test a balance interval stands on.
func (m *machine) calibration(iv balance.Interval) (At[schemas.TestCatch], bool) {
	return m.inForce(iv.Product, m.spreadFrom(iv))
}
