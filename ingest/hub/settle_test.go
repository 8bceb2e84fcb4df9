package hub

import (
	"context"
	"testing"
	"time"

	"hopperbook/schemas/fault"
)

// Settled means that the book has dealt with what the stream holds, also after
// a restart with an empty stream.
func TestSettle(t *testing.T) {
	dir, ctx := t.TempDir(), context.Background()
	r := start(t, dir, newMemory())
	if err := r.client.Settle(ctx, time.Minute); err != nil {
		t.Error(err)
	}
	publish(t, r, events(t, "sp1", 10))
	if err := r.client.Settle(ctx, time.Minute); err != nil {
		t.Error(err)
	}
	r.mustEnd(t)
	store, gate := newMemory(), make(chan struct{})
	again := start(t, dir, store)
	if err := again.client.Settle(ctx, time.Minute); err != nil {
		t.Error(err)
	}
	store.hang(gate)
	e := event(t, "sp2", 1, 4000)
	if _, err := again.client.js.PublishMsg(ctx, again.client.message(&e)); err != nil {
		t.Fatal(err)
	}
	if err := again.client.Settle(ctx, 200*time.Millisecond); fault.CodeOf(err) != fault.Unavailable {
		t.Errorf("settled while the commit hangs: %v", err)
	}
	close(gate)
	if err := again.client.Settle(ctx, time.Minute); err != nil {
		t.Error(err)
	}
}
