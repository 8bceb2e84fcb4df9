package schemas

import "github.com/tidwall/gjson"

// cross is a rule between fields of a type: as a check, which sees data whose
// fields each keep their own rule, and as the JSON Schema keywords of data
// that say the same.
type cross struct {
	check  func(*checker, string)
	schema node
}

// crossRules gives a type's rules between fields; most have none.
func crossRules(t EventType) cross {
	switch t {
	case TypePassLogged:
		return cross{nil, node{"description": "Every list has one entry a fix: as many as dt_ms, which does not fall."}}
	case TypeTestCatch:
		return cross{(*checker).catchForm, node{"anyOf": []node{given("distance_m"), given("time_s", "speed_kmh")}}}
	case TypeEventAmended:
		return cross{(*checker).amendment, node{
			"if":   node{"properties": node{"action": node{"const": AmendReplace}}},
			"then": given("replacement"),
		}}
	case TypeRegisterAgreement:
		return cross{(*checker).agreement, agreementSchema()}
	case TypeInvoiceIssued:
		return cross{(*checker).invoice, node{"anyOf": []node{given("job"), given("customer", "from", "to")}}}
	}
	return cross{}
}

// catchForm: a catch test is by distance, or by time and speed.
func (c *checker) catchForm(data string) {
	if !has(data, "distance_m") && !(has(data, "time_s") && has(data, "speed_kmh")) {
		c.fail("/data", "anyOf", "a catch test needs distance_m, or time_s and speed_kmh")
	}
}

// amendment: what replaces must say with what.
func (c *checker) amendment(data string) {
	if gjson.Get(data, "action").Str == AmendReplace && !has(data, "replacement") {
		c.fail("/data/replacement", "required", "is missing: action replace needs the data that should have stood there")
	}
}

// invoice: an invoice is for a job, or for a customer and a period, and due
// when it is issued or later.
func (c *checker) invoice(data string) {
	if !has(data, "job") && !(has(data, "customer") && has(data, "from") && has(data, "to")) {
		c.fail("/data", "anyOf", "an invoice needs job, or customer, from and to")
	}
	issued, due := gjson.Get(data, "issued_on").Str, gjson.Get(data, "due_on").Str
	if due != "" && due < issued {
		c.fail("/data/due_on", "dates", "is %s, before the invoice is issued on %s", due, issued)
	}
}

func has(data, field string) bool { return gjson.Get(data, field).Exists() }
