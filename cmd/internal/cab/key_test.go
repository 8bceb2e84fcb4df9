package cab

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hopperbook/ingest"
	"hopperbook/ingest/outbox"
	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/page"
	"hopperbook/schemas"
)

// dying is a tablet's disk whose program ends between the sync of an entry and
// the answer: what is on the disk then is copied, and the answer never comes.
type dying struct {
	store
	to string // folder of the copy; "": it lives
}

func (d *dying) Append(entries []tablet.Entry, state func([]ingest.Outgoing) ([]byte, error)) ([]ingest.Outgoing, error) {
	made, err := d.store.Append(entries, state)
	if err != nil || d.to == "" {
		return made, err
	}
	raw, err := os.ReadFile(filepath.Join(d.dir, outboxFile))
	if err = errors.Join(err, os.WriteFile(filepath.Join(d.to, outboxFile), raw, 0o600)); err != nil {
		return nil, err
	}
	return nil, errors.New("killed")
}

// onDisk serves the page over a folder's outbox; stop ends it.
func onDisk(t *testing.T, dir, copyTo string) (*httptest.Server, func()) {
	t.Helper()
	box, err := outbox.Open(outbox.Config{Path: filepath.Join(dir, outboxFile), Device: "spreader-1"})
	if err != nil {
		t.Fatal(err)
	}
	agent, err := tablet.New(tablet.Config{Device: "spreader-1", Role: tablet.RoleSpreader, Store: &dying{store{box, dir, t.Logf}, copyTo}, Rules: Rules{}, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(page.Handler(agent, page.Options{}))
	return server, func() {
		server.Close()
		if err := box.Close(); err != nil {
			t.Error(err)
		}
	}
}

func command(t *testing.T, s *httptest.Server, name, key, body string) (int, string) {
	t.Helper()
	r, err := http.NewRequest(http.MethodPost, s.URL+"/do/"+name, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", s.URL)
	r.Header.Set("Idempotency-Key", key)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	got, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, string(got)
}

const (
	aLoad = `{"product":"lime","method":"bucket","lifts_kg":[2480]}`
	aTest = `{"product":"lime","gate_mm":140,"bout_width_m":12,"collected_kg":31.2,"distance_m":100}`
)

func TestAKillBetweenTheDiskAndTheAnswerBooksNothingTwice(t *testing.T) {
	for name, body := range map[string]string{"load": aLoad, "catch": aTest} {
		key := strings.Repeat("0a", 16)
		first, copied := t.TempDir(), t.TempDir()
		s, stop := onDisk(t, first, copied)
		if code, got := command(t, s, name, key, body); code == http.StatusOK {
			t.Fatalf("%s: it was answered: %s", name, got)
		}
		stop()
		var answers []string
		for range 2 { // the second after another restart
			s, stop = onDisk(t, copied, "")
			code, got := command(t, s, name, key, body)
			if code != http.StatusOK || !strings.Contains(got, `"event":`) {
				t.Errorf("%s again: %d %s", name, code, got)
			}
			answers = append(answers, got)
			if code, got := command(t, s, name, key, strings.Replace(body, "lime", "urea", 1)); code != http.StatusConflict || !strings.Contains(got, `"key":"used"`) {
				t.Errorf("%s with other figures: %d %s", name, code, got)
			}
			stop()
		}
		all := events(t, copied)
		if len(all) != 1 || answers[0] != answers[1] || !strings.Contains(answers[0], string(all[0].ID)) {
			t.Errorf("%s: %d events on the disk, answers %q", name, len(all), answers)
		}
	}
}

func TestKeysAreBounded(t *testing.T) {
	dir := t.TempDir()
	s, stop := onDisk(t, dir, "")
	key := func(n int) string { return fmt.Sprintf("%032x", n) }
	for n := range 66 {
		if code, got := command(t, s, "load", key(n), aLoad); code != http.StatusOK {
			t.Fatalf("%d %s", code, got)
		}
	}
	stop()
	s, stop = onDisk(t, dir, "")
	for _, n := range []int{2, 65, 1} { // the last one is two too old
		if code, got := command(t, s, "load", key(n), aLoad); code != http.StatusOK {
			t.Errorf("%d: %d %s", n, code, got)
		}
	}
	stop()
	loads := 0
	for _, e := range events(t, dir) {
		if e.Type == schemas.TypeLoadWeighed {
			loads++
		}
	}
	if loads != 67 {
		t.Errorf("%d loads; the last 64 keys are known, the 65th is not", loads)
	}
}

// What makes no event is known again too: a pick of yesterday's job that is
// sent again must not undo today's.
func TestAChoiceIsNotMadeTwice(t *testing.T) {
	dir := t.TempDir()
	s, stop := onDisk(t, dir, "")
	for i, who := range []string{"Wren Marlow", "Ash Corley"} {
		if code, got := command(t, s, "who", fmt.Sprintf("%032x", i), `{"operator":"`+who+`"}`); code != http.StatusOK {
			t.Fatalf("%d %s", code, got)
		}
	}
	stop()
	s, stop = onDisk(t, dir, "")
	defer stop()
	if code, got := command(t, s, "who", fmt.Sprintf("%032x", 0), `{"operator":"Wren Marlow"}`); code != http.StatusOK {
		t.Errorf("%d %s", code, got)
	}
	if got := string(get(t, s.URL+"/view")); !strings.Contains(got, `"operator":"Ash Corley"`) {
		t.Errorf("the view says %s", got)
	}
}
