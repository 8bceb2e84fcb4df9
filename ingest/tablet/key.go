package tablet

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// keepKeys is how many commands back a key is known after a restart: days of
// work, and some 4 kB of a snapshot.
const keepKeys = 64

type ctxKey struct{}

// WithKey names a command by a key of the page's. A command that is sent again
// under its key, after a restart too, is not carried out again and gives the
// same answer; other figures under it are refused (KeyUsed). What is kept of
// the key goes to the disk in the transaction of the command's event, so no
// power cut parts the two. Known are the last 64 commands that left something
// on the disk; those before, and all where a snapshot was lost, are forgotten.
func WithKey(ctx context.Context, key string) context.Context {
	return context.WithValue(ctx, ctxKey{}, key)
}

// KeyOf is the key of WithKey; "": none.
func KeyOf(ctx context.Context) string {
	key, _ := ctx.Value(ctxKey{}).(string) // "" where there is none
	return key
}

// keyed is a command that was carried out under a key, and its answer.
type keyed struct {
	Key    string            `json:"key"`
	Digest string            `json:"digest"` // of name and body
	Event  schemas.EventID   `json:"event,omitempty"`
	Type   schemas.EventType `json:"type,omitempty"`
	Result json.RawMessage   `json:"result,omitempty"`
}

// newKeyed is what will be kept of a command; nil: it has no key.
func newKeyed(ctx context.Context, name string, body []byte) *keyed {
	key := KeyOf(ctx)
	if key == "" {
		return nil
	}
	sum := sha256.Sum256(append([]byte(name+"\n"), body...))
	return &keyed{Key: key, Digest: hex.EncodeToString(sum[:8])}
}

// answered is the answer of a command that was carried out before; nil: it was
// not.
func (s *state) answered(k *keyed) (*Done, error) {
	if k == nil {
		return nil, nil
	}
	i := slices.IndexFunc(s.Keys, func(o keyed) bool { return o.Key == k.Key })
	if i < 0 {
		return nil, nil
	}
	was := s.Keys[i]
	if was.Digest != k.Digest {
		return nil, refuse(KeyUsed, fault.Conflict, "look in the log; take it back there if it is wrong", "this entry has been booked already, with other figures")
	}
	done := &Done{Event: was.Event, Type: was.Type}
	if was.Result != nil {
		done.Result = was.Result
	}
	return done, nil
}

// settle notes the answer of a command.
func (k *keyed) settle(d Done) error {
	if k == nil {
		return nil
	}
	k.Event, k.Type = d.Event, d.Type
	if d.Result == nil {
		return nil
	}
	raw, err := json.Marshal(d.Result)
	if err != nil {
		return fault.New("keep an answer", fault.Internal, err, "")
	}
	k.Result = raw
	return nil
}

// remember keeps a command's key, and forgets the oldest.
func (s *state) remember(k *keyed) {
	if k == nil {
		return
	}
	first := max(0, len(s.Keys)+1-keepKeys)
	s.Keys = append(slices.Clone(s.Keys[first:]), *k)
}
