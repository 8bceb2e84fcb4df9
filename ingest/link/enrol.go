package link

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// enrolWait is how long a hub may take to answer one try.
const enrolWait = 20 * time.Second

// Enrol hands in a one-time code and keeps the credentials in the folder. The
// NKey is made here and only its public part is sent. The CA of the hub is
// taken only where its fingerprint is the code's. When the answer is lost on
// the way, the same code may be tried again from the same folder.
func Enrol(ctx context.Context, line, dir string) (Credentials, error) {
	code, err := schemas.ParseEnrolCode(line)
	if err != nil {
		return Credentials{}, err
	}
	if host, _, _ := net.SplitHostPort(code.Hub); code.Fingerprint == "" && !loopback(host) {
		return Credentials{}, fault.Newf("enrol the tablet", fault.Input, "the code names no CA, and its hub is not on this machine", "ask the office for a new code")
	}
	c, err := pending(code, dir)
	if err != nil {
		return Credentials{}, err
	}
	if c.CAPEM, err = handIn(ctx, code, c); err != nil {
		return Credentials{}, err
	}
	if err := c.Validate(); err != nil {
		return Credentials{}, err
	}
	if err := keep(filepath.Join(dir, credentialsFile), c); err != nil {
		return Credentials{}, err
	}
	if err := os.Remove(filepath.Join(dir, pendingFile)); err != nil {
		return Credentials{}, fault.New("enrol the tablet", fault.Internal, err, "remove "+filepath.Join(dir, pendingFile))
	}
	return c, nil
}

// attempt is an enrolment under way.
type attempt struct {
	Code string `json:"code"`
	Seed string `json:"seed"`
}

// pending is what the credentials will be but for the CA. The key is that of an
// earlier try with the same code, or a new one, on the disk before it is first
// shown to the hub.
func pending(code schemas.EnrolCode, dir string) (Credentials, error) {
	c := Credentials{Schema: schemaCredentials, Hub: code.Hub, Contractor: code.Contractor, Device: code.Device}
	name := filepath.Join(dir, pendingFile)
	var before attempt
	if ok, err := readKept(name, &before); err == nil && ok && before.Code == code.String() {
		c.Seed = before.Seed
		return c, nil
	}
	pair, err := nkeys.CreateUser()
	if err != nil {
		return c, fault.New("make the tablet's key", fault.Internal, err, "")
	}
	seed, err := pair.Seed()
	if err != nil {
		return c, fault.New("make the tablet's key", fault.Internal, err, "")
	}
	c.Seed = string(seed)
	return c, keep(name, attempt{code.String(), c.Seed})
}

// handIn asks the hub and returns the CA that it proved (PEM; "" without TLS).
func handIn(ctx context.Context, code schemas.EnrolCode, c Credentials) (caPEM string, err error) {
	const op = "enrol the tablet"
	public, err := c.publicKey()
	if err != nil {
		return "", err
	}
	body, err := json.Marshal(schemas.EnrolRequest{Device: code.Device, Code: code.Secret, PublicKey: public})
	if err != nil {
		return "", fault.New(op, fault.Internal, err, "")
	}
	var met pinning
	opts := []nats.Option{nats.Name("hopperbook tablet " + string(code.Device) + " enrols"), nats.UserInfo(schemas.EnrolUser, schemas.EnrolUser),
		nats.CustomInboxPrefix(schemas.EnrolInbox), nats.NoReconnect(), nats.IgnoreDiscoveredServers(), nats.Timeout(enrolWait)}
	url := "nats://" + code.Hub
	if code.Fingerprint != "" {
		url = "tls://" + code.Hub
		met.fingerprint = code.Fingerprint
		opts = append(opts, func(o *nats.Options) error {
			o.TLSConfig = met.config()
			return nil
		})
	}
	conn, err := nats.Connect(url, opts...)
	switch {
	case met.stranger:
		return "", fault.Newf(op, fault.Conflict, "what answers at "+code.Hub+" is not the hub that made the code", "check the address and the network, then ask the office for a new code; do not go on if this stays")
	case err != nil:
		return "", fault.New(op, fault.Unavailable, err, "is the hub running, and can it be reached at "+code.Hub+" from here? Try the same code again")
	}
	defer conn.Close()
	ctx, stop := context.WithTimeout(ctx, enrolWait)
	defer stop()
	reply, err := conn.RequestWithContext(ctx, schemas.EnrolSubject(code.Contractor), body)
	if err != nil {
		return "", fault.New(op, fault.Unavailable, err, "try the same code again")
	}
	var answer schemas.EnrolAnswer
	switch err := json.Unmarshal(reply.Data, &answer); {
	case err != nil:
		return "", fault.New(op, fault.Input, err, "hub and tablet are of different versions; update the older")
	case answer.Refused != "":
		return "", fault.Newf(op, fault.Conflict, "the hub refused: "+answer.Refused, answer.Hint)
	case answer.Device != code.Device || answer.Contractor != code.Contractor:
		return "", fault.Newf(op, fault.Conflict, "the hub answered for another device", "ask the office for a new code")
	}
	return met.caPEM, nil
}

// pinning meets a hub whose CA is known by its fingerprint only.
type pinning struct {
	fingerprint string
	caPEM       string // once met
	stranger    bool   // somebody else answered
}

// config verifies by hand because there is no CA to give to the library yet:
// the chain must end in a CA of the fingerprint, which must have signed a
// certificate with the hub's name.
func (p *pinning) config() *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS13, ServerName: schemas.HubServerName,
		InsecureSkipVerify: true, // the library's verification, in favour of VerifyConnection
		VerifyConnection: func(state tls.ConnectionState) error {
			err := p.verify(state.PeerCertificates)
			p.stranger = err != nil
			return err
		},
	}
}

func (p *pinning) verify(chain []*x509.Certificate) error {
	if len(chain) < 2 {
		return errStranger
	}
	ca := chain[len(chain)-1]
	if schemas.CAFingerprint(ca.Raw) != p.fingerprint || !ca.IsCA {
		return errStranger
	}
	if err := proves(chain[0], ca); err != nil {
		return err
	}
	p.caPEM = string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: ca.Raw}))
	return nil
}
