package desk

import (
	"context"

	"hopperbook/ingest/book"
	"hopperbook/schemas"
)

// asOf is an earlier state of the book: the events that its marks hold. nil:
// all there are.
type asOf map[schemas.Source]schemas.Mark

// asOfMarks reads the marks of a document; none are nil.
func asOfMarks(texts []string) (asOf, error) {
	if len(texts) == 0 {
		return nil, nil
	}
	marks, err := parsedMarks(texts)
	if err != nil {
		return nil, err
	}
	a := asOf{}
	for _, m := range marks {
		a[m.Source] = m
	}
	return a, nil
}

func parsedMarks(texts []string) (_ []schemas.Mark, err error) {
	marks := make([]schemas.Mark, len(texts))
	for i, text := range texts {
		if marks[i], err = schemas.ParseMark(text); err != nil {
			return nil, err
		}
	}
	return marks, nil
}

func (a asOf) holds(id schemas.Identity) bool { return a == nil || a[id.Source].Holds(id.Sequence) }

// Larger marks, of a book with thousands of holes, are not carried: its
// documents are drawn from the book as it is.
const (
	mostMarks   = 10_000
	longestMark = 20_000
)

// marksOf are those of a state, as documents carry them.
func marksOf(ctx context.Context, v *book.View) (texts []string, err error) {
	marks, err := v.Marks(ctx)
	for _, m := range marks {
		text := m.String()
		if len(text) > longestMark || len(marks) > mostMarks {
			return nil, err
		}
		texts = append(texts, text)
	}
	return texts, err
}

// ledgerAt is the ledger as the book was when it held no more than those marks;
// it knows no documents.
func (d *Desk) ledgerAt(ctx context.Context, l *ledger, only asOf) (*ledger, error) {
	past := &ledger{}
	err := d.book.Read(ctx, func(v *book.View) (err error) {
		past.worked, past.ended = l.worked, l.ended
		if !l.within(only) {
			past.ended = false
			if past.worked, err = readWork(ctx, v, only); err != nil {
				return err
			}
		}
		past.registry, err = readRegistry(ctx, v, only)
		return err
	})
	return past, err
}

// seasonLedger is the ledger with every fix, as the book was when it held no
// more than those marks; none: as it is.
func (d *Desk) seasonLedger(ctx context.Context, marks []string) (*ledger, error) {
	only, err := asOfMarks(marks)
	if err != nil {
		return nil, err
	}
	l, err := d.readLedger(ctx, true)
	if err != nil || only == nil {
		return l, err
	}
	past, err := d.ledgerAt(ctx, l, only)
	if err == nil {
		past.marks = marks
	}
	return past, err
}

// gapsAt is what a state of the book is known to lack; without marks, of the
// book as it is.
func (d *Desk) gapsAt(ctx context.Context, marks []string) ([]book.Gap, error) {
	if len(marks) == 0 {
		return d.book.Gaps(ctx)
	}
	all, err := parsedMarks(marks)
	return book.GapsOf(all), err
}

// within reports whether the work comes from no other events.
func (w *worked) within(only asOf) bool {
	for _, lines := range w.lines {
		for _, line := range lines {
			if !only.holds(line.identity) {
				return false
			}
		}
	}
	return true
}
