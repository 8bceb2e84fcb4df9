package book

import (
	"database/sql/driver"
	"fmt"
	"math"
	"time"

	"github.com/tidwall/gjson"
	"hopperbook/schemas"
)

// passTable is where pass.logged goes; every other type has the table of its
// name.
const passTable = "pass_log"

// typedTable fills the table of one event type from the type's own rule.
type typedTable struct {
	name  string
	rule  schemas.Rule
	index map[string]int // field -> its place in rule.Fields
}

// fixedColumns stand before the fields: source_no, sequence, time.
const fixedColumns = 3

// typedTables makes one for every type but pass.logged.
func typedTables() map[schemas.EventType]*typedTable {
	tables := map[schemas.EventType]*typedTable{}
	for _, info := range schemas.Types() {
		if info.Type == schemas.TypePassLogged {
			continue
		}
		t := &typedTable{name: info.TableName(), rule: info.Data, index: map[string]int{}}
		for i, field := range info.Data.Fields {
			t.index[field.Name] = i
		}
		tables[info.Type] = t
	}
	return tables
}

// columnType is the SQL type of a field.
func columnType(r schemas.Rule) string {
	switch r.Kind {
	case schemas.KindString:
		if r.Format == "date-time" {
			return "TIMESTAMP_NS"
		}
		return "VARCHAR"
	case schemas.KindNumber:
		return "DOUBLE"
	case schemas.KindInteger:
		return "BIGINT"
	case schemas.KindBool:
		return "BOOLEAN"
	case schemas.KindList:
		if scalar(r.Elem.Kind) {
			return columnType(*r.Elem) + "[]"
		}
	}
	return "VARCHAR" // JSON text
}

func scalar(k schemas.Kind) bool {
	switch k {
	case schemas.KindString, schemas.KindNumber, schemas.KindInteger, schemas.KindBool:
		return true
	}
	return false
}

// row is the event's row; a field the event does not have is NULL.
func (t *typedTable) row(sourceNo int64, e *schemas.Event) ([]driver.Value, error) {
	row := make([]driver.Value, fixedColumns+len(t.rule.Fields))
	row[0], row[1], row[2] = sourceNo, e.Sequence, e.Time
	var err error
	gjson.Parse(e.Data).ForEach(func(key, v gjson.Result) bool {
		i, known := t.index[key.String()]
		if !known {
			return true
		}
		row[fixedColumns+i], err = columnValue(&t.rule.Fields[i], v)
		return err == nil
	})
	return row, err
}

func columnValue(r *schemas.Rule, v gjson.Result) (driver.Value, error) {
	if r.Kind == schemas.KindList && scalar(r.Elem.Kind) {
		list := []any{}
		var err error
		v.ForEach(func(_, member gjson.Result) bool {
			var one driver.Value
			one, err = columnValue(r.Elem, member)
			list = append(list, one)
			return err == nil
		})
		return list, err
	}
	if r.Nullable && v.Type == gjson.Null {
		return nil, nil
	}
	switch r.Kind {
	case schemas.KindString:
		if r.Format == "date-time" {
			at, err := time.Parse(time.RFC3339Nano, v.Str)
			return at.UTC(), err
		}
		return v.Str, nil
	case schemas.KindNumber:
		return v.Num, nil
	case schemas.KindInteger:
		return int64(v.Num), nil
	case schemas.KindBool:
		return v.Bool(), nil
	}
	return v.Raw, nil
}

// passRow is the row of a pass log in pass_log.
func passRow(sourceNo int64, e *schemas.Event) ([]driver.Value, error) {
	fixes, header, err := schemas.PassFixes(e.Data, nil)
	if err != nil {
		return nil, err
	}
	if len(fixes) == 0 {
		return nil, fmt.Errorf("%s has no fixes", e.Identity)
	}
	packed, err := packFixes(nil, fixes)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", e.Identity, err)
	}
	south, north, west, east := bounds(fixes)
	return []driver.Value{sourceNo, e.Sequence, e.Time, string(e.ID), string(e.Machine()),
		textOrNull(string(header.Job)), textOrNull(string(header.Field)),
		time.UnixMilli(fixes[0].UnixMilli).UTC(), time.UnixMilli(fixes[len(fixes)-1].UnixMilli).UTC(),
		int64(len(fixes)), south, north, west, east, packed}, nil
}

func textOrNull(s string) driver.Value {
	if s == "" {
		return nil
	}
	return s
}

// bounds is the smallest latitude-longitude box around the fixes; a log over
// the antimeridian spans nearly the whole circle.
func bounds(fixes []schemas.Fix) (south, north, west, east float64) {
	south, north, west, east = math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for i := range fixes {
		south, north = math.Min(south, fixes[i].LatDeg), math.Max(north, fixes[i].LatDeg)
		west, east = math.Min(west, fixes[i].LonDeg), math.Max(east, fixes[i].LonDeg)
	}
	return south, north, west, east
}
