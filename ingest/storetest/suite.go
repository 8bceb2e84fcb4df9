package storetest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/schemas"
)

// Store is a store with what the suite needs to look into it.
type Store interface {
	ingest.Store
	Marks(ctx context.Context) ([]schemas.Mark, error)
	Head(ctx context.Context) (int64, error)
	Export(ctx context.Context, fn func(raw []byte) error) error
	Kept(ctx context.Context) ([]Kept, error)
}

// Run holds a store against everything ingest.Store promises. open gives an
// empty store each time and frees it with t.Cleanup.
func Run(t *testing.T, open func(t *testing.T) Store) {
	for _, c := range cases() {
		t.Run(c.name, func(t *testing.T) { c.run(t, open(t)) })
	}
	t.Run("agrees with the oracle", func(t *testing.T) { oracle(t, open) })
	t.Run("order and repetition do not matter", func(t *testing.T) { orderFree(t, open) })
}

// Epoch is the day the suite's events happen on.
func Epoch() time.Time { return time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC) }

// Event makes a valid event: a job started, its operator being note. It
// happened seq minutes after Epoch and was received a minute later.
func Event(source schemas.Source, seq int64, note string) ingest.Received {
	at := Epoch().Add(time.Duration(seq) * time.Minute)
	return EventAt(source, seq, note, at, at.Add(time.Minute))
}

// EventAt is Event with its own times.
func EventAt(source schemas.Source, seq int64, note string, at, received time.Time) ingest.Received {
	id := schemas.EventID(fmt.Sprintf("01J%023d", seq))
	raw, err := schemas.Write(schemas.Identity{Source: source, Sequence: seq}, id, schemas.TypeJobStarted, at,
		schemas.JobStarted{Job: "j1", Operator: schemas.Operator(note)})
	if err != nil {
		panic(err)
	}
	e, bad := schemas.Read(raw)
	if bad != nil {
		panic(bad)
	}
	return ingest.Received{Event: e, At: received}
}

// Reject makes a message that broke the contract. seq 0: without an identity.
func Reject(source schemas.Source, seq int64, raw string) ingest.Reject {
	r := ingest.Reject{Raw: []byte(raw), Subject: "book.c.d.unknown", At: Epoch(),
		Reason: schemas.Violation{Pointer: "/data", Rule: "required", Detail: "is missing"}}
	if seq > 0 {
		r.Identity = schemas.Identity{Source: source, Sequence: seq}
	}
	return r
}

func events(es ...ingest.Received) ingest.Batch { return ingest.Batch{Events: es} }
func rejects(rs ...ingest.Reject) ingest.Batch  { return ingest.Batch{Rejects: rs} }

// A and B are two sources; File is a third kind.
const (
	A schemas.Source = "/devices/spreader-a/i1"
	B schemas.Source = "/devices/loader-b/i1"
)

type suiteCase struct {
	name string
	run  func(t *testing.T, s Store)
}

func commit(t *testing.T, s Store, b ingest.Batch) ingest.Receipt {
	t.Helper()
	r, err := s.Commit(context.Background(), b)
	if err != nil {
		t.Fatalf("Commit: %v", err)
	}
	return r
}

// expect compares a receipt's counts and marks.
func expect(t *testing.T, got ingest.Receipt, stored, duplicate, quarantined, rejected int, marks ...schemas.Mark) {
	t.Helper()
	want := ingest.Receipt{Stored: stored, Duplicate: duplicate, Quarantined: quarantined, Rejected: rejected, Marks: marks}
	if len(got.Marks) == 0 {
		got.Marks = nil
	}
	if !reflect.DeepEqual(tidy(got), tidy(want)) {
		t.Fatalf("receipt %+v, want %+v", got, want)
	}
}

// tidy makes empty and nil ranges the same.
func tidy(r ingest.Receipt) ingest.Receipt {
	r.Marks = tidyMarks(r.Marks)
	return r
}

func tidyMarks(marks []schemas.Mark) []schemas.Mark {
	out := make([]schemas.Mark, 0, len(marks))
	for _, m := range marks {
		if len(m.Above) == 0 {
			m.Above = nil
		}
		out = append(out, m)
	}
	return out
}

func export(t *testing.T, s Store) []string {
	t.Helper()
	var lines []string
	if err := s.Export(context.Background(), func(raw []byte) error {
		lines = append(lines, string(raw))
		return nil
	}); err != nil {
		t.Fatalf("Export: %v", err)
	}
	return lines
}

func kept(t *testing.T, s Store) []Kept {
	t.Helper()
	all, err := s.Kept(context.Background())
	if err != nil {
		t.Fatalf("Kept: %v", err)
	}
	key := func(k Kept) string { return fmt.Sprintf("%s %s %v %q", k.Kind, k.Identity, k.Repaired, k.Raw) }
	slices.SortFunc(all, func(a, b Kept) int { return strings.Compare(key(a), key(b)) })
	return all
}

func head(t *testing.T, s Store) int64 {
	t.Helper()
	h, err := s.Head(context.Background())
	if err != nil {
		t.Fatalf("Head: %v", err)
	}
	return h
}

func same(t *testing.T, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("%s:\n got %v\nwant %v", what, got, want)
	}
}

// oracle plays random batches into the store and into Fake.
func oracle(t *testing.T, open func(t *testing.T) Store) {
	for seed := range uint64(2) {
		r := rand.New(rand.NewPCG(seed, 17))
		s, f := open(t), &Fake{}
		for range 25 {
			b := randomBatch(r)
			got := commit(t, s, b)
			want, _ := f.Commit(context.Background(), b)
			same(t, fmt.Sprintf("seed %d receipt", seed), tidy(got), tidy(want))
			if n := got.Stored + got.Duplicate + got.Quarantined + got.Rejected; n != len(b.Events)+len(b.Rejects) {
				t.Fatalf("the receipt accounts for %d of %d messages", n, len(b.Events)+len(b.Rejects))
			}
			same(t, "head", head(t, s), head(t, f))
		}
		compare(t, s, f)
	}
}

func compare(t *testing.T, s, want Store) {
	t.Helper()
	same(t, "export", export(t, s), export(t, want))
	same(t, "kept", kept(t, s), kept(t, want))
	got, err := s.Marks(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	ref, _ := want.Marks(context.Background())
	same(t, "marks", tidyMarks(got), tidyMarks(ref))
}

// randomBatch draws from few identities, so that they meet again.
func randomBatch(r *rand.Rand) ingest.Batch {
	sources := []schemas.Source{A, B, "/office/pc", schemas.Source("/files/" + strings.Repeat("0f", 32))}
	var b ingest.Batch
	for range r.IntN(12) {
		source, seq := sources[r.IntN(len(sources))], 1+r.Int64N(40)
		note := "first"
		if r.IntN(8) == 0 {
			note = fmt.Sprint("other ", r.IntN(2))
		}
		switch r.IntN(7) {
		case 0:
			b.Rejects = append(b.Rejects, Reject(source, seq, fmt.Sprintf("{broken %d", r.IntN(3))))
		case 1:
			b.Rejects = append(b.Rejects, Reject("", 0, fmt.Sprintf("{nobody's %d", r.IntN(3))))
		case 2:
			at := Epoch().AddDate(r.IntN(3)-1, 0, 0).Add(time.Duration(seq) * time.Nanosecond)
			b.Events = append(b.Events, EventAt(source, seq, note, at, Epoch()))
		default:
			b.Events = append(b.Events, Event(source, seq, note))
		}
	}
	return b
}

// orderFree delivers one set of messages twice: in order, and shuffled,
// repeated and cut differently. Same bytes, same marks.
func orderFree(t *testing.T, open func(t *testing.T) Store) {
	r := rand.New(rand.NewPCG(5, 5))
	var all []ingest.Received
	for seq := range int64(60) {
		for _, source := range []schemas.Source{A, B} {
			if r.IntN(6) > 0 {
				all = append(all, Event(source, seq+1, "op"))
			}
		}
	}
	straight, crooked := open(t), open(t)
	commit(t, straight, events(all...))
	deliveries := append(slices.Clone(all), all[:len(all)/2]...)
	r.Shuffle(len(deliveries), func(i, j int) { deliveries[i], deliveries[j] = deliveries[j], deliveries[i] })
	for len(deliveries) > 0 {
		n := min(len(deliveries), 1+r.IntN(25))
		commit(t, crooked, events(deliveries[:n]...))
		deliveries = deliveries[n:]
	}
	compare(t, crooked, straight)
	if n := len(export(t, crooked)); n != len(all) {
		t.Fatalf("%d events stored, %d were sent", n, len(all))
	}
}
