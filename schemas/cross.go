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
	fields := func(names ...string) node { return node{"required": names} }
	switch t {
	case TypePassLogged:
		return cross{nil, node{"description": "Every list has one entry a fix: as many as dt_ms, which does not fall."}}
	case TypeTestCatch:
		return cross{(*checker).catchForm, node{"anyOf": []node{fields("distance_m"), fields("time_s", "speed_kmh")}}}
	case TypeEventAmended:
		return cross{(*checker).amendment, node{
			"if":   node{"properties": node{"action": node{"const": AmendReplace}}},
			"then": fields("replacement"),
		}}
	case TypeInvoiceIssued:
		return cross{(*checker).invoiceSpan, node{"anyOf": []node{fields("job"), fields("customer", "from", "to")}}}
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

// invoiceSpan: an invoice is for a job, or for a customer and a period.
func (c *checker) invoiceSpan(data string) {
	if !has(data, "job") && !(has(data, "customer") && has(data, "from") && has(data, "to")) {
		c.fail("/data", "anyOf", "an invoice needs job, or customer, from and to")
	}
}

func has(data, field string) bool { return gjson.Get(data, field).Exists() }
