package schemas

import (
	"encoding/json"
	"fmt"
	"math"

	"github.com/tidwall/gjson"
)

// NumberOrList is one number for a whole pass log, or one a fix. The zero
// value is "not given".
type NumberOrList struct {
	One  *float64
	Each []float64
}

// MarshalJSON writes the number, the list, or null when there is neither.
func (n NumberOrList) MarshalJSON() ([]byte, error) {
	if n.One != nil {
		return json.Marshal(*n.One)
	}
	return json.Marshal(n.Each)
}

// IsZero lets encoding/json leave the field out (omitzero).
func (n NumberOrList) IsZero() bool { return n.One == nil && n.Each == nil }

// UnmarshalJSON reads a number or a list of numbers.
func (n *NumberOrList) UnmarshalJSON(raw []byte) error {
	*n = NumberOrList{}
	if gjson.ParseBytes(raw).IsArray() {
		return json.Unmarshal(raw, &n.Each)
	}
	return json.Unmarshal(raw, &n.One)
}

// Integers are whole numbers in a JSON list. JSON does not tell 5 from 5.0
// and some programs write the second; both are read. Exact up to 2^53.
type Integers []int64

// UnmarshalJSON reads a list of whole numbers.
func (n *Integers) UnmarshalJSON(raw []byte) error {
	var read []float64
	if err := json.Unmarshal(raw, &read); err != nil {
		return err
	}
	*n = nil
	if read != nil {
		*n = make(Integers, len(read))
	}
	for i, v := range read {
		if v != math.Trunc(v) {
			return fmt.Errorf("entry %d must be a whole number, is %v", i, v)
		}
		(*n)[i] = int64(v)
	}
	return nil
}
