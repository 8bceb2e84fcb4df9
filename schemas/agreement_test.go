package schemas

import (
	"strings"
	"testing"
)

// Rules between an agreement's fields: each row changes one piece of an
// example. The JSON Schema must say the same, but for what it has no words for.
func TestAgreementRules(t *testing.T) {
	schemas := compileSchemas(t)
	byName := map[string]string{}
	for _, ex := range examples(t) {
		byName[ex.name] = string(ex.raw)
	}
	const tiered, product, old, invoice = "register.agreement-tiered", "register.agreement-product", "register.agreement", "invoice.issued"
	for _, r := range []struct{ base, old, new, want, says string }{
		{old, `"basis": "spread"`, `"basis": "boundary"`, "", ""}, // what version 1 of the contract took stays valid
		{old, `"price": "28.50"`, `"price": "-28.50"`, "", ""},
		{old, `"per_tonne"`, `"minimum"`, "", ""},
		{tiered, `"steps_rule": "tiered",`, ``, "/data/lines/0/steps_rule required", "each slice"},
		{tiered, `"steps":`, `"stops":`, "/data/lines/0/steps required", "needs steps"},
		{tiered, `"from": "200"`, `"from": "50.0"`, "/data/lines/0/steps/1/from ascending", "is 50.0"},
		{tiered, `"from": "200"`, `"from": "0050.00000001"`, "", ""},
		{tiered, `"from": "50"`, `"from": "0.0"`, "/data/lines/0/steps/0/from ascending", "above 0"},
		{tiered, `"kind": "per_tonne"`, `"kind": "fixed"`, "/data/lines/0/product not", "count one product"},
		{tiered, `"discount_pct": "2.5"`, `"discount_pct": "2.5", "discount_amount": "1"`, "/data/lines/0 not", "one of them"},
		{tiered, `"kind": "minimum"`, `"kind": "minimum", "discount_pct": "1"`, "/data/lines/2 not", "minimum charge"},
		{tiered, `"kind": "minimum"`, `"kind": "minimum", "steps": [{"from": "1", "price": "1"}], "steps_rule": "tiered"`, "/data/lines/2/steps not", "no measured quantity"},
		{tiered, `"tax_category": "S"`, `"tax_category": "Z"`, "/data/lines/0/tax_pct not", "no tax"},
		{tiered, `"tax_category": "S"`, `"tax_category": "O"`, "/data/lines/0/tax_pct not", "no tax"},
		{tiered, `"tax_category": "S",`, ``, "/data/lines/0/tax_category required", "AE (reverse charge)"},
		{tiered, `"tax_pct": "15"`, `"tax_pct": "0.00"`, "/data/lines/0/tax_pct required", "above 0"},
		{tiered, `"tax_pct": "15"`, `"tax_pct": "15", "exempt_reason": "none"`, "/data/lines/0/exempt_reason not", "not exempt"},
		{tiered, `"tax_category": "E"`, `"tax_category": "Z"`, "/data/lines/1/exempt_reason not", "taxed at zero"},
		{tiered, `"exempt_code": "VATEX-EU-132",`, ``, "", ""},
		{product, `"product": "urea-46",`, ``, "/data/lines/0/product required", "product that is sold"},
		{product, `"product_supply": "supplied"`, `"product_supply": "own"`, "/data/lines/0/kind not", "not sold to them"},
		{product, `"tax_category": "AE",`, `"tax_category": "AE", "tax_pct": "0",`, "", ""},
		{product, `"exempt_code": "VATEX-EU-132",`, `"tax_pct": "0.1",`, "/data/tax_pct not", "no tax"},
		{product, `"exempt_code": "VATEX-EU-AE",`, `"exempt_cod": "VATEX-EU-AE",`, "", ""},
		{product, `"exempt_reason": "reverse charge"`, `"exempt_raison": ""`, "", ""}, // the code alone
		{invoice, `"due_on": "2026-03-23"`, `"due_on": "2026-03-02"`, "/data/due_on dates", "before the invoice"},
		{invoice, `"due_on": "2026-03-23"`, `"due_on": "2026-03-03"`, "", ""},
	} {
		raw := strings.Replace(byName[r.base], r.old, r.new, 1)
		if raw == byName[r.base] {
			t.Fatalf("%s: %s changes nothing", r.base, r.old)
		}
		_, bad := Read([]byte(raw))
		got, says := "", ""
		if bad != nil {
			got, says = bad.Pointer+" "+bad.Rule, bad.Error()
		}
		if got != r.want || !strings.Contains(says, r.says) {
			t.Errorf("%s with %s: %q (%s), want %q with %q", r.base, r.new, got, says, r.want, r.says)
		}
		info, _, _ := strings.Cut(r.base, "-")
		if err := schemas.check(EventType(info), []byte(raw)); (err == nil) != (bad == nil) && !(bad != nil && schemaCannotSay(bad)) {
			t.Errorf("%s with %s: Read says %v, the JSON Schema %v", r.base, r.new, bad, err)
		}
	}
}
