package schemas

import (
	"strings"
	"testing"
)

func TestEventSubject(t *testing.T) {
	for typ, want := range map[EventType]string{
		TypeLoadWeighed: "book.tussock.sp-1.load.weighed",
		"load.guessed":  "book.tussock.sp-1.load.guessed",
		"":              "book.tussock.sp-1.unknown",
		"load.*":        "book.tussock.sp-1.unknown",
		"load.>":        "book.tussock.sp-1.unknown",
		"load..weighed": "book.tussock.sp-1.unknown",
		"load weighed":  "book.tussock.sp-1.unknown",
		"Load":          "book.tussock.sp-1.unknown",
	} {
		got := EventSubject("tussock", "sp-1", typ)
		if got != want {
			t.Errorf("%q: %s, want %s", typ, got, want)
		}
		if device, ok := SubjectDevice(got); !ok || device != "sp-1" {
			t.Errorf("%s: device %q", got, device)
		}
		if !strings.HasPrefix(got, strings.TrimSuffix(SubjectEvents, ">")) {
			t.Errorf("%s is not below %s", got, SubjectEvents)
		}
	}
	for _, subject := range []string{"", "book", "book.a.b", "marks.a.b.c", "books.a.b.c"} {
		if device, ok := SubjectDevice(subject); ok {
			t.Errorf("%q has device %q", subject, device)
		}
	}
	if got := MarksSubject("tussock", "sp-1"); got != "marks.tussock.sp-1" {
		t.Errorf("MarksSubject: %s", got)
	}
}

// Every type travels under its own name.
func TestTypesAreSubjectTokens(t *testing.T) {
	for _, info := range Types() {
		if got := EventSubject("c", "d", info.Type); got != "book.c.d."+string(info.Type) {
			t.Errorf("%s travels on %s", info.Type, got)
		}
		if got := info.TableName(); strings.Trim(got, "abcdefghijklmnopqrstuvwxyz_") != "" {
			t.Errorf("%s: table %s", info.Type, got)
		}
	}
}

func TestPublishDevice(t *testing.T) {
	for source, want := range map[Source]DeviceID{
		"/devices/sp-1/k7": "sp-1",
		"/office/desk1":    "_office",
		Source("/files/" + strings.Repeat("0a", 32)): "_files",
	} {
		got := PublishDevice(source)
		_, device := source.Device()
		if got != want || ValidToken(string(got)) != device || !source.valid() { // no device can be called _office
			t.Errorf("%s: %q, want %q", source, got, want)
		}
	}
}

func TestMarkHolds(t *testing.T) {
	m := Mark{UpTo: 10, Above: [][2]int64{{13, 15}, {20, 20}}}
	for seq, want := range map[int64]bool{1: true, 10: true, 11: false, 12: false, 13: true, 14: true, 15: true, 16: false, 19: false, 20: true, 21: false} {
		if m.Holds(seq) != want {
			t.Errorf("Holds(%d) is %v", seq, !want)
		}
	}
	if (Mark{}).Holds(1) {
		t.Error("nothing holds 1")
	}
}
