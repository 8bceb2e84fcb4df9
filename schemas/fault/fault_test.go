package fault

import (
	"errors"
	"fmt"
	"testing"
)

func TestEveryCodeHasItsOwnNameAndExit(t *testing.T) {
	names, exits := map[string]Code{}, map[int]Code{}
	for _, c := range Codes() {
		if c.String() == "" || c.Exit() == 0 || c.HTTP() < 400 {
			t.Errorf("code %d: name %q exit %d http %d", c, c, c.Exit(), c.HTTP())
		}
		if other, ok := names[c.String()]; ok {
			t.Errorf("codes %d and %d share the name %s", c, other, c)
		}
		if other, ok := exits[c.Exit()]; ok {
			t.Errorf("codes %d and %d share exit %d", c, other, c.Exit())
		}
		names[c.String()], exits[c.Exit()] = c, c
		if ParseCode(c.String()) != c {
			t.Errorf("ParseCode(%q) = %v", c, ParseCode(c.String()))
		}
	}
	if Code(200).Exit() != Internal.Exit() || ParseCode("no such") != Internal {
		t.Error("an unknown code must be internal")
	}
}

func TestWrapKeepsCodeAndHint(t *testing.T) {
	cause := errors.New("locked by 42")
	err := Wrap("list fields", fmt.Errorf("reader: %w", New("open the book", Held, cause, "stop the hub")))
	if CodeOf(err) != Held || HintOf(err) != "stop the hub" || !errors.Is(err, cause) {
		t.Fatalf("code %v hint %q", CodeOf(err), HintOf(err))
	}
	want := "list fields: reader: open the book: locked by 42\n  stop the hub"
	if got := Message(err); got != want {
		t.Errorf("Message = %q, want %q", got, want)
	}
	if Wrap("x", nil) != nil {
		t.Error("Wrap(nil) must be nil")
	}
	if CodeOf(cause) != Internal || HintOf(cause) != "" {
		t.Error("a plain error is internal and has no hint")
	}
}
