package page_test

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/page"
	"hopperbook/schemas/fault"
)

func serve(t *testing.T, f tablet.Agent, o page.Options) *httptest.Server {
	t.Helper()
	s := httptest.NewServer(page.Handler(f, o))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	return s
}

// ask sends a request as the page would, changed by how.
func ask(t *testing.T, s *httptest.Server, method, path, body string, how func(*http.Request)) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequest(method, s.URL+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Origin", s.URL)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	if how != nil {
		how(r)
	}
	answer, err := s.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	got, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer, string(got)
}

const lot = "0123456789abcdef0123456789abcdef"

func keyed(lot string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set("Idempotency-Key", lot) }
}

func TestEveryAnswerIsGuarded(t *testing.T) {
	s := serve(t, newFake("spreader"), page.Options{})
	for path, kind := range map[string]string{"/": "text/html; charset=utf-8", "/main.js": "text/javascript; charset=utf-8", "/screens/home.js": "text/javascript; charset=utf-8",
		"/page.css": "text/css; charset=utf-8", "/texts.json": "application/json", "/units.json": "application/json", "/icon.svg": "image/svg+xml", "/view": "application/json", "/nothing": "text/plain; charset=utf-8"} {
		a, body := ask(t, s, http.MethodGet, path, "", nil)
		if got := a.Header.Get("Content-Type"); got != kind {
			t.Errorf("%s: type %q, want %q", path, got, kind)
		}
		if got := a.Header.Get("Content-Security-Policy"); !strings.HasPrefix(got, "default-src 'self';") || strings.Contains(got, "unsafe") {
			t.Errorf("%s: policy %q", path, got)
		}
		if a.Header.Get("X-Content-Type-Options") != "nosniff" || a.Header.Get("Cross-Origin-Resource-Policy") != "same-origin" {
			t.Errorf("%s: headers %v", path, a.Header)
		}
		if path == "/nothing" {
			if a.StatusCode != http.StatusNotFound {
				t.Errorf("%s: %d", path, a.StatusCode)
			}
			continue
		}
		tag := a.Header.Get("ETag")
		if a.StatusCode != http.StatusOK || body == "" || !strings.HasPrefix(tag, `"`) {
			t.Errorf("%s: %d, %d bytes, tag %q", path, a.StatusCode, len(body), tag)
		}
		again, rest := ask(t, s, http.MethodGet, path, "", func(r *http.Request) { r.Header.Set("If-None-Match", tag) })
		if again.StatusCode != http.StatusNotModified || rest != "" {
			t.Errorf("%s with its tag: %d and %d bytes", path, again.StatusCode, len(rest))
		}
	}
}

func TestTheTagOfTheViewFollowsIt(t *testing.T) {
	f := newFake("spreader")
	s := serve(t, f, page.Options{})
	before, _ := ask(t, s, http.MethodGet, "/view", "", nil)
	f.change(func(v *tablet.View) { v.Operator = "Wren Marlow" })
	after, body := ask(t, s, http.MethodGet, "/view", "", nil)
	if before.Header.Get("ETag") == after.Header.Get("ETag") || !strings.Contains(body, `"operator":"Wren Marlow"`) {
		t.Errorf("tags %s and %s, body %s", before.Header.Get("ETag"), after.Header.Get("ETag"), body)
	}
}

func TestOtherHostNamesAreRefused(t *testing.T) {
	s := serve(t, newFake("spreader"), page.Options{Hosts: []string{"cab.example"}})
	for host, want := range map[string]int{"localhost:80": 200, "127.0.0.1": 200, "[::1]:8080": 200, "LOCALHOST": 200, "cab.example:9": 200,
		"evil.example": 421, "localhost.evil.example": 421, "127.0.0.1.evil.example:80": 421, "cab.example.": 421} {
		for _, path := range []string{"/", "/view", "/news?x"} {
			if want == 200 && strings.HasPrefix(path, "/news") {
				continue
			}
			a, _ := ask(t, s, http.MethodGet, path, "", func(r *http.Request) { r.Host = host })
			if a.StatusCode != want {
				t.Errorf("%s by %q: %d, want %d", path, host, a.StatusCode, want)
			}
		}
	}
}

func TestCommandsOfOtherSitesAreRefused(t *testing.T) {
	f := newFake("spreader")
	s := serve(t, f, page.Options{})
	for name, how := range map[string]func(*http.Request){
		"no origin":         func(r *http.Request) { r.Header.Del("Origin") },
		"null origin":       func(r *http.Request) { r.Header.Set("Origin", "null") },
		"other origin":      func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") },
		"other port":        func(r *http.Request) { r.Header.Set("Origin", "http://127.0.0.1:1") },
		"other scheme":      func(r *http.Request) { r.Header.Set("Origin", strings.Replace(s.URL, "http", "https", 1)) },
		"cross-site":        func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
		"same site only":    func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") },
		"typed in the line": func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "none") },
	} {
		a, body := ask(t, s, http.MethodPost, "/do/who", `{"operator":"Mallory"}`, func(r *http.Request) { keyed(lot)(r); how(r) })
		if a.StatusCode != http.StatusForbidden || !strings.Contains(body, `"key":"origin"`) {
			t.Errorf("%s: %d %s", name, a.StatusCode, body)
		}
	}
	for kind, want := range map[string]int{"text/plain": 415, "application/x-www-form-urlencoded": 415, "": 415} {
		a, _ := ask(t, s, http.MethodPost, "/do/who", `{"operator":"Mallory"}`, func(r *http.Request) { keyed(lot)(r); r.Header.Set("Content-Type", kind) })
		if a.StatusCode != want {
			t.Errorf("type %q: %d, want %d", kind, a.StatusCode, want)
		}
	}
	if a, _ := ask(t, s, http.MethodGet, "/do/who", "", nil); a.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("a command by GET: %d", a.StatusCode)
	}
	if got := f.booked("who"); len(got) != 0 {
		t.Errorf("carried out: %q", got)
	}
}

func TestABodyHasALimitAndAKey(t *testing.T) {
	f := newFake("spreader")
	s := serve(t, f, page.Options{})
	a, body := ask(t, s, http.MethodPost, "/do/who", `{"operator":"`+strings.Repeat("x", 70<<10)+`"}`, keyed(lot))
	if a.StatusCode != http.StatusRequestEntityTooLarge || !strings.Contains(body, `"key":"big"`) {
		t.Errorf("a body of 70 KiB: %d %s", a.StatusCode, body)
	}
	for _, key := range []string{"", lot[1:], lot + "0", strings.ToUpper(lot), "run." + lot} {
		a, _ := ask(t, s, http.MethodPost, "/do/who", `{"operator":"Wren Marlow"}`, func(r *http.Request) { r.Header.Set("Idempotency-Key", key) })
		if a.StatusCode != http.StatusBadRequest {
			t.Errorf("key %q: %d", key, a.StatusCode)
		}
	}
	if got := f.booked("who"); len(got) != 0 {
		t.Errorf("carried out: %q", got)
	}
}

func TestAKeyIsCarriedOutOnce(t *testing.T) {
	f := newFake("spreader")
	s := serve(t, f, page.Options{})
	load := `{"product":"lime","method":"bucket","lifts_kg":[2480]}`
	var answers sync.Map
	var all sync.WaitGroup
	for range 20 {
		all.Go(func() {
			_, body := ask(t, s, http.MethodPost, "/do/load", load, keyed(lot))
			answers.Store(body, true)
		})
	}
	all.Wait()
	if got := f.booked("load"); len(got) != 1 {
		t.Fatalf("20 taps booked %d loads", len(got))
	}
	n := 0
	answers.Range(func(k, _ any) bool { n++; return strings.Contains(k.(string), "load.weighed") })
	if n != 1 {
		t.Errorf("%d different answers to one key", n)
	}
	a, body := ask(t, s, http.MethodPost, "/do/load", strings.Replace(load, "2480", "2500", 1), keyed(lot))
	if a.StatusCode != http.StatusConflict || !strings.Contains(body, `"key":"used"`) || len(f.booked("load")) != 1 {
		t.Errorf("other figures under the key: %d %s", a.StatusCode, body)
	}
	other := strings.Replace(lot, "0", "f", 1)
	if _, _ = ask(t, s, http.MethodPost, "/do/load", load, keyed(other)); len(f.booked("load")) != 2 {
		t.Errorf("another key booked %d loads in all", len(f.booked("load")))
	}
}

func TestARefusalLeavesTheKeyFree(t *testing.T) {
	f := newFake("spreader")
	s := serve(t, f, page.Options{})
	f.fail(fault.New("", fault.Full, &tablet.Refusal{Key: tablet.KeyDiskFull, Text: "no room"}, "make room"))
	a, body := ask(t, s, http.MethodPost, "/do/who", `{"operator":"Wren Marlow"}`, keyed(lot))
	if a.StatusCode != http.StatusInsufficientStorage || !strings.Contains(body, `"key":"disk_full"`) || !strings.Contains(body, `"hint":"make room"`) {
		t.Errorf("refused: %d %s", a.StatusCode, body)
	}
	a, _ = ask(t, s, http.MethodPost, "/do/who", `{"operator":"Wren Marlow"}`, keyed(lot))
	if a.StatusCode != http.StatusOK || len(f.booked("who")) != 1 {
		t.Errorf("tried again: %d, %d booked", a.StatusCode, len(f.booked("who")))
	}
}

// The stream of news: one at once, one a change, many changes at once are few
// news and the last of them is never missed, silence is filled with beats.
func TestNews(t *testing.T) {
	f := newFake("spreader")
	s := serve(t, f, page.Options{Coalesce: 20 * time.Millisecond, Heartbeat: 30 * time.Millisecond})
	ctx, stop := context.WithTimeout(context.Background(), 20*time.Second)
	defer stop()
	r, _ := http.NewRequestWithContext(ctx, http.MethodGet, s.URL+"/news", nil)
	a, err := s.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	if a.Header.Get("Content-Type") != "text/event-stream" || a.Header.Get("Cache-Control") != "no-store" {
		t.Errorf("headers %v", a.Header)
	}
	lines := bufio.NewScanner(a.Body)
	next := func(want string) (passed int) {
		for lines.Scan() {
			if strings.HasPrefix(lines.Text(), want) {
				return passed
			}
			passed++
		}
		t.Fatalf("no %q: %v", want, lines.Err())
		return 0
	}
	next("retry: 1000")
	next("id: 1")
	next("data: changed")
	next(": alive")
	f.change(func(v *tablet.View) { v.Outbox.Waiting = 1 })
	next("id: 2")
	for n := range 500 {
		f.change(func(v *tablet.View) { v.Outbox.Waiting = n })
	}
	seen := 2
	for deadline := 0; deadline < 3; { // three beats in a row: no news is under way
		if !lines.Scan() {
			t.Fatal(lines.Err())
		}
		switch text := lines.Text(); {
		case strings.HasPrefix(text, "id: "):
			seen++
			deadline = 0
		case strings.HasPrefix(text, ": alive"):
			deadline++
		}
	}
	if seen < 3 || seen > 100 {
		t.Errorf("501 changes made %d news", seen-1)
	}
}

func TestPagesWithoutJavaScriptSayWhatToDo(t *testing.T) {
	_, body := ask(t, serve(t, newFake("spreader"), page.Options{}), http.MethodGet, "/", "", nil)
	for _, lang := range []string{`<p lang="en">This page needs JavaScript`, `<p lang="es">Esta página necesita JavaScript`, `<p lang="pt">Esta página precisa de JavaScript`} {
		if !strings.Contains(body, lang) {
			t.Errorf("no %q", lang)
		}
	}
}
