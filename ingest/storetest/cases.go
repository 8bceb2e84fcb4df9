package storetest

import (
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/schemas"
)

func mark(s schemas.Source, upTo int64, above ...[2]int64) schemas.Mark {
	return schemas.Mark{Source: s, UpTo: upTo, Above: above}
}

func cases() []suiteCase {
	return []suiteCase{
		{"nothing", caseNothing},
		{"the same again is a duplicate", caseDuplicate},
		{"duplicates inside a batch", caseInsideBatch},
		{"gaps close and ranges merge", caseRanges},
		{"a contradiction is kept once, the first counts", caseContradiction},
		{"a reject is kept and its sequence counts as held", caseReject},
		{"a reject without identity", caseNobody},
		{"a repaired reject becomes an event", caseRepair},
		{"an event beside its reject in one batch", caseRepairInBatch},
		{"a reject after the event it contradicts", caseRejectAfter},
		{"odd clocks are flagged, not moved", caseClock},
		{"bytes come back as they came", caseBytes},
	}
}

func caseNothing(t *testing.T, s Store) {
	expect(t, commit(t, s, ingest.Batch{}), 0, 0, 0, 0)
	if h := head(t, s); h != 0 {
		t.Errorf("head %d after an empty batch", h)
	}
	if n := len(export(t, s)) + len(kept(t, s)); n != 0 {
		t.Errorf("an empty store holds %d things", n)
	}
}

func caseDuplicate(t *testing.T, s Store) {
	b := events(Event(A, 1, "x"), Event(A, 2, "x"), Event(B, 1, "x"))
	expect(t, commit(t, s, b), 3, 0, 0, 0, mark(B, 1), mark(A, 2))
	before := head(t, s)
	expect(t, commit(t, s, b), 0, 3, 0, 0, mark(B, 1), mark(A, 2))
	if h := head(t, s); before != 1 || h != before {
		t.Errorf("head %d then %d, want 1 and 1", before, h)
	}
	if n := len(export(t, s)); n != 3 {
		t.Errorf("%d events stored, want 3", n)
	}
}

func caseInsideBatch(t *testing.T, s Store) {
	e, other := Event(A, 1, "x"), Event(A, 1, "y")
	expect(t, commit(t, s, events(e, e, other, other, e)), 1, 3, 1, 0, mark(A, 1))
	bad := Reject(A, 2, "{")
	expect(t, commit(t, s, rejects(bad, bad)), 0, 1, 0, 1, mark(A, 2))
}

func caseRanges(t *testing.T, s Store) {
	expect(t, commit(t, s, events(Event(A, 5, ""), Event(A, 3, ""))), 2, 0, 0, 0, mark(A, 0, [2]int64{3, 3}, [2]int64{5, 5}))
	expect(t, commit(t, s, events(Event(A, 9, ""), Event(A, 4, ""))), 2, 0, 0, 0, mark(A, 0, [2]int64{3, 5}, [2]int64{9, 9}))
	expect(t, commit(t, s, events(Event(A, 1, ""))), 1, 0, 0, 0, mark(A, 1, [2]int64{3, 5}, [2]int64{9, 9}))
	expect(t, commit(t, s, events(Event(A, 8, ""), Event(A, 6, ""))), 2, 0, 0, 0, mark(A, 1, [2]int64{3, 6}, [2]int64{8, 9}))
	expect(t, commit(t, s, events(Event(A, 2, ""))), 1, 0, 0, 0, mark(A, 6, [2]int64{8, 9}))
	expect(t, commit(t, s, events(Event(A, 4, ""), Event(A, 8, ""))), 0, 2, 0, 0, mark(A, 6, [2]int64{8, 9}))
	expect(t, commit(t, s, events(Event(A, 7, ""))), 1, 0, 0, 0, mark(A, 9))
}

func caseContradiction(t *testing.T, s Store) {
	first, second := Event(A, 1, "first"), Event(A, 1, "second")
	commit(t, s, events(first))
	expect(t, commit(t, s, events(second)), 0, 0, 1, 0, mark(A, 1))
	expect(t, commit(t, s, events(second, first)), 0, 2, 0, 0, mark(A, 1))
	same(t, "export", export(t, s), []string{string(first.Raw)})
	same(t, "kept", kept(t, s), []Kept{{"contradicting", first.Identity, false, string(second.Raw)}})
	if h := head(t, s); h != 2 {
		t.Errorf("head %d, want 2", h)
	}
}

func caseReject(t *testing.T, s Store) {
	commit(t, s, events(Event(A, 1, "")))
	expect(t, commit(t, s, rejects(Reject(A, 2, "{a"))), 0, 0, 0, 1, mark(A, 2))
	expect(t, commit(t, s, rejects(Reject(A, 2, "{a"), Reject(A, 4, "{a"))), 0, 1, 0, 1, mark(A, 2, [2]int64{4, 4}))
	expect(t, commit(t, s, events(Event(A, 3, ""))), 1, 0, 0, 0, mark(A, 4))
	same(t, "kept", kept(t, s), []Kept{
		{"rejected", schemas.Identity{Source: A, Sequence: 2}, false, "{a"},
		{"rejected", schemas.Identity{Source: A, Sequence: 4}, false, "{a"}})
}

func caseNobody(t *testing.T, s Store) {
	raw := "\x00\xff not JSON, not text"
	expect(t, commit(t, s, rejects(Reject("", 0, raw))), 0, 0, 0, 1)
	expect(t, commit(t, s, rejects(Reject("", 0, raw))), 0, 1, 0, 0)
	same(t, "kept", kept(t, s), []Kept{{Kind: "rejected", Raw: raw}})
}

func caseRepair(t *testing.T, s Store) {
	commit(t, s, rejects(Reject(A, 1, "{a"), Reject(A, 1, "{b"), Reject(A, 2, "{a")))
	good := Event(A, 1, "repaired")
	expect(t, commit(t, s, events(good)), 1, 0, 0, 0, mark(A, 2))
	expect(t, commit(t, s, events(good)), 0, 1, 0, 0, mark(A, 2))
	expect(t, commit(t, s, events(Event(A, 1, "repaired otherwise"))), 0, 0, 1, 0, mark(A, 2))
	same(t, "export", export(t, s), []string{string(good.Raw)})
	same(t, "kept", kept(t, s)[1:], []Kept{
		{"rejected", schemas.Identity{Source: A, Sequence: 1}, true, "{a"},
		{"rejected", schemas.Identity{Source: A, Sequence: 1}, true, "{b"},
		{"rejected", schemas.Identity{Source: A, Sequence: 2}, false, "{a"}})
}

func caseRepairInBatch(t *testing.T, s Store) {
	b := ingest.Batch{Events: []ingest.Received{Event(A, 1, "")}, Rejects: []ingest.Reject{Reject(A, 1, "{")}}
	expect(t, commit(t, s, b), 1, 0, 0, 1, mark(A, 1))
	same(t, "kept", kept(t, s), []Kept{{"rejected", schemas.Identity{Source: A, Sequence: 1}, true, "{"}})
}

func caseRejectAfter(t *testing.T, s Store) {
	commit(t, s, events(Event(A, 1, "")))
	expect(t, commit(t, s, rejects(Reject(A, 1, "{"))), 0, 0, 0, 1, mark(A, 1))
	same(t, "kept", kept(t, s), []Kept{{"rejected", schemas.Identity{Source: A, Sequence: 1}, true, "{"}})
}

func caseClock(t *testing.T, s Store) {
	now, day := Epoch(), 24*time.Hour
	ok := []time.Time{now, now.Add(day), now.Add(-400 * day)}
	odd := []time.Time{now.Add(day + time.Second), now.Add(-400*day - time.Second), now.AddDate(-10, 0, 0), now.AddDate(170, 0, 0)}
	var b ingest.Batch
	for i, at := range append(ok, odd...) {
		b.Events = append(b.Events, EventAt(A, int64(i+1), "", at, now))
	}
	expect(t, commit(t, s, b), 7, 0, 0, 0, mark(A, 7))
	all := kept(t, s)
	if len(all) != len(odd) {
		t.Fatalf("%d flags, want %d", len(all), len(odd))
	}
	for i, k := range all {
		if k.Kind != "clock" || k.Identity.Sequence != int64(len(ok)+i+1) {
			t.Errorf("flag %d: %v", i, k)
		}
	}
	if lines := export(t, s); lines[0] != string(b.Events[5].Raw) || lines[6] != string(b.Events[6].Raw) {
		t.Error("a flagged event does not stand where its own time puts it")
	}
}

// caseBytes: what JSON allows and a rewriter would lose.
func caseBytes(t *testing.T, s Store) {
	raw := "{ \"specversion\":\"1.0\",\t\"id\":\"01J00000000000000000000001\",\"source\":\"" + string(A) + "\"," +
		"\"sequence\":\"1\",\"type\":\"job.started\",\"time\":\"2026-03-01T09:30:00.123456789+01:00\",\"dataschema\":\"job.started/1\"," +
		"\"data\":{\"job\":\"j\\u0031\",\"operator\":\"\\u0000 \\ud83d\\ude9c ü\",\"extra\":[1e2,1.00]},\"extra\":null }"
	e, bad := schemas.Read([]byte(raw))
	if bad != nil {
		t.Fatal(bad)
	}
	expect(t, commit(t, s, events(ingest.Received{Event: e, At: Epoch()})), 1, 0, 0, 0, mark(A, 1))
	same(t, "export", export(t, s), []string{raw})
}
