package schemas

import (
	"math/big"
	"slices"
	"strings"

	"github.com/tidwall/gjson"
)

// measuredKinds are the lines whose quantity is measured: those that may have
// steps. productKinds count what is measured for each product.
func measuredKinds() []string {
	return []string{LinePerTonne, LinePerHectare, LinePerKm, LinePerHour, LineProduct}
}

func productKinds() []string { return []string{LinePerTonne, LinePerHectare, LineProduct} }

// agreement holds the rules between an agreement's newer fields; those of its
// first version are left to where bills are made, so that no event booked
// before is refused when a book is rebuilt.
func (c *checker) agreement(data string) {
	own := gjson.Get(data, "product_supply").Str == SupplyOwn
	n := 0
	gjson.Get(data, "lines").ForEach(func(_, line gjson.Result) bool {
		at := entry("/data/lines", n)
		n++
		c.agreementLine(line, at)
		c.steps(line, at)
		c.tax(line.Raw, at)
		if own && line.Get("kind").Str == LineProduct {
			c.fail(at+"/kind", "not", "is product, but product_supply is own: the customer's product is not sold to them")
		}
		return c.bad == nil
	})
	c.tax(data, "/data")
}

func (c *checker) agreementLine(line gjson.Result, at string) {
	kind := line.Get("kind").Str
	discount := has(line.Raw, "discount_pct") || has(line.Raw, "discount_amount")
	switch {
	case kind == LineProduct && !has(line.Raw, "product"):
		c.fail(at+"/product", "required", "is missing: a line of kind product needs the product that is sold")
	case has(line.Raw, "product") && !slices.Contains(productKinds(), kind):
		c.fail(at+"/product", "not", "stands at a line of kind %s; only lines of kind %s count one product", kind, strings.Join(productKinds(), ", "))
	case has(line.Raw, "discount_pct") && has(line.Raw, "discount_amount"):
		c.fail(at, "not", "has discount_pct and discount_amount; a line has one of them")
	case kind == LineMinimum && discount:
		c.fail(at, "not", "is a minimum charge with a discount; name the lower charge instead")
	}
}

func (c *checker) steps(line gjson.Result, at string) {
	steps, rule := has(line.Raw, "steps"), has(line.Raw, "steps_rule")
	switch kind := line.Get("kind").Str; {
	case steps && !rule:
		c.fail(at+"/steps_rule", "required", "is missing: steps are stepped (the whole quantity at the price of its step) or tiered (each slice at its own)")
	case rule && !steps:
		c.fail(at+"/steps", "required", "is missing: steps_rule needs steps")
	case steps && !slices.Contains(measuredKinds(), kind):
		c.fail(at+"/steps", "not", "stand at a line of kind %s, which has no measured quantity", kind)
	}
	last, n := new(big.Rat), 0
	line.Get("steps").ForEach(func(_, step gjson.Result) bool {
		from, ok := new(big.Rat).SetString(step.Get("from").Str)
		if !ok || from.Cmp(last) <= 0 {
			return c.fail(entry(at+"/steps", n)+"/from", "ascending", "is %s; each step begins above 0 and above the one before it", step.Get("from").Str)
		}
		last = from
		n++
		return true
	})
}

// tax holds a tax category against its rate and its reason of exemption.
func (c *checker) tax(object, at string) {
	category, pct := gjson.Get(object, "tax_category").Str, gjson.Get(object, "tax_pct").Str
	reason := has(object, "exempt_code") || has(object, "exempt_reason")
	zero := strings.Trim(pct, "0.") == ""
	switch category {
	case "":
		if pct != "" || reason {
			c.fail(at+"/tax_category", "required", "is missing: S (standard), Z (zero), E (exempt), AE (reverse charge) or O (outside the scope)")
		}
	case TaxStandard:
		if zero {
			c.fail(at+"/tax_pct", "required", "must be above 0 for category S; Z is the category of the zero rate")
		}
		if reason {
			c.fail(at+"/exempt_reason", "not", "stands at category S, which is not exempt")
		}
	default:
		if !zero {
			c.fail(at+"/tax_pct", "not", "is %s; category %s has no tax", pct, category)
		}
		if category != TaxZero && !reason {
			c.fail(at+"/exempt_reason", "required", "is missing: category %s needs exempt_reason or exempt_code", category)
		}
		if category == TaxZero && reason {
			c.fail(at+"/exempt_reason", "not", "stands at category Z, which is taxed at zero, not exempt")
		}
	}
}

// agreementSchema says the same in JSON Schema, but not that steps rise.
func agreementSchema() node {
	line := append(taxSchema(),
		when(given("steps"), allOf(given("steps_rule"), kindIn(measuredKinds()))),
		when(given("steps_rule"), given("steps")),
		when(is("kind", LineProduct), given("product")),
		when(given("product"), kindIn(productKinds())),
		not(given("discount_pct", "discount_amount")),
		when(is("kind", LineMinimum), allOf(not(given("discount_pct")), not(given("discount_amount")))),
	)
	lines := func(each node) node { return node{"properties": node{"lines": node{"items": each}}} }
	return node{"allOf": append(taxSchema(),
		lines(allOf(line...)),
		when(is("product_supply", SupplyOwn), lines(not(is("kind", LineProduct)))),
	)}
}

func taxSchema() []node {
	exempt := node{"anyOf": []node{given("exempt_code"), given("exempt_reason")}}
	stated := node{"anyOf": []node{given("tax_pct"), given("exempt_code"), given("exempt_reason")}}
	pct := func(pattern string) node { return node{"properties": node{"tax_pct": node{"pattern": pattern}}} }
	needsReason := node{"anyOf": []node{is("tax_category", TaxExempt), is("tax_category", TaxReverseCharge), is("tax_category", TaxOutOfScope)}}
	return []node{
		when(stated, given("tax_category")),
		when(is("tax_category", TaxStandard), allOf(given("tax_pct"), pct("[1-9]"), not(exempt))),
		when(is("tax_category", TaxZero), allOf(pct("^[0.]*$"), not(exempt))),
		when(needsReason, allOf(pct("^[0.]*$"), exempt)),
	}
}

// Words of JSON Schema.
func given(names ...string) node { return node{"required": names} }
func not(n node) node            { return node{"not": n} }
func allOf(all ...node) node     { return node{"allOf": all} }
func when(cond, then node) node  { return node{"if": cond, "then": then} }
func kindIn(kinds []string) node { return node{"properties": node{"kind": node{"enum": kinds}}} }
func is(field, value string) node {
	return node{"required": []string{field}, "properties": node{field: node{"const": value}}}
}
