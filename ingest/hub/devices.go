package hub

import (
	"cmp"
	"encoding/json"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Device is a tablet that has been enrolled.
type Device struct {
	Device     schemas.DeviceID `json:"device"`
	PublicKey  string           `json:"public_key"` // of its NKey; the seed never leaves the tablet
	EnrolledAt time.Time        `json:"enrolled_at"`
	RevokedAt  time.Time        `json:"revoked_at,omitzero"`
}

// Code is a one-time code: what is kept of it, which lets nobody in.
type Code struct {
	Device    schemas.DeviceID `json:"device"`
	Salt      []byte           `json:"salt"`
	Hash      []byte           `json:"hash"` // SHA-256 of salt and secret; the secret is 80 bits of chance, so it needs no slow hash
	MadeAt    time.Time        `json:"made_at"`
	ExpiresAt time.Time        `json:"expires_at"`
	UsedAt    time.Time        `json:"used_at,omitzero"`
}

// keptDevices is the file of the book's folder.
type keptDevices struct {
	Schema  string   `json:"schema"`            // "hopperbook.enrolled/1"
	Address string   `json:"address,omitempty"` // where tablets reach the hub
	TLS     bool     `json:"tls,omitempty"`     // there
	CA      string   `json:"ca,omitempty"`      // fingerprint of the CA that tablets are told to pin; "": none was told
	Devices []Device `json:"devices"`
	Codes   []Code   `json:"codes"` // the last of each device
}

const (
	devicesFile   = "devices.json"
	schemaDevices = "hopperbook.enrolled/1"
)

// Registry is who may speak on the bus, kept in the book's folder. Safe for
// concurrent use by one process; that it is one is seen to by the book.
type Registry struct {
	dir        string
	contractor schemas.ContractorID
	now        func() time.Time
	logf       func(string, ...any) // nil: nobody listens
	refused    *refusals
	cut        func(key string) // ends the connections of a public key

	mu    sync.RWMutex
	file  keptDevices
	wrong map[schemas.DeviceID][]time.Time // lately, per device with a code; "" for all others
}

func openRegistry(dir string, contractor schemas.ContractorID, now func() time.Time, logf func(string, ...any)) (*Registry, error) {
	r := &Registry{dir: dir, contractor: contractor, now: now, logf: logf, wrong: map[schemas.DeviceID][]time.Time{}, cut: func(string) {}}
	raw, err := kept(filepath.Join(dir, devicesFile))
	if err != nil {
		return nil, err
	}
	if raw != nil {
		if err := json.Unmarshal(raw, &r.file); err != nil {
			return nil, fault.New("read the enrolled devices", fault.Input, err, "bring "+devicesFile+" back from a backup, or remove it and enrol every tablet anew")
		}
	}
	if r.file.Schema != "" && r.file.Schema != schemaDevices {
		return nil, fault.Newf("read the enrolled devices", fault.TooNew, devicesFile+" is "+r.file.Schema, "update the program")
	}
	r.file.Schema = schemaDevices
	r.refused, err = openRefusals(filepath.Join(dir, refusedFile), now, logf)
	return r, err
}

// change makes a changed copy of the file, keeps it, and only then lets it
// count. The caller holds the lock.
func (r *Registry) change(do func(*keptDevices)) error {
	next := r.file
	next.Devices, next.Codes = slices.Clone(r.file.Devices), slices.Clone(r.file.Codes)
	do(&next)
	slices.SortFunc(next.Devices, func(a, b Device) int { return cmp.Compare(a.Device, b.Device) })
	slices.SortFunc(next.Codes, func(a, b Code) int { return cmp.Compare(a.Device, b.Device) })
	raw, err := json.MarshalIndent(next, "", " ")
	if err != nil {
		return fault.New("keep the enrolled devices", fault.Internal, err, "")
	}
	if err := keep(filepath.Join(r.dir, devicesFile), append(raw, '\n')); err != nil {
		return err
	}
	r.file = next
	return nil
}

// Devices lists the enrolled devices, revoked ones too, by name.
func (r *Registry) Devices() []Device {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return slices.Clone(r.file.Devices)
}

// Codes lists the codes that were given and not used yet, expired ones too, by
// device. What it gives lets nobody in.
func (r *Registry) Codes() []Code {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return slices.DeleteFunc(slices.Clone(r.file.Codes), func(c Code) bool { return !c.UsedAt.IsZero() })
}

// Refused lists what was refused lately.
func (r *Registry) Refused() []Refusal { return r.refused.list() }

// Revoke takes a device's rights away and voids its code; a connection of it
// ends. Revoking again changes nothing.
func (r *Registry) Revoke(d schemas.DeviceID) (Device, error) {
	r.mu.Lock()
	i := slices.IndexFunc(r.file.Devices, func(x Device) bool { return x.Device == d })
	code := slices.ContainsFunc(r.file.Codes, func(c Code) bool { return c.Device == d && c.UsedAt.IsZero() })
	if i < 0 && !code {
		r.mu.Unlock()
		return Device{}, fault.Newf("revoke "+string(d), fault.NotFound, "no device of this name is enrolled", "hopperbook devices lists them")
	}
	err := r.change(func(k *keptDevices) {
		k.Codes = slices.DeleteFunc(k.Codes, func(c Code) bool { return c.Device == d && c.UsedAt.IsZero() })
		if i >= 0 && k.Devices[i].RevokedAt.IsZero() {
			k.Devices[i].RevokedAt = r.now().UTC()
		}
	})
	gone := Device{Device: d}
	if err == nil && i >= 0 {
		gone = r.file.Devices[i]
	}
	r.mu.Unlock()
	if err == nil && i >= 0 {
		r.cut(gone.PublicKey)
	}
	return gone, err
}

// remember keeps where tablets reach the hub, for codes that are made while it
// does not run.
func (r *Registry) remember(address string, tls bool) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.file.Address == address && r.file.TLS == tls {
		return nil
	}
	enrolled := slices.ContainsFunc(r.file.Devices, func(d Device) bool { return d.RevokedAt.IsZero() })
	if r.logf != nil && r.file.Address != "" && enrolled {
		r.logf("tablets reach this hub at %s now; those enrolled before go on looking at the address in their code (last was %s): keep that, or enrol them anew", address, r.file.Address)
	}
	return r.change(func(k *keptDevices) { k.Address, k.TLS = address, tls })
}

// authority opens the hub's CA, and remembers which it is.
func (r *Registry) authority() (*authority, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	ca, err := openAuthority(r.dir, r.now, r.file.CA)
	if err != nil || r.file.CA != "" {
		return ca, err
	}
	return ca, r.change(func(k *keptDevices) { k.CA = schemas.CAFingerprint(ca.cert.Raw) })
}

// byKey finds the device of a public key.
func (r *Registry) byKey(public string) (Device, bool) {
	i := slices.IndexFunc(r.file.Devices, func(d Device) bool { return d.PublicKey == public })
	if i < 0 {
		return Device{}, false
	}
	return r.file.Devices[i], true
}

func (r *Registry) nameOf(public string) schemas.DeviceID {
	r.mu.RLock()
	defer r.mu.RUnlock()
	d, _ := r.byKey(public)
	return d.Device
}
