package cab

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"hopperbook/ingest"
	"hopperbook/ingest/outbox"
	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/drive"
	"hopperbook/schemas/fault"
)

const (
	outboxFile = "outbox.db"
	packetFile = "office.json"
)

// store is the outbox as the agent needs it. The office's copies are a file
// beside it: they are no fact, and are fetched again where they are lost.
type store struct {
	*outbox.Outbox
	dir string
	log func(format string, args ...any)
}

func (s store) Append(entries []tablet.Entry, state func([]ingest.Outgoing) ([]byte, error)) ([]ingest.Outgoing, error) {
	all := make([]outbox.Entry, len(entries))
	for i, e := range entries {
		all[i] = outbox.Entry{At: e.At, Type: e.Type, Data: e.Data, Draft: e.Draft}
	}
	return s.AppendAll(all, state)
}

func (s store) Status() tablet.Status {
	now, err := s.Outbox.Status()
	if err != nil { // the page must show it, and has no other place for it
		s.log("the outbox cannot be looked at: %s", fault.Message(err))
		return tablet.Status{OutboxView: tablet.OutboxView{State: string(outbox.StateFull)}}
	}
	return tablet.Status{Confirmed: now.Confirmed, OutboxView: tablet.OutboxView{Waiting: now.Waiting, OldestAt: now.Oldest, Bytes: now.UsedBytes,
		LimitBytes: now.LimitBytes, State: string(now.State), DaysLeft: now.DaysLeft}}
}

func (s store) KeepPacket(packet []byte) error {
	return replaceFile(filepath.Join(s.dir, packetFile), packet)
}

func (s store) Packet() ([]byte, error) {
	raw, err := os.ReadFile(filepath.Join(s.dir, packetFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fault.New("read the office's copies", fault.Usage, err, "run the program as the user that owns "+s.dir)
	}
	return raw, nil
}

// replaceFile puts a file in the place of another in one step, so that a power
// cut leaves one of the two whole.
func replaceFile(name string, data []byte) error {
	const op, hint = "keep a file", "check the room on the tablet's disk"
	f, err := os.CreateTemp(filepath.Dir(name), filepath.Base(name)+".*")
	if err != nil {
		return fault.New(op, fault.Full, err, hint)
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		_ = os.Remove(f.Name()) // the first error is the one to tell
		return fault.New(op, fault.Full, err, hint)
	}
	return nil
}

// drafts is the outbox as pass logs that are being gathered need it.
type drafts struct{ box *outbox.Outbox }

func (d drafts) Put(key string, data []byte) error { return d.box.Draft(key, data) }

func (d drafts) All() ([]drive.Draft, error) {
	kept, err := d.box.Drafts()
	all := make([]drive.Draft, len(kept))
	for i, k := range kept {
		all[i] = drive.Draft(k)
	}
	return all, err
}
