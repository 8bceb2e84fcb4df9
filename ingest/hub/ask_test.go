package hub

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"hopperbook/schemas/fault"
)

func TestAskCopiesLongAnswersAndErrors(t *testing.T) {
	r := start(t, t.TempDir(), newMemory())
	ctx, stop := context.WithTimeout(context.Background(), time.Minute)
	defer stop()
	var out bytes.Buffer
	if err := r.client.Ask(ctx, "much", nil, &out); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != 50_000 || lines[49_999] != "line 49999 of a long answer that does not fit in one message" {
		t.Errorf("%d lines, last %q", len(lines), lines[len(lines)-1])
	}
	err := r.client.Ask(ctx, "refuse", nil, &out)
	if fault.CodeOf(err) != fault.TooNew || fault.HintOf(err) != "update the program" || !strings.Contains(err.Error(), "newer version") {
		t.Errorf("err = %v, hint %q", err, fault.HintOf(err))
	}
	if err := r.client.Ask(ctx, "nonsense", nil, &out); fault.CodeOf(err) != fault.Unavailable || fault.HintOf(err) == "" {
		t.Errorf("an unknown question: %v", err)
	}
	short, cancel := context.WithCancel(ctx)
	cancel()
	if err := r.client.Ask(short, "slow", nil, &out); fault.CodeOf(err) != fault.Canceled {
		t.Errorf("a question taken back: %v", err)
	}
	if err := r.client.Ask(ctx, "much", nil, fullDisk{}); err == nil || !errors.Is(err, errFull) {
		t.Errorf("a reader that fails: %v", err)
	}
}

var errFull = errors.New("no space left")

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }
