package hub

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Reason says why something was refused.
type Reason string

// The reasons.
const (
	WrongCode     Reason = "wrong_code"
	CodeUsed      Reason = "code_used"
	CodeExpired   Reason = "code_expired"
	TooManyTries  Reason = "too_many_tries"
	BadKey        Reason = "bad_key"
	Revoked       Reason = "revoked"
	UnknownKey    Reason = "unknown_key"
	BadSignature  Reason = "bad_signature"
	NoCredentials Reason = "no_credentials"
	NotAllowed    Reason = "not_allowed"
)

func (r Reason) words() string {
	switch r {
	case WrongCode:
		return "the code is wrong"
	case CodeUsed:
		return "the code was used before"
	case CodeExpired:
		return "the code has expired"
	case TooManyTries:
		return "too many wrong codes; wait a minute"
	case BadKey:
		return "the key is none, or was used before"
	case Revoked:
		return "the device was revoked"
	case UnknownKey:
		return "no enrolled device has this key"
	case BadSignature:
		return "the key was named but not proven"
	case NoCredentials:
		return "a connection without a key"
	case NotAllowed:
		return "the device may not publish or read there"
	}
	return string(r)
}

// Refusal is something that was refused, how often and when.
type Refusal struct {
	Reason  Reason           `json:"reason"`
	Text    string           `json:"text"`
	Device  schemas.DeviceID `json:"device,omitempty"`  // "" where none is known
	Key     string           `json:"key,omitempty"`     // public key that was shown
	From    string           `json:"from,omitempty"`    // network address without port
	Subject string           `json:"subject,omitempty"` // that it may not use
	Count   int              `json:"count"`
	First   time.Time        `json:"first"`
	Last    time.Time        `json:"last"`
}

const (
	refusedFile = "refused.json"
	maxRefusals = 300
	// The same again is counted at once and told and kept at most this often:
	// a revoked tablet knocks for weeks.
	tellEvery = time.Minute
)

// refusals is the kept list of what was refused: the same again is one row.
type refusals struct {
	name string
	now  func() time.Time
	logf func(string, ...any)

	mu    sync.Mutex
	rows  []Refusal
	told  map[Refusal]time.Time
	dirty bool
}

func openRefusals(name string, now func() time.Time, logf func(string, ...any)) (*refusals, error) {
	r := &refusals{name: name, now: now, logf: logf, told: map[Refusal]time.Time{}}
	raw, err := kept(name)
	if err != nil || raw == nil {
		return r, err
	}
	if err := json.Unmarshal(raw, &r.rows); err != nil {
		return nil, fault.New("read what was refused", fault.Input, err, "remove "+refusedFile+"; only the list is lost")
	}
	return r, nil
}

func (r *refusals) list() []Refusal {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.SortedFunc(slices.Values(r.rows), func(a, b Refusal) int {
		return cmp.Or(b.Last.Compare(a.Last), cmp.Compare(a.Reason, b.Reason), cmp.Compare(a.Device, b.Device), cmp.Compare(a.Key, b.Key))
	})
}

// note counts a refusal, tells it and keeps the list.
func (r *refusals) note(one Refusal) {
	r.mu.Lock()
	defer r.mu.Unlock()
	one.Text, one.Key = one.Reason.words(), clipped(one.Key, 64)
	one.Subject, one.From = clipped(one.Subject, 200), clipped(one.From, 64)
	at := r.now().UTC()
	i := slices.IndexFunc(r.rows, func(x Refusal) bool { return x.same(one) })
	if i < 0 {
		if len(r.rows) >= maxRefusals { // the longest silent goes
			oldest := slices.IndexFunc(r.rows, func(x Refusal) bool {
				return !slices.ContainsFunc(r.rows, func(y Refusal) bool { return y.Last.Before(x.Last) })
			})
			delete(r.told, r.rows[oldest].key())
			r.rows = slices.Delete(r.rows, oldest, oldest+1)
		}
		one.First = at
		r.rows = append(r.rows, one)
		i = len(r.rows) - 1
	}
	row := &r.rows[i]
	row.Count++
	row.Last, r.dirty = at, true
	if last, ok := r.told[row.key()]; ok && at.Sub(last) < tellEvery {
		return
	}
	r.told[row.key()] = at
	if r.logf != nil {
		r.logf("refused: %s", row)
	}
	r.save()
}

// save keeps the list; the caller holds the lock. That it cannot be kept must
// not let anybody in nor stop the hub: it is said, and tried again.
func (r *refusals) save() {
	raw, err := json.MarshalIndent(r.rows, "", " ")
	if err == nil {
		err = keep(r.name, append(raw, '\n'))
	}
	if err == nil {
		r.dirty = false
	} else if r.logf != nil {
		r.logf("the list of what was refused is not kept: %s", fault.Message(err))
	}
}

func (r *refusals) close() {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.dirty {
		r.save()
	}
}

func (x Refusal) key() Refusal {
	return Refusal{Reason: x.Reason, Device: x.Device, Key: x.Key, From: x.From, Subject: x.Subject}
}

func (x Refusal) same(y Refusal) bool { return x.key() == y.key() }

// String is the refusal as a log line says it.
func (x Refusal) String() string {
	s := x.Text
	for _, part := range []struct{ name, value string }{{"device", string(x.Device)}, {"subject", x.Subject}, {"from", x.From}, {"key", x.Key}} {
		if part.value != "" {
			s += fmt.Sprintf(", %s %s", part.name, part.value)
		}
	}
	if x.Count > 1 {
		s += fmt.Sprintf(" (%d times)", x.Count)
	}
	return s
}

// clipped bounds what came from outside and keeps it printable.
func clipped(s string, n int) string {
	out := []rune(s)
	for i, c := range out {
		if c < ' ' || c == 0x7f {
			out[i] = '?'
		}
	}
	return string(out[:min(len(out), n)])
}
