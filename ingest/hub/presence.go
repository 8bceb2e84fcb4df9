package hub

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Presence is the note a hub leaves in the book's folder: where it answers,
// and a token it answers hello with, because a killed hub leaves its note and
// another one may listen there by then.
type Presence struct {
	URL        string               `json:"url"`
	Contractor schemas.ContractorID `json:"contractor"`
	PID        int                  `json:"pid"`
	Token      string               `json:"token"`
}

// Presence is the hub's own.
func (h *Hub) Presence() Presence {
	return Presence{URL: h.url, Contractor: h.cfg.Contractor, PID: os.Getpid(), Token: h.token}
}

const presenceFile = "hub.json"

// LeavePresence writes the note; it is whole or not there (written aside and
// renamed).
func LeavePresence(dir string, p Presence) error {
	raw, err := json.Marshal(p)
	if err != nil {
		return fault.New("say where the hub answers", fault.Internal, err, "")
	}
	name := filepath.Join(dir, presenceFile)
	// Whoever knew the token could answer in the place of a hub that was killed.
	if err := os.WriteFile(name+".new", append(raw, '\n'), secretMode); err != nil {
		return fault.New("say where the hub answers", fault.Full, err, "is "+dir+" writable, and has the disk room?")
	}
	if err := os.Rename(name+".new", name); err != nil {
		return fault.New("say where the hub answers", fault.Internal, err, "")
	}
	return nil
}

// RemovePresence takes the note away; a missing one is fine.
func RemovePresence(dir string) error {
	err := os.Remove(filepath.Join(dir, presenceFile))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fault.New("take the hub's note away", fault.Internal, err, "")
	}
	return nil
}

// ReadPresence reads the note; ok is false when there is none. A hub that was
// killed leaves a stale one: the caller tries the URL.
func ReadPresence(dir string) (p Presence, ok bool, err error) {
	raw, err := os.ReadFile(filepath.Join(dir, presenceFile))
	if errors.Is(err, fs.ErrNotExist) {
		return Presence{}, false, nil
	}
	if err != nil {
		return Presence{}, false, fault.New("look for the book's hub", fault.Usage, err, "is "+dir+" a folder you may read? name the book's folder")
	}
	if err := json.Unmarshal(raw, &p); err != nil {
		return Presence{}, false, fault.New("read the hub's note", fault.Input, err, "remove "+filepath.Join(dir, presenceFile)+" if no hub is running")
	}
	return p, true, nil
}
