package link

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"net"
	"os"
	"path/filepath"

	"github.com/nats-io/nkeys"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Credentials are what a tablet has after its enrolment: where its hub is, who
// it is, and how both prove it. The zero value is of a tablet that was never
// enrolled.
type Credentials struct {
	Schema     string               `json:"schema"` // "hopperbook.credentials/1"
	Hub        string               `json:"hub"`    // host:port
	Contractor schemas.ContractorID `json:"contractor"`
	Device     schemas.DeviceID     `json:"device"`
	CAPEM      string               `json:"ca_pem,omitempty"` // the hub's CA, pinned; "": loopback without TLS
	Seed       string               `json:"seed"`             // of the NKey; made here, never sent
}

const (
	schemaCredentials = "hopperbook.credentials/1"
	credentialsFile   = "credentials.json"
	pendingFile       = "enrolling.json"
)

// Enrolled reports whether there is something to connect with.
func (c Credentials) Enrolled() bool { return c.Seed != "" }

// Validate lists what must hold before a connection is made: a hub, names, a
// key, and a pinned CA for anything but loopback.
func (c Credentials) Validate() error {
	const op = "use the tablet's credentials"
	host, _, err := net.SplitHostPort(c.Hub)
	switch {
	case c.Schema != schemaCredentials:
		return fault.Newf(op, fault.TooNew, "they are "+c.Schema, "update the tablet's program")
	case err != nil:
		return fault.New(op, fault.Input, err, "enrol the tablet again")
	case !schemas.ValidToken(string(c.Contractor)) || !schemas.ValidToken(string(c.Device)):
		return fault.Newf(op, fault.Input, "contractor or device are no names", "enrol the tablet again")
	case c.CAPEM == "" && !loopback(host):
		return fault.Newf(op, fault.Input, "no CA is pinned for a hub that is not on this machine", "enrol the tablet again")
	}
	if c.CAPEM != "" {
		if _, err := pinnedCA(c.CAPEM); err != nil {
			return err
		}
	}
	_, err = c.publicKey()
	return err
}

func (c Credentials) publicKey() (string, error) {
	pair, err := nkeys.FromSeed([]byte(c.Seed))
	if err != nil {
		return "", fault.New("use the tablet's credentials", fault.Input, err, "enrol the tablet again")
	}
	defer pair.Wipe()
	public, err := pair.PublicKey()
	if err != nil {
		return "", fault.New("use the tablet's credentials", fault.Input, err, "enrol the tablet again")
	}
	return public, nil
}

func (c Credentials) sign(nonce []byte) ([]byte, error) {
	pair, err := nkeys.FromSeed([]byte(c.Seed))
	if err != nil {
		return nil, err
	}
	defer pair.Wipe()
	return pair.Sign(nonce)
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// ReadCredentials reads what Enrol has kept in the folder; ok is false where
// the tablet was never enrolled.
func ReadCredentials(dir string) (c Credentials, ok bool, err error) {
	ok, err = readKept(filepath.Join(dir, credentialsFile), &c)
	if err == nil && ok {
		err = c.Validate()
	}
	return c, ok && err == nil, err
}

func readKept(name string, v any) (bool, error) {
	raw, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fault.New("read "+filepath.Base(name), fault.Usage, err, "run the tablet's program as the user that enrolled it")
	}
	if err := json.NewDecoder(bytes.NewReader(raw)).Decode(v); err != nil {
		return false, fault.New("read "+filepath.Base(name), fault.Input, err, "remove "+name+" and enrol the tablet again")
	}
	return true, nil
}

// keep writes a file whole or not at all, for the owner's eyes alone.
func keep(name string, v any) error {
	raw, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		return fault.New("keep the credentials", fault.Internal, err, "")
	}
	fail := func(err error) error {
		return fault.New("keep the credentials", fault.Full, err, "is "+filepath.Dir(name)+" writable, and has the disk room?")
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
		return fail(err)
	}
	f, err := os.OpenFile(name+".new", os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return fail(err)
	}
	_, err = f.Write(append(raw, '\n'))
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(name+".new", name)
	}
	if err != nil {
		return fail(err)
	}
	return nil
}
