package book

import (
	"context"
	"testing"

	"hopperbook/ingest/storetest"
)

// suiteBook shows a Book to the conformance suite.
type suiteBook struct{ *Book }

func (s suiteBook) Kept(ctx context.Context) ([]storetest.Kept, error) {
	troubles, err := s.Troubles(ctx, true)
	kept := make([]storetest.Kept, len(troubles))
	for i, t := range troubles {
		kept[i] = storetest.Kept{Kind: string(t.Kind), Repaired: t.Repaired, Raw: string(t.Raw)}
		kept[i].Identity.Source, kept[i].Identity.Sequence = t.Source, t.Sequence
	}
	return kept, err
}

func openBook(t testing.TB, dir string) *Book {
	t.Helper()
	b, err := Open(context.Background(), dir, Options{})
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() { b.Close() }) // closing twice is harmless
	return b
}

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Store { return suiteBook{openBook(t, t.TempDir())} })
}
