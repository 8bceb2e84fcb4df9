package rating

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Select finds the agreement a customer pays by at an instant: of those valid
// then, the one that began last; an agreement without valid_from began before
// all others. Two that began at the same instant are refused with both names.
// agreements holds each agreement once, as it was registered last.
func Select(agreements []schemas.RegisterAgreement, customer schemas.CustomerID, at time.Time) (schemas.RegisterAgreement, error) {
	op := "select the agreement of " + string(customer)
	var best []schemas.RegisterAgreement
	var began time.Time
	for _, a := range agreements {
		if a.Customer != customer {
			continue
		}
		from, to, err := span(&a)
		switch {
		case err != nil:
			return schemas.RegisterAgreement{}, fault.Wrap(op, err)
		case at.Before(from) || !to.IsZero() && !at.Before(to):
		case len(best) == 0 || from.After(began):
			best, began = []schemas.RegisterAgreement{a}, from
		case from.Equal(began):
			best = append(best, a)
		}
	}
	switch len(best) {
	case 0:
		return schemas.RegisterAgreement{}, fault.Newf(op, fault.NotFound, "none is valid on "+at.UTC().Format(time.DateOnly), "register an agreement, or correct its valid_from and valid_to")
	case 1:
		return best[0], nil
	}
	names := make([]string, len(best))
	for i := range best {
		names[i] = string(best[i].Agreement)
	}
	slices.Sort(names)
	return schemas.RegisterAgreement{}, fault.Newf(op, fault.Conflict, fmt.Sprintf("%s overlap and begin at the same time", strings.Join(names, " and ")), "end one of them with valid_to, or let the later one begin later")
}

// Named finds the agreement that a job names; it must be the customer's and
// valid at the instant.
func Named(agreements []schemas.RegisterAgreement, id schemas.AgreementID, customer schemas.CustomerID, at time.Time) (schemas.RegisterAgreement, error) {
	op := "find agreement " + string(id)
	i := slices.IndexFunc(agreements, func(a schemas.RegisterAgreement) bool { return a.Agreement == id })
	if i < 0 {
		return schemas.RegisterAgreement{}, fault.Newf(op, fault.NotFound, "it is not registered", "")
	}
	if agreements[i].Customer != customer {
		return schemas.RegisterAgreement{}, fault.Newf(op, fault.Conflict, fmt.Sprintf("it is %s's, not %s's", agreements[i].Customer, customer), "name an agreement of the customer in the job")
	}
	a, err := Select(agreements[i:i+1], customer, at)
	return a, fault.Wrap(op, err)
}

// TakesTax reports whether a line has no tax of its own and none of the
// agreement's: then the contractor's counts.
func TakesTax(a *schemas.RegisterAgreement) bool {
	return a.TaxCategory == "" && slices.ContainsFunc(a.Lines, func(l schemas.AgreementLine) bool { return l.TaxCategory == "" })
}

// Due is the day an invoice issued on a day (2026-03-01) must be paid by: that
// day and the agreement's payment days, by the calendar; "" where the agreement
// names none.
func Due(a *schemas.RegisterAgreement, issuedOn string) (string, error) {
	day, err := time.Parse(time.DateOnly, issuedOn)
	if err != nil {
		return "", fault.New("find the due day", fault.Input, err, "write days like 2026-03-01")
	}
	if a.PaymentDays == nil {
		return "", nil
	}
	return day.AddDate(0, 0, int(*a.PaymentDays)).Format(time.DateOnly), nil
}

// span is an agreement's period; a missing bound is the zero time.
func span(a *schemas.RegisterAgreement) (from, to time.Time, err error) {
	read := func(text string) (t time.Time) {
		if text != "" && err == nil {
			t, err = time.Parse(time.RFC3339Nano, text)
		}
		return t
	}
	from, to = read(a.ValidFrom), read(a.ValidTo)
	if err != nil {
		err = fault.New("read the period of "+string(a.Agreement), fault.Input, err, "write times like 2026-03-01T08:30:00Z")
	}
	return from, to, err
}
