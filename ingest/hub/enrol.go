package hub

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/json"
	"fmt"
	"net"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const (
	// DefaultCodeLife is how long a one-time code is good.
	DefaultCodeLife = 24 * time.Hour
	maxCodeLife     = 30 * 24 * time.Hour
	saltBytes       = 16
	// A minute takes this many wrong codes for a device; then none is looked
	// at, so that guessing is hopeless long before 80 bits are.
	wrongAMinute = 5
	enrolBytes   = 4096 // of a request
)

// newCode makes a one-time code for a device, in place of one not used yet.
func (r *Registry) newCode(d schemas.DeviceID, life time.Duration, address, fingerprint string) (schemas.EnrolCode, time.Time, error) {
	op := "enrol " + string(d)
	if life == 0 {
		life = DefaultCodeLife
	}
	switch {
	case !schemas.ValidToken(string(d)):
		return schemas.EnrolCode{}, time.Time{}, fault.Newf(op, fault.Usage, fmt.Sprintf("%q is no device name", d), "use lower-case letters, digits, '-' and '_', as in the machine's register entry")
	case life < time.Minute || life > maxCodeLife:
		return schemas.EnrolCode{}, time.Time{}, fault.Newf(op, fault.Usage, "a code cannot be good for "+life.String(), "from one minute to 30 days")
	}
	if _, _, err := net.SplitHostPort(address); err != nil || strings.Contains(address, "/") {
		return schemas.EnrolCode{}, time.Time{}, fault.Newf(op, fault.Usage, fmt.Sprintf("%q is no address that a tablet can reach", address), "give --address HOST:PORT of the hub")
	}
	secret := make([]byte, schemas.EnrolSecretBytes+saltBytes)
	_, _ = rand.Read(secret) // never fails, see crypto/rand
	code := schemas.EnrolCode{Hub: strings.ToLower(address), Contractor: r.contractor, Device: d, Secret: schemas.EnrolSecret(secret[:schemas.EnrolSecretBytes]), Fingerprint: fingerprint}
	now := r.now().UTC()
	one := Code{Device: d, Salt: secret[schemas.EnrolSecretBytes:], MadeAt: now, ExpiresAt: now.Add(life)}
	one.Hash = one.hash(code.Secret)
	r.mu.Lock()
	defer r.mu.Unlock()
	err := r.change(func(k *keptDevices) {
		k.Codes = append(slices.DeleteFunc(k.Codes, func(c Code) bool { return c.Device == d }), one)
	})
	return code, one.ExpiresAt, err
}

func (c Code) hash(secret string) []byte {
	sum := sha256.Sum256(append(slices.Clone(c.Salt), secret...))
	return sum[:]
}

// enrol takes a tablet's code and key. The same tablet may ask again with the
// same code when the answer was lost on the way; any other use of a used code
// is refused.
func (r *Registry) enrol(q schemas.EnrolRequest) schemas.EnrolAnswer {
	r.mu.Lock()
	before := slices.Clone(r.file.Devices)
	device, why, err := r.judge(q)
	r.mu.Unlock()
	switch {
	case err != nil:
		if r.logf != nil { // the office can do something about it, the tablet cannot
			r.logf("%s could not be enrolled: %s", device, fault.Message(err))
		}
		return schemas.EnrolAnswer{Refused: "it cannot keep the new key", Hint: "the hub's log says why; try the same code again afterwards"}
	case why != "":
		r.refused.note(Refusal{Reason: why, Device: device, Key: q.PublicKey})
		return schemas.EnrolAnswer{Refused: why.words(), Hint: "ask the office for a new code: hopperbook enrol " + string(q.Device)}
	}
	for _, d := range before { // another tablet may have had the name until now
		if d.Device == q.Device && d.PublicKey != q.PublicKey {
			r.cut(d.PublicKey)
		}
	}
	return schemas.EnrolAnswer{Device: q.Device, Contractor: r.contractor}
}

// judge decides and, on success, keeps the device's key. It names only devices
// that the office knows. The caller holds the lock.
func (r *Registry) judge(q schemas.EnrolRequest) (named schemas.DeviceID, why Reason, err error) {
	at := slices.IndexFunc(r.file.Codes, func(c Code) bool { return c.Device == q.Device })
	if at >= 0 {
		named = q.Device
	}
	now := r.now().UTC()
	lately := slices.DeleteFunc(r.wrong[named], func(t time.Time) bool { return now.Sub(t) >= time.Minute })
	if r.wrong[named] = lately; len(lately) >= wrongAMinute {
		return named, TooManyTries, nil
	}
	if !nkeys.IsValidPublicUserKey(q.PublicKey) {
		return named, BadKey, nil
	}
	if at < 0 || subtle.ConstantTimeCompare(r.file.Codes[at].hash(q.Code), r.file.Codes[at].Hash) != 1 {
		r.wrong[named] = append(lately, now)
		return named, WrongCode, nil
	}
	code := r.file.Codes[at]
	old, known := r.byKey(q.PublicKey)
	switch {
	case !code.UsedAt.IsZero() && known && old.Device == q.Device && old.RevokedAt.IsZero():
		return named, "", nil // its answer was lost on the way
	case !code.UsedAt.IsZero():
		return named, CodeUsed, nil
	case !now.Before(code.ExpiresAt):
		return named, CodeExpired, nil
	case known:
		return named, BadKey, nil // one key, one enrolment: a revoked key stays revoked
	}
	return named, "", r.change(func(k *keptDevices) {
		k.Codes[at].UsedAt = now
		k.Devices = append(slices.DeleteFunc(k.Devices, func(d Device) bool { return d.Device == q.Device }),
			Device{Device: q.Device, PublicKey: q.PublicKey, EnrolledAt: now})
	})
}

// takeEnrolments answers tablets that hand in a code. The answer goes only
// where one that enrols may listen, so that nobody makes the hub speak on other
// subjects.
func (h *Hub) takeEnrolments() error {
	_, err := h.conn.Subscribe(schemas.EnrolSubject(h.cfg.Contractor), func(m *nats.Msg) {
		if !strings.HasPrefix(m.Reply, schemas.EnrolInbox+".") {
			return
		}
		var q schemas.EnrolRequest
		answer := schemas.EnrolAnswer{Refused: "the request cannot be read", Hint: "update the tablet's program"}
		if len(m.Data) <= enrolBytes && json.Unmarshal(m.Data, &q) == nil {
			answer = h.registry.enrol(q)
		}
		if raw, err := json.Marshal(answer); err == nil {
			_ = m.Respond(raw) // a tablet that has gone asks again
		}
	})
	if err != nil {
		return fault.New("take enrolments", fault.Unavailable, err, "restart the hub")
	}
	return nil
}
