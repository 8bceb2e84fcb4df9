package book

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	duckdb "github.com/duckdb/duckdb-go/v2"
	"hopperbook/ingest"
	"hopperbook/schemas"
)

// digest is the first 16 bytes of SHA-256 of an event's bytes: enough to tell
// two texts of one identity apart, even where someone tries to make them
// collide (2^64 tries).
type digest = duckdb.UUID

func digestOf(raw []byte) digest {
	sum := sha256.Sum256(raw)
	return digest(sum[:len(digest{})])
}

// ledger is what the writer knows of the book without asking it.
type ledger struct {
	head    int64
	sources map[schemas.Source]*sourceMark
}

// one is an identity with one of the texts that came under it.
type one struct {
	schemas.Identity
	digest digest
}

// plan is what a batch will change; made before anything is written.
type plan struct {
	known      *ledger
	marks      map[schemas.Source]*sourceMark // touched sources, with the batch applied
	newSources []schemas.Source               // in order of their numbers
	store      []stored
	quarantine []stored
	reject     []rejected
	repaired   []stored // of store, those a reject had stood for
	receipt    ingest.Receipt
}

type stored struct {
	*ingest.Received
	sourceNo int64
	digest   digest
}

type rejected struct {
	*ingest.Reject
	digest   digest
	repaired bool
}

func (p *plan) changes() bool {
	return len(p.store)+len(p.quarantine)+len(p.reject) > 0
}

// makePlan sorts the batch against the ledger and, for identities the marks
// hold, against what is stored.
func makePlan(ctx context.Context, conn *sql.Conn, known *ledger, batch ingest.Batch) (*plan, error) {
	p := &plan{known: known, marks: map[schemas.Source]*sourceMark{}}
	texts, err := p.storedTexts(ctx, conn, batch)
	if err != nil {
		return nil, err
	}
	if err := p.planEvents(ctx, conn, batch.Events, texts); err != nil {
		return nil, err
	}
	if err := p.planRejects(ctx, conn, batch.Rejects, texts); err != nil {
		return nil, err
	}
	p.receipt.Marks = make([]schemas.Mark, 0, len(p.marks))
	for source, mark := range p.marks {
		p.receipt.Marks = append(p.receipt.Marks, mark.public(source))
	}
	slices.SortFunc(p.receipt.Marks, func(a, b schemas.Mark) int { return strings.Compare(string(a.Source), string(b.Source)) })
	return p, nil
}

// mark is the touched source's mark, copied at the first touch; a source
// never seen gets the next number.
func (p *plan) mark(source schemas.Source) *sourceMark {
	if m, ok := p.marks[source]; ok {
		return m
	}
	var m *sourceMark
	if old, ok := p.known.sources[source]; ok {
		m = old.clone()
	} else {
		m = &sourceMark{no: int64(len(p.known.sources) + len(p.newSources) + 1)}
		p.newSources = append(p.newSources, source)
	}
	p.marks[source] = m
	return m
}

func (p *plan) planEvents(ctx context.Context, conn *sql.Conn, events []ingest.Received, texts map[schemas.Identity]digest) error {
	var contradicting []stored
	for i := range events {
		e := &events[i]
		mark := p.mark(e.Source)
		s := stored{e, mark.no, digestOf(e.Raw)}
		text, have := texts[e.Identity]
		switch {
		case have && text == s.digest:
			p.receipt.Duplicate++
		case have:
			contradicting = append(contradicting, s)
		default:
			texts[e.Identity] = s.digest
			p.store = append(p.store, s)
			if mark.holds(e.Sequence) {
				p.repaired = append(p.repaired, s)
			} else {
				mark.add(e.Sequence)
			}
		}
	}
	p.receipt.Stored = len(p.store)
	return p.planQuarantine(ctx, conn, contradicting)
}

// planQuarantine keeps each contradicting text once.
func (p *plan) planQuarantine(ctx context.Context, conn *sql.Conn, contradicting []stored) error {
	digests := make([]digest, len(contradicting))
	for i := range contradicting {
		digests[i] = contradicting[i].digest
	}
	seen, err := keptTexts(ctx, conn, selectQuarantined, digests)
	if err != nil {
		return err
	}
	for _, s := range contradicting {
		key := one{s.Identity, s.digest}
		if seen[key] {
			p.receipt.Duplicate++
			continue
		}
		seen[key] = true
		p.quarantine = append(p.quarantine, s)
	}
	p.receipt.Quarantined = len(p.quarantine)
	return nil
}

// planRejects keeps each text once per identity, and counts its identity as
// held, so that its sender stops sending it.
func (p *plan) planRejects(ctx context.Context, conn *sql.Conn, rejects []ingest.Reject, texts map[schemas.Identity]digest) error {
	digests := make([]digest, len(rejects))
	for i := range rejects {
		digests[i] = digestOf(rejects[i].Raw)
	}
	seen, err := keptTexts(ctx, conn, selectRejected, digests)
	if err != nil {
		return err
	}
	for i := range rejects {
		r := &rejects[i]
		key := one{r.Identity, digests[i]}
		if r.Identity.Source != "" && r.Identity.Sequence > 0 {
			if mark := p.mark(r.Identity.Source); !mark.holds(r.Identity.Sequence) {
				mark.add(r.Identity.Sequence)
			}
		}
		if seen[key] {
			p.receipt.Duplicate++
			continue
		}
		seen[key] = true
		_, repaired := texts[r.Identity]
		p.reject = append(p.reject, rejected{r, digests[i], repaired})
	}
	p.receipt.Rejected = len(p.reject)
	return nil
}

const (
	selectDigests = `
SELECT sequence, digest FROM event
WHERE source_no = ? AND sequence BETWEEN ? AND ? AND sequence IN (SELECT unnest(?::BIGINT[]))
ORDER BY sequence`
	selectQuarantined = `
SELECT source, sequence, digest FROM quarantine JOIN source USING (source_no)
WHERE digest IN (SELECT unnest(?::VARCHAR[])::UUID)
ORDER BY source, sequence, digest`
	selectRejected = `
SELECT source, sequence, digest FROM reject
WHERE digest IN (SELECT unnest(?::VARCHAR[])::UUID)
ORDER BY source, sequence, digest`
)

// storedTexts looks up what is stored under those identities of the batch
// that the marks hold; one query a source, none when all is new.
func (p *plan) storedTexts(ctx context.Context, conn *sql.Conn, batch ingest.Batch) (map[schemas.Identity]digest, error) {
	held := map[schemas.Source][]int64{}
	collect := func(id schemas.Identity) {
		if m, ok := p.known.sources[id.Source]; ok && m.holds(id.Sequence) {
			held[id.Source] = append(held[id.Source], id.Sequence)
		}
	}
	for i := range batch.Events {
		collect(batch.Events[i].Identity)
	}
	for i := range batch.Rejects {
		collect(batch.Rejects[i].Identity)
	}
	texts := make(map[schemas.Identity]digest, len(batch.Events))
	for source, sequences := range held {
		err := eachRow(ctx, conn, func(scan scanner) error {
			id := schemas.Identity{Source: source}
			var d digest
			err := scan(&id.Sequence, &d)
			texts[id] = d
			return err
		}, selectDigests, p.known.sources[source].no, slices.Min(sequences), slices.Max(sequences), sequences)
		if err != nil {
			return nil, fmt.Errorf("look up stored events: %w", err)
		}
	}
	return texts, nil
}

// keptTexts runs selectQuarantined or selectRejected.
func keptTexts(ctx context.Context, conn *sql.Conn, query string, digests []digest) (map[one]bool, error) {
	seen := map[one]bool{}
	if len(digests) == 0 {
		return seen, nil
	}
	text := make([]string, len(digests))
	for i := range digests {
		text[i] = digests[i].String()
	}
	err := eachRow(ctx, conn, func(scan scanner) error {
		var k one
		err := scan(&k.Source, &k.Sequence, &k.digest)
		seen[k] = true
		return err
	}, query, text)
	if err != nil {
		return nil, fmt.Errorf("look up kept texts: %w", err)
	}
	return seen, nil
}

type scanner func(dest ...any) error

type queryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// eachRow runs a query and hands each row's scanner to fn.
func eachRow(ctx context.Context, db queryer, fn func(scan scanner) error, query string, args ...any) error {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := fn(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}
