package page

import (
	"context"
	"errors"
	"io"
	"net/http"
	"regexp"
	"strconv"

	"hopperbook/ingest/tablet"
	"hopperbook/schemas/fault"
)

// bodyLimit holds a tray test of 1 000 trays several times over.
const bodyLimit = 64 << 10

// keyPattern is what the page drew by lot.
var keyPattern = regexp.MustCompile(`^[0-9a-f]{32}$`)

// answer is what a command is answered with.
type answer struct {
	status int
	body   []byte
}

func (a answer) ok() bool { return a.status == http.StatusOK }

// refused is the JSON of a command that was not carried out. Key is one of
// tablet's refusals or one of the page's own (see the constants); Hint is in
// English, for a key the page has no text for.
type refused struct {
	Code    string             `json:"code"`
	Key     string             `json:"key,omitempty"`
	Confirm bool               `json:"confirm,omitempty"`
	Values  map[string]float64 `json:"values,omitempty"`
	Text    string             `json:"text"`
	Hint    string             `json:"hint,omitempty"`
}

// The page's own refusals.
const (
	keyOrigin = "origin" // another site asks
	keyBig    = "big"    // the body is over the limit
)

func (p *page) do(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "no-store")
	write := func(a answer) {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(a.status)
		_, _ = w.Write(a.body) // the page asks again with the same key
	}
	if !sameOrigin(r) {
		write(refuse(http.StatusForbidden, refused{Code: "usage", Key: keyOrigin, Text: "the command comes from another site"}))
		return
	}
	if !jsonBody(r) {
		write(refuse(http.StatusUnsupportedMediaType, refused{Code: "usage", Key: tablet.KeyBody, Text: "the body must be application/json"}))
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, bodyLimit))
	if err != nil {
		var big *http.MaxBytesError
		if errors.As(err, &big) {
			write(refuse(http.StatusRequestEntityTooLarge, refused{Code: "usage", Key: keyBig, Text: "the body is over " + strconv.Itoa(bodyLimit) + " bytes"}))
		}
		return // else the page went away while it was sending
	}
	key := r.Header.Get("Idempotency-Key")
	if !keyPattern.MatchString(key) {
		write(refuse(http.StatusBadRequest, refused{Code: "usage", Key: tablet.KeyBody, Text: "the command needs an Idempotency-Key"}))
		return
	}
	name := r.PathValue("command")
	// A page that goes away does not stop a command half-way.
	ctx := tablet.WithKey(context.WithoutCancel(r.Context()), key)
	a, other := p.once.do(key, append([]byte(name+"\n"), body...), func() answer { return p.carry(ctx, name, body) })
	if other {
		a = refuse(http.StatusConflict, refused{Code: "conflict", Key: tablet.KeyUsed, Text: "this entry has been booked already, with other figures"})
	}
	write(a)
}

func (p *page) carry(ctx context.Context, name string, body []byte) answer {
	done, err := p.agent.Do(ctx, name, body)
	if err == nil {
		return answer{http.StatusOK, marshal(done)}
	}
	code := fault.CodeOf(err)
	f := refused{Code: code.String(), Text: err.Error(), Hint: fault.HintOf(err)}
	if r, ok := tablet.RefusalOf(err); ok {
		f.Key, f.Confirm, f.Values = r.Key, r.Confirm, r.Values
	}
	return refuse(code.HTTP(), f)
}

func refuse(status int, f refused) answer { return answer{status, marshal(f)} }

// sameOrigin holds for a request that the page itself made: browsers name the
// origin with every POST, and no page can change what they name.
func sameOrigin(r *http.Request) bool {
	scheme := "http://"
	if r.TLS != nil {
		scheme = "https://"
	}
	site := r.Header.Get("Sec-Fetch-Site")
	return r.Header.Get("Origin") == scheme+r.Host && (site == "" || site == "same-origin")
}
