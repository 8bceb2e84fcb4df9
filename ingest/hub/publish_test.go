package hub

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func TestWhatIsPublishedIsInTheBook(t *testing.T) {
	store := newMemory()
	r := start(t, t.TempDir(), store)
	all := events(t, "sp1", 5000)
	publish(t, r, all)
	publish(t, r, all) // again: confirmed, and nothing changes
	r.mustEnd(t)
	if len(store.events) != len(all) || len(store.other) != 0 {
		t.Errorf("%d events, %d contradicting", len(store.events), len(store.other))
	}
	for _, o := range all {
		if store.events[o.Identity] != string(o.Raw) {
			t.Fatalf("%s came as %q", o.Identity, store.events[o.Identity])
		}
	}
}

// The server's duplicate window must not swallow other bytes under the same
// identity: they have to reach the quarantine.
func TestContradictingBytesReachTheBook(t *testing.T) {
	store := newMemory()
	r := start(t, t.TempDir(), store)
	publish(t, r, []ingest.Outgoing{event(t, "sp1", 1, 4000), event(t, "sp1", 1, 4001)})
	publish(t, r, []ingest.Outgoing{event(t, "sp1", 2, 4000)})
	r.mustEnd(t)
	if len(store.other) != 1 {
		t.Errorf("%d contradicting, want 1", len(store.other))
	}
}

// Confirmed means that these bytes were dealt with, also where their identity
// was in the book before: while the commit of a contradiction hangs, it is not
// confirmed.
func TestConfirmedMeansTheseBytes(t *testing.T) {
	store := newMemory()
	r := start(t, t.TempDir(), store)
	publish(t, r, []ingest.Outgoing{event(t, "sp1", 1, 4000)})
	gate := make(chan struct{})
	store.hang(gate)
	other := []ingest.Outgoing{event(t, "sp1", 1, 4001)}
	_, err := r.client.Publish(context.Background(), ingest.Each(other), 200*time.Millisecond, nil)
	if fault.CodeOf(err) != fault.Unavailable {
		t.Errorf("confirmed while its commit hangs: %v", err)
	}
	close(gate)
	publish(t, r, other)
	r.mustEnd(t)
	if len(store.other) != 1 {
		t.Errorf("%d contradicting, want 1", len(store.other))
	}
}

func TestA20MBMessageEndsInTheRejects(t *testing.T) {
	store := newMemory()
	r := start(t, t.TempDir(), store)
	big := event(t, "sp1", 1, 4000)
	big.Raw = []byte(strings.Replace(string(big.Raw), `"lime"`, `"`+strings.Repeat("x", 20<<20)+`"`, 1))
	publish(t, r, []ingest.Outgoing{big})
	r.mustEnd(t)
	if len(store.rejects) != 1 || !bytes.Equal(store.rejects[0].Raw, big.Raw) || store.rejects[0].Reason.Rule != "size" {
		t.Errorf("%d rejects", len(store.rejects))
	}
	if store.rejects[0].Identity != big.Identity {
		t.Errorf("the reject of %s is known as %s", big.Identity, store.rejects[0].Identity)
	}
}

// A device that publishes in another's name is refused and moves no mark.
func TestADeviceSpeaksForItselfOnly(t *testing.T) {
	store := newMemory()
	r := start(t, t.TempDir(), store)
	forged := event(t, "sp2", 1, 4000)
	msg := r.client.message(&forged)
	msg.Subject = schemas.EventSubject("tussock", "sp1", forged.Type)
	if _, err := r.client.js.PublishMsg(context.Background(), msg); err != nil {
		t.Fatal(err)
	}
	publish(t, r, events(t, "sp1", 3)) // behind it in the stream
	r.mustEnd(t)
	if len(store.rejects) != 1 || store.rejects[0].Reason.Rule != "subject" || store.rejects[0].Identity != (schemas.Identity{}) {
		t.Errorf("rejects %+v", store.rejects)
	}
}

// Killed between commit and ack: the stream gives the messages again and the
// book finds duplicates.
func TestEndBetweenCommitAndAck(t *testing.T) {
	dir, store := t.TempDir(), newMemory()
	h, err := Start(Config{Dir: dir, Listen: "127.0.0.1:0", Contractor: "tussock"})
	if err != nil {
		t.Fatal(err)
	}
	client, err := h.Dial("test")
	if err != nil {
		t.Fatal(err)
	}
	all := events(t, "sp1", 200)
	for _, o := range all {
		if _, err := client.js.PublishMsg(context.Background(), client.message(&o)); err != nil {
			t.Fatal(err)
		}
	}
	in, err := h.Intake(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for got := 0; got < len(all); { // committed, never acknowledged
		batch, err := in.Fetch(context.Background(), 500)
		if err != nil {
			t.Fatal(err)
		}
		got += len(batch)
		if _, err := store.Commit(context.Background(), ingest.Check(batch)); err != nil {
			t.Fatal(err)
		}
	}
	in.Close()
	client.Close()
	h.Close()

	r := start(t, dir, store)
	publish(t, r, append(all, event(t, "sp1", 201, 4000)))
	r.mustEnd(t)
	if len(store.events) != 201 || len(store.other) != 0 {
		t.Errorf("%d events, %d contradicting; want 201, 0", len(store.events), len(store.other))
	}
}

func TestAFullDiskIsWaitedOut(t *testing.T) {
	store := newMemory()
	store.fail = fault.Newf("commit", fault.Full, "no space left on device", "make room")
	r := start(t, t.TempDir(), store)
	publish(t, r, events(t, "sp1", 10))
}

func TestPublishGivesUpWithWords(t *testing.T) {
	owner, err := Start(Config{Dir: t.TempDir(), Listen: "127.0.0.1:0", Contractor: "tussock"}) // nobody writes
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close()
	client, err := Dial(owner.URL(), "tussock", "test", owner.access)
	if err != nil {
		t.Fatal(err)
	}
	defer client.Close()
	_, err = client.Publish(context.Background(), ingest.Each(events(t, "sp1", 3)), 50*time.Millisecond, nil)
	if fault.CodeOf(err) != fault.Unavailable || !strings.Contains(err.Error(), "3 of 3 events") || fault.HintOf(err) == "" {
		t.Errorf("err = %v", err)
	}
}
