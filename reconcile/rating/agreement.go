package rating

import (
	"fmt"

	"github.com/shopspring/decimal"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
	"hopperbook/schemas/money"
)

// Tax is how a line is taxed; the zero value says nothing.
type Tax struct {
	Category     string          `json:"category"` // S, Z, E, AE, O: UNCL5305
	Pct          decimal.Decimal `json:"pct"`
	ExemptCode   string          `json:"exempt_code,omitempty"`
	ExemptReason string          `json:"exempt_reason,omitempty"`
}

// same reports whether two taxes are one row of a tax breakdown.
func (t Tax) same(u Tax) bool { return t.Category == u.Category && t.Pct.Equal(u.Pct) }

// term is one line of an agreement, read.
type term struct {
	n           int // from 1
	line        schemas.AgreementLine
	price       decimal.Decimal
	steps       []step
	discountPct decimal.Decimal
	discount    decimal.Decimal // an amount
	tax         Tax
}

type step struct{ from, price decimal.Decimal }

// terms is an agreement, read.
type terms struct {
	currency    money.Currency
	digits      int32 // of the currency
	rounding    money.Rounding
	decimals    int32 // of quantities
	discountPct decimal.Decimal
	lines       []term // without the minimum
	minimum     *term
}

// defaultDecimals of quantities: kilograms, ten square metres, metres.
const defaultDecimals = 3

func (t *term) unit() lineUnit { return unitOf(t.line.Kind) }

func (t *term) name() string { return fmt.Sprintf("line %d (%s)", t.n, t.line.Kind) }

func (t *term) refuse(cause, hint string) error {
	return fault.Newf("read "+t.name(), fault.Input, cause, hint)
}

// read makes terms of an agreement, or says what is wrong with it. tax stands
// for lines where neither they nor the agreement say one.
func read(a *schemas.RegisterAgreement, tax Tax) (*terms, error) {
	ts := &terms{currency: money.Currency(a.Currency), decimals: defaultDecimals}
	var known bool
	if ts.digits, known = ts.currency.Digits(); !known {
		return nil, fault.Newf("read the agreement", fault.Input, fmt.Sprintf("%.10q is no currency of ISO 4217", a.Currency), "")
	}
	var err error
	if ts.rounding, err = money.ParseRounding(a.Rounding); err != nil {
		return nil, err
	}
	if d := a.QuantityDecimals; d != nil {
		if *d < 0 || *d > 6 {
			return nil, fault.Newf("read the agreement", fault.Input, fmt.Sprintf("quantity_decimals is %d", *d), "0 to 6 decimals")
		}
		ts.decimals = int32(*d)
	}
	if ts.discountPct, err = percent(a.DiscountPct); err != nil {
		return nil, fault.Wrap("read discount_pct", err)
	}
	if a.TaxCategory != "" {
		if tax, err = readTax(a.TaxCategory, a.TaxPct, a.ExemptCode, a.ExemptReason); err != nil {
			return nil, fault.Wrap("read the agreement's tax", err)
		}
	}
	for i := range a.Lines {
		if err := ts.add(term{n: i + 1, line: a.Lines[i], tax: tax}); err != nil {
			return nil, err
		}
	}
	if len(ts.lines) == 0 && ts.minimum == nil {
		return nil, fault.Newf("read the agreement", fault.Input, "it has no lines", "")
	}
	return ts, nil
}

func (ts *terms) add(t term) error {
	err := t.readPrices(ts)
	if err == nil {
		err = t.readTax()
	}
	if err == nil {
		err = t.checkBasis()
	}
	switch {
	case err != nil:
		return err
	case t.line.Kind != schemas.LineMinimum:
		ts.lines = append(ts.lines, t)
	case ts.minimum != nil:
		return t.refuse(fmt.Sprintf("line %d is a minimum charge as well", ts.minimum.n), "an agreement has one minimum charge")
	default:
		ts.minimum = &t
	}
	return nil
}

func (t *term) readPrices(ts *terms) (err error) {
	if t.price, err = notNegative(t.line.Price); err != nil {
		return fault.Wrap("read the price of "+t.name(), err)
	}
	if t.discountPct, err = percent(t.line.DiscountPct); err != nil {
		return fault.Wrap("read the discount of "+t.name(), err)
	}
	if t.line.DiscountAmount != "" {
		if t.discount, err = ts.currency.Parse(t.line.DiscountAmount); err != nil {
			return fault.Wrap("read the discount of "+t.name(), err)
		}
	}
	if t.line.Kind == schemas.LineMinimum {
		if _, err := ts.currency.Parse(t.line.Price); err != nil {
			return fault.Wrap("read the price of "+t.name(), err)
		}
	}
	if t.discount.IsNegative() || t.discount.IsPositive() && t.discountPct.IsPositive() {
		return t.refuse("the discount is negative, or given twice", "one of discount_pct and discount_amount")
	}
	if t.line.Kind == schemas.LineMinimum && !t.discount.Add(t.discountPct).IsZero() {
		return t.refuse("a minimum charge has no discount", "name the lower charge instead")
	}
	return t.readSteps(ts)
}

func (t *term) readSteps(ts *terms) error {
	if len(t.line.Steps) == 0 {
		return nil
	}
	if t.unit().code == CodeEach || t.line.StepsRule != schemas.StepsStepped && t.line.StepsRule != schemas.StepsTiered {
		return t.refuse("it cannot have steps", "steps need steps_rule (stepped or tiered) and a line whose quantity is measured")
	}
	last := decimal.Zero
	for i, s := range t.line.Steps {
		from, err := notNegative(s.From)
		if err != nil {
			return fault.Wrap("read a step of "+t.name(), err)
		}
		price, err := notNegative(s.Price)
		if err != nil {
			return fault.Wrap("read a step of "+t.name(), err)
		}
		if !from.GreaterThan(last) {
			return t.refuse(fmt.Sprintf("step %d begins at %s, not above %s", i+1, from, last), "list steps from small to large, above 0")
		}
		if !from.Equal(from.Truncate(ts.decimals)) {
			return t.refuse(fmt.Sprintf("step %d begins at %s, but quantities have %d decimals", i+1, from, ts.decimals), "let steps begin where a rounded quantity can lie")
		}
		t.steps = append(t.steps, step{from, price})
		last = from
	}
	return nil
}

func (t *term) readTax() (err error) {
	l := &t.line
	if l.TaxCategory != "" {
		t.tax, err = readTax(l.TaxCategory, l.TaxPct, l.ExemptCode, l.ExemptReason)
	}
	if err == nil {
		err = t.tax.check()
	}
	return fault.Wrap("read the tax of "+t.name(), err)
}

func (t *term) checkBasis() error {
	switch t.line.Kind {
	case schemas.LinePerTonne, schemas.LineProduct:
		switch t.line.Basis {
		case schemas.BasisDocket, schemas.BasisLoaded, schemas.BasisSpread:
		default:
			return t.refuse(fmt.Sprintf("its basis is %.20q", t.line.Basis), "tonnes are docket, loaded or spread: say which was agreed")
		}
		if t.line.Kind == schemas.LineProduct && t.line.Product == "" {
			return t.refuse("it names no product", "say which product is sold")
		}
	case schemas.LinePerHectare:
		if t.line.Basis != schemas.BasisBoundary && t.line.Basis != schemas.BasisCovered {
			return t.refuse(fmt.Sprintf("its basis is %.20q", t.line.Basis), "hectares are boundary or covered: say which was agreed")
		}
	case schemas.LinePerKm, schemas.LinePerHour, schemas.LineFixed, schemas.LineMinimum:
	default:
		return t.refuse("its kind is not known", "")
	}
	return nil
}

func readTax(category, pct, code, reason string) (Tax, error) {
	p, err := percent(pct)
	return Tax{Category: category, Pct: p, ExemptCode: code, ExemptReason: reason}, err
}

// check holds a category against its rate and its reason.
func (t Tax) check() error {
	refuse := func(cause, hint string) error { return fault.Newf("read the tax", fault.Input, cause, hint) }
	reason := t.ExemptCode != "" || t.ExemptReason != ""
	switch t.Category {
	case "":
		return refuse("no tax category is given", "give the agreement, or for all of them the contractor (register.contractor), a tax_category: S (standard, with tax_pct), Z (zero), E (exempt), AE (reverse charge) or O (outside the scope)")
	case schemas.TaxStandard:
		if !t.Pct.IsPositive() || reason {
			return refuse("category S needs a rate above 0 and no reason of exemption", "use Z or E where nothing is taxed")
		}
	case schemas.TaxZero:
		if !t.Pct.IsZero() || reason {
			return refuse("category Z has rate 0 and no reason of exemption", "use E where a line is exempt")
		}
	case schemas.TaxExempt, schemas.TaxReverseCharge, schemas.TaxOutOfScope:
		if !t.Pct.IsZero() || !reason {
			return refuse("category "+t.Category+" has no rate and needs a reason", "give exempt_reason or exempt_code")
		}
	default:
		return refuse(fmt.Sprintf("%.10q is no tax category", t.Category), "S, Z, E, AE or O")
	}
	return nil
}

func notNegative(text string) (decimal.Decimal, error) {
	v, err := money.Number(text)
	if err == nil && v.IsNegative() {
		err = fault.Newf("read a number", fault.Input, text+" is negative", "a discount has fields of its own")
	}
	return v, err
}

// percent reads 0 to 100; "" is 0.
func percent(text string) (decimal.Decimal, error) {
	if text == "" {
		return decimal.Zero, nil
	}
	v, err := notNegative(text)
	if err == nil && v.GreaterThan(decimal.New(100, 0)) {
		err = fault.Newf("read a percentage", fault.Input, text+" is more than 100", "")
	}
	return v, err
}
