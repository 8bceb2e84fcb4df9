package book

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/storetest"
	"hopperbook/schemas"
)

// Every event type has its table, every field its column, nothing more.
func TestTablesFollowTheContract(t *testing.T) {
	b := openBook(t, t.TempDir())
	for _, info := range schemas.Types() {
		if info.Type == schemas.TypePassLogged {
			continue
		}
		want := []string{"source_no BIGINT NO", "sequence BIGINT NO", "time TIMESTAMP_NS NO"}
		for _, f := range info.Data.Fields {
			null := "YES"
			if f.Required {
				null = "NO"
			}
			want = append(want, fmt.Sprintf("%s %s %s", f.Name, columnType(f), null))
		}
		if got := columnsOf(t, b, info.TableName()); !slices.Equal(got, want) {
			t.Errorf("table %s; a changed contract needs a migration:\n got %v\nwant %v", info.TableName(), got, want)
		}
	}
}

func columnsOf(t *testing.T, b *Book, table string) []string {
	t.Helper()
	var columns []string
	err := eachRow(context.Background(), b.db, func(scan scanner) error {
		var name, typ, null string
		err := scan(&name, &typ, &null)
		columns = append(columns, name+" "+typ+" "+null)
		return err
	}, `SELECT column_name, data_type, is_nullable FROM information_schema.columns
		WHERE table_catalog = 'book' AND table_name = ? ORDER BY ordinal_position`, table)
	if err != nil {
		t.Fatal(err)
	}
	return columns
}

// randomValue makes a value that keeps the rule.
func randomValue(r *rand.Rand, rule *schemas.Rule) any {
	if rule.Nullable && r.IntN(3) == 0 {
		return nil
	}
	switch rule.Kind {
	case schemas.KindString:
		return randomText(r, rule)
	case schemas.KindNumber, schemas.KindInteger:
		low, high := 0.0, 1000.0
		if rule.Min == rule.Min {
			low = rule.Min
		}
		if rule.Max == rule.Max {
			high = rule.Max
		}
		if v := low + r.Float64()*(high-low); rule.Kind == schemas.KindNumber {
			return v
		}
		return int64(low) + r.Int64N(1+int64(high-low))
	case schemas.KindBool:
		return r.IntN(2) == 0
	case schemas.KindList:
		list := []any{}
		for range rule.MinItems + r.IntN(3) {
			list = append(list, randomValue(r, rule.Elem))
		}
		return list
	case schemas.KindBoundary:
		return json.RawMessage(`{"type":"Polygon", "coordinates":[[[1,2],[3,4],[5,6],[1,2]]]}`)
	}
	return randomObject(r, rule)
}

func randomText(r *rand.Rand, rule *schemas.Rule) string {
	switch {
	case rule.Enum != nil:
		return rule.Enum[r.IntN(len(rule.Enum))]
	case rule.Format == "date-time":
		return time.Unix(r.Int64N(2e9), r.Int64N(1e9)).In(time.FixedZone("", 3600)).Format(time.RFC3339Nano)
	}
	switch rule.Format {
	case "id", "token":
		return fmt.Sprintf("x%d", r.IntN(100))
	case "ulid":
		return "01J00000000000000000000000"
	case "decimal", "unsigned":
		return "12.50"
	case "percent":
		return []string{"0", "12.5"}[r.IntN(2)]
	case "date":
		return time.Unix(r.Int64N(2e9), 0).UTC().Format(time.DateOnly)
	case "country":
		return "NZ"
	case "currency":
		return "EUR"
	case "sha256":
		return strings.Repeat("a0", 32)
	}
	return []string{"x", "ü '\"\\", "a\x00b", "🚜"}[r.IntN(4)]
}

func randomObject(r *rand.Rand, rule *schemas.Rule) map[string]any {
	object := map[string]any{}
	for i := range rule.Fields {
		if f := &rule.Fields[i]; f.Required || r.IntN(3) > 0 {
			object[f.Name] = randomValue(r, f)
		}
	}
	return object
}

// randomEvent makes an event of a type that keeps the whole contract; rules
// between fields are met by trying: an agreement's are met by one in some
// hundreds.
func randomEvent(t *testing.T, r *rand.Rand, info schemas.TypeInfo, seq int64) ingest.Received {
	t.Helper()
	if info.Type == schemas.TypePassLogged {
		return passEvent(t, r, storetest.A, seq)
	}
	var bad *schemas.Violation
	for range 20_000 {
		at := storetest.Epoch().Add(time.Duration(r.Int64N(1e15)))
		raw, err := schemas.Write(schemas.Identity{Source: storetest.A, Sequence: seq}, "01J00000000000000000000000", info.Type, at, randomObject(r, &info.Data))
		if err != nil {
			t.Fatal(err)
		}
		var e schemas.Event
		if e, bad = schemas.Read(raw); bad == nil {
			return ingest.Received{Event: e, At: at.AddDate(2*r.IntN(2), 0, 0)}
		}
	}
	t.Fatalf("no valid %s: %v", info.Type, bad)
	return ingest.Received{}
}

// everyType is a batch with some events of every type.
func everyType(t *testing.T, r *rand.Rand) ingest.Batch {
	var b ingest.Batch
	for _, info := range schemas.Types() {
		for range 4 {
			b.Events = append(b.Events, randomEvent(t, r, info, int64(len(b.Events)+1)))
		}
	}
	return b
}

// expectValue is what a column must hold for a JSON value, found by
// encoding/json instead of gjson.
func expectValue(t *testing.T, f schemas.Rule, data map[string]json.RawMessage) any {
	raw, ok := data[f.Name]
	if !ok {
		return nil
	}
	var v any
	if err := json.Unmarshal(raw, &v); err != nil {
		t.Fatal(err)
	}
	switch columnType(f) {
	case "TIMESTAMP_NS":
		at, err := time.Parse(time.RFC3339Nano, v.(string))
		if err != nil {
			t.Fatal(err)
		}
		return at.UTC()
	case "BIGINT":
		return int64(v.(float64))
	case "VARCHAR":
		if f.Kind != schemas.KindString {
			return string(raw)
		}
	}
	return v
}

func TestTypedRowsAgreeWithTheBytes(t *testing.T) {
	b := openBook(t, t.TempDir())
	batch := everyType(t, rand.New(rand.NewPCG(7, 7)))
	if _, err := b.Commit(context.Background(), batch); err != nil {
		t.Fatal(err)
	}
	for i := range batch.Events {
		e := &batch.Events[i]
		info, _ := schemas.Lookup(e.Type)
		if e.Type == schemas.TypePassLogged {
			continue
		}
		var data map[string]json.RawMessage
		if err := json.Unmarshal([]byte(e.Data), &data); err != nil {
			t.Fatal(err)
		}
		got := tableRows(t, b, "SELECT * FROM "+info.TableName()+fmt.Sprintf(" WHERE sequence = %d ORDER BY sequence", e.Sequence))
		want := []any{int64(1), e.Sequence, e.Time}
		for _, f := range info.Data.Fields {
			want = append(want, expectValue(t, f, data))
		}
		if len(got) != 1 || !reflect.DeepEqual(got[0], want) {
			t.Errorf("%s:\n got %v\nwant %v", e.Type, got, want)
		}
	}
}

func tableRows(t *testing.T, b *Book, query string) [][]any {
	t.Helper()
	rows, err := b.db.Query(query)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		t.Fatal(err)
	}
	var all [][]any
	for rows.Next() {
		row, dest := make([]any, len(names)), make([]any, len(names))
		for i := range row {
			dest[i] = &row[i]
		}
		if err := rows.Scan(dest...); err != nil {
			t.Fatal(err)
		}
		for i := range row {
			if at, ok := row[i].(time.Time); ok {
				row[i] = at.UTC()
			}
		}
		all = append(all, row)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}

// Rebuild makes the same rows again, also over rows that were spoiled.
func TestRebuild(t *testing.T) {
	ctx := context.Background()
	b := openBook(t, t.TempDir())
	r := rand.New(rand.NewPCG(8, 8))
	if _, err := b.Commit(ctx, everyType(t, r)); err != nil {
		t.Fatal(err)
	}
	dump := func() map[string][][]any {
		all := map[string][][]any{}
		for _, info := range schemas.Types() {
			table := info.TableName()
			if info.Type == schemas.TypePassLogged {
				table = passTable
			}
			all[table] = tableRows(t, b, "SELECT * FROM "+table+" ORDER BY ALL")
		}
		all["clock_flag"] = tableRows(t, b, "SELECT * FROM clock_flag ORDER BY ALL")
		return all
	}
	before := dump()
	if len(before["clock_flag"]) == 0 || len(before[passTable]) != 4 {
		t.Fatalf("the batch should flag clocks (%d) and log passes (%d)", len(before["clock_flag"]), len(before[passTable]))
	}
	if err := b.SaveResult(ctx, "fields", 1, []byte("x")); err != nil {
		t.Fatal(err)
	}
	for _, spoil := range []string{"DELETE FROM pass_log WHERE sequence % 2 = 0", "UPDATE load_weighed SET net_kg = 0", "DELETE FROM clock_flag"} {
		if _, err := b.db.Exec(spoil); err != nil {
			t.Fatal(err)
		}
	}
	if reflect.DeepEqual(dump(), before) {
		t.Fatal("spoiling changed nothing")
	}
	if err := b.Rebuild(ctx); err != nil {
		t.Fatal(err)
	}
	if after := dump(); !reflect.DeepEqual(after, before) {
		t.Errorf("rebuilt rows differ:\n got %v\nwant %v", after, before)
	}
	if _, _, ok, err := b.Result(ctx, "fields"); ok || err != nil {
		t.Errorf("a result outlived the rebuild (%v)", err)
	}
	if got := mustMarks(t, b); len(got) != 1 || got[0].UpTo != int64(4*len(schemas.Types())) {
		t.Errorf("marks after the rebuild: %v", got)
	}
}

func mustMarks(t *testing.T, b *Book) []schemas.Mark {
	t.Helper()
	marks, err := b.Marks(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return marks
}
