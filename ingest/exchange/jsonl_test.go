package exchange

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const bare = `{"type":"load.weighed","time":"2026-03-02T08:00:00Z","data":{"load":"L1","product":"lime","net_kg":4100,"method":"bucket"}}`

func read(t *testing.T, text string) []ingest.Outgoing {
	t.Helper()
	var all []ingest.Outgoing
	for out, err := range Events(strings.NewReader(text)) {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, out)
	}
	return all
}

func TestBareEventsAreNumberedAndKeepTheContract(t *testing.T) {
	other := strings.Replace(bare, "L1", "L2", 1)
	own := `{"specversion":"1.0","id":"01HZY3Q2Q3W4E5R6T7Y8V9B0NM","source":"/devices/sp1/a","sequence":"7","type":"job.finished","time":"2026-03-02T08:00:00Z","dataschema":"job.finished/1","data":{"job":"J1"}}`
	all := read(t, bare+"\n\n"+own+"\r\n"+other)
	if len(all) != 3 {
		t.Fatalf("%d events, want 3", len(all))
	}
	for i, want := range []int64{1, 7, 2} {
		e, bad := schemas.Read(all[i].Raw)
		if bad != nil {
			t.Fatalf("event %d: %v\n%s", i, bad, all[i].Raw)
		}
		if e.Sequence != want || e.Identity != all[i].Identity || e.Type != all[i].Type {
			t.Errorf("event %d is %s %s, announced as %s %s", i, e.Identity, e.Type, all[i].Identity, all[i].Type)
		}
	}
	if string(all[1].Raw) != own {
		t.Errorf("an event that brings its identity must keep its bytes: %s", all[1].Raw)
	}
	if !strings.HasPrefix(string(all[0].Source), "/files/") {
		t.Errorf("source %s", all[0].Source)
	}
}

// Reading again gives the same bytes; another file gives other identities.
func TestTheSameFileGivesTheSameEvents(t *testing.T) {
	text := bare + "\n" + strings.Replace(bare, "4100", "4200", 1) + "\n"
	a, b, c := read(t, text), read(t, text), read(t, text+"\n"+bare)
	for i := range a {
		if !bytes.Equal(a[i].Raw, b[i].Raw) || a[i].Identity != b[i].Identity {
			t.Errorf("event %d differs between two readings", i)
		}
		if a[i].Source == c[i].Source {
			t.Errorf("event %d of another file has the same source", i)
		}
	}
}

func TestAByteOrderMarkIsNoPartOfTheFirstEvent(t *testing.T) {
	all := read(t, "\uFEFF"+bare)
	if _, bad := schemas.Read(all[0].Raw); bad != nil {
		t.Error(bad)
	}
}

func TestWhatCannotBeReadIsPassedOnWhole(t *testing.T) {
	for _, line := range []string{
		`{"type":"load.weighed","time":`, `not json`, `[1,2]`, `{}`, `{"source":"/devices/sp1/a","type":"job.finished"}`,
		`{"sequence":"0","source":"nowhere","data":{}}`, "\x00\xff", `null`,
	} {
		all := read(t, line+"\n"+bare)
		if len(all) != 2 {
			t.Fatalf("%q: %d events", line, len(all))
		}
		if all[0].Sequence != 1 || all[1].Sequence != 2 || all[0].Source != all[1].Source {
			t.Errorf("%q: identities %s, %s", line, all[0].Identity, all[1].Identity)
		}
		if line != `{}` && string(all[0].Raw) != line {
			t.Errorf("%q came out as %q", line, all[0].Raw)
		}
		if _, bad := schemas.Read(all[0].Raw); bad == nil {
			t.Errorf("%q must be refused by the contract", line)
		}
	}
}

func TestALineWithoutEndIsRefusedWithAHint(t *testing.T) {
	long := strings.NewReader(strings.Repeat("x", maxLine+1))
	for _, err := range Events(long) {
		if fault.CodeOf(err) != fault.Input || fault.HintOf(err) == "" {
			t.Errorf("err = %v", err)
		}
	}
}

type failing struct{ io.ReadSeeker }

func (failing) Read([]byte) (int, error) { return 0, errors.New("the stick was pulled") }

func TestAFileThatFailsSaysSo(t *testing.T) {
	n := 0
	for _, err := range Events(failing{strings.NewReader("")}) {
		n++
		if fault.CodeOf(err) != fault.Input {
			t.Errorf("err = %v", err)
		}
	}
	if n != 1 {
		t.Errorf("%d yields", n)
	}
}

func FuzzEvents(f *testing.F) {
	f.Add(bare)
	f.Add(`{"type":"load.weighed","data":{}}` + "\n" + `{ }`)
	f.Add(`{"id":1,"time":"x","type":2}`)
	f.Fuzz(func(t *testing.T, text string) {
		seen := map[schemas.Identity]string{}
		for out, err := range Events(strings.NewReader(text)) {
			if err != nil {
				t.Fatal(err)
			}
			if out.Source == "" || out.Sequence < 1 {
				t.Fatalf("no identity for %q", out.Raw)
			}
			if e, _ := schemas.Read(out.Raw); e.Source != "" && e.Sequence > 0 && e.Identity != out.Identity {
				t.Fatalf("announced as %s, is %s", out.Identity, e.Identity)
			}
			key := string(out.Raw)
			if strings.HasPrefix(string(out.Source), "/files/") {
				if old, ok := seen[out.Identity]; ok && old != key {
					t.Skip("a file may bring identities of its own that collide; the book quarantines them")
				}
				seen[out.Identity] = key
			}
		}
	})
}
