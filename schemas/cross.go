package schemas

import "github.com/tidwall/gjson"

// crossRules gives the rules between fields of a type; nil for most. They see
// data whose fields each keep their own rule.
func crossRules(t EventType) func(*checker, string) {
	switch t {
	case TypePassLogged:
		return (*checker).passArrays
	case TypeTestCatch:
		return (*checker).catchForm
	case TypeEventAmended:
		return (*checker).amendment
	case TypeInvoiceIssued:
		return (*checker).invoiceSpan
	}
	return nil
}

// passArrays: every array of a pass log has one entry a fix, and time does
// not fall.
func (c *checker) passArrays(data string) {
	n, last := 0, -1.0
	gjson.Get(data, "dt_ms").ForEach(func(_, v gjson.Result) bool {
		n++
		if v.Num < last {
			return c.fail("/data/dt_ms", "ordered", "falls from %v to %v at entry %d; order the fixes by time", last, v.Num, n-1)
		}
		last = v.Num
		return true
	})
	if c.bad != nil {
		return
	}
	for _, name := range []string{"lat", "lon", "speed_kmh", "spreading", "set_rate_kg_ha", "heading_deg", "quality"} {
		v := gjson.Get(data, name)
		if !v.IsArray() {
			continue
		}
		m := 0
		v.ForEach(func(_, _ gjson.Result) bool { m++; return true })
		if m != n {
			c.fail("/data/"+name, "equalLength", "has %d entries, dt_ms has %d; every list of a pass log has one entry a fix", m, n)
			return
		}
	}
}

// catchForm: a catch test is by distance, or by time and speed.
func (c *checker) catchForm(data string) {
	has := func(name string) bool { return gjson.Get(data, name).Exists() }
	if !has("distance_m") && !(has("time_s") && has("speed_kmh")) {
		c.fail("/data", "anyOf", "a catch test needs distance_m, or time_s and speed_kmh")
	}
}

// amendment: what replaces must say with what.
func (c *checker) amendment(data string) {
	if gjson.Get(data, "action").Str == AmendReplace && !gjson.Get(data, "replacement").Exists() {
		c.fail("/data/replacement", "required", "is missing: action replace needs the data that should have stood there")
	}
}

// invoiceSpan: an invoice is for a job, or for a customer and a period.
func (c *checker) invoiceSpan(data string) {
	has := func(name string) bool { return gjson.Get(data, name).Exists() }
	if !has("job") && !(has("customer") && has("from") && has("to")) {
		c.fail("/data", "anyOf", "an invoice needs job, or customer, from and to")
	}
}
