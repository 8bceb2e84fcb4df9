package hub

import (
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// The list of what was refused has one row for the same again, does not grow
// without end, and outlives the hub.
func TestTheListOfRefusalsIsBounded(t *testing.T) {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	name := filepath.Join(t.TempDir(), refusedFile)
	told := 0
	r, err := openRefusals(name, func() time.Time { return now }, func(string, ...any) { told++ })
	if err != nil {
		t.Fatal(err)
	}
	for range 50 {
		r.note(Refusal{Reason: Revoked, Device: "sp-1", Key: "U1"})
		now = now.Add(2 * time.Second)
	}
	if list := r.list(); len(list) != 1 || list[0].Count != 50 || told != 2 {
		t.Errorf("%+v, told %d times", list, told)
	}
	for i := range maxRefusals {
		now = now.Add(time.Second)
		r.note(Refusal{Reason: UnknownKey, Key: string(rune('a'+i%26)) + strings.Repeat("x", i/26), From: "\x1b[31m"})
	}
	r.close()
	again, err := openRefusals(name, r.now, nil)
	if err != nil {
		t.Fatal(err)
	}
	list := again.list()
	if len(list) != maxRefusals || list[0].Last.Before(list[1].Last) || strings.Contains(list[0].From, "\x1b") {
		t.Errorf("%d rows, first %+v", len(list), list[0])
	}
	for _, x := range list {
		if x.Device == "sp-1" {
			t.Error("the longest silent is still there")
		}
	}
}
