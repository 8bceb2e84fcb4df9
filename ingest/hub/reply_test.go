package hub

import (
	"context"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"hopperbook/ingest"
	"hopperbook/schemas"
)

// The stream acknowledges an event to the reply subject that its publisher
// chose, with the server's rights. That must neither empty the stream nor put
// an event of another's into it.
func TestTheStreamsReplyGivesNoRights(t *testing.T) {
	g := guard(t, t.TempDir())
	c := g.enrol("sp-1")
	w := connected(t, c)
	for i := range 3 {
		e := event(t, "sp-1", int64(i+1), 4000)
		for _, reply := range []string{
			"$JS.API.STREAM.PURGE.BOOK-tussock", "$JS.API.STREAM.DELETE.BOOK-tussock", "$JS.API.CONSUMER.DELETE.BOOK-tussock.ingest",
			"$JS.API.STREAM.UPDATE.BOOK-tussock", "$JS.API.STREAM.MSG.DELETE.BOOK-tussock",
			"book.tussock.sp-2.load.weighed", "book.tussock._office.register.field",
		} {
			m := &nats.Msg{Subject: schemas.EventSubject("tussock", "sp-1", e.Type), Reply: reply, Data: e.Raw}
			if err := w.PublishMsg(m); err != nil {
				t.Fatal(err)
			}
		}
	}
	js, err := jetstream.New(w.Conn)
	if err != nil {
		t.Fatal(err)
	}
	e := event(t, "sp-1", 9, 4000)
	if _, err := js.Publish(context.Background(), schemas.EventSubject("tussock", "sp-1", e.Type), e.Raw); err != nil {
		t.Fatal(err)
	}
	office, err := jetstream.New(g.conn)
	if err != nil {
		t.Fatal(err)
	}
	stream, err := office.Stream(context.Background(), "BOOK-tussock")
	if err != nil {
		t.Fatal(err)
	}
	info, err := stream.Info(context.Background(), jetstream.WithSubjectFilter(">"))
	if err != nil {
		t.Fatal(err)
	}
	if n := info.State.Subjects["book.tussock.sp-1.load.weighed"]; n != 22 {
		t.Errorf("the stream holds %d of the 22 events", n)
	}
	// What came where others publish is the server's own acknowledgement,
	// which is no event: the book keeps it as a reject that speaks for nobody.
	for _, subject := range []string{"book.tussock.sp-2.load.weighed", "book.tussock._office.register.field"} {
		m, err := stream.GetLastMsgForSubject(context.Background(), subject)
		if err != nil {
			t.Fatal(err)
		}
		b := ingest.Check([]ingest.Delivery{{Data: m.Data, Subject: m.Subject, MsgID: m.Header.Get(schemas.HeaderMsgID)}})
		if len(b.Events) != 0 || len(b.Rejects) != 1 || b.Rejects[0].Identity != (schemas.Identity{}) {
			t.Errorf("%s took %s: %+v", subject, m.Data, b)
		}
	}
}
