package hub

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"path/filepath"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const (
	officeKeyFile = "office.nk"
	caFile        = "hub-ca.pem"
	caKeyFile     = "hub-ca.key"
)

// Access is what the office shows to its hub, and by what it knows it. The
// zero value is for a NATS server of somebody's own.
type Access struct {
	Seed  []byte // NKey seed of the office; empty: none
	CAPEM []byte // the hub's own CA; empty: the system's
}

// ReadAccess reads the access that a hub has left in the book's folder; zero
// where none has. Whoever can read the folder's key has the office's rights:
// the file is its owner's alone.
func ReadAccess(dir string) (Access, error) {
	seed, err := kept(filepath.Join(dir, officeKeyFile))
	if err != nil {
		return Access{}, err
	}
	ca, err := kept(filepath.Join(dir, caFile))
	return Access{Seed: bytes.TrimSpace(seed), CAPEM: ca}, err
}

// makeAccess gives the folder an office key if it has none.
func makeAccess(dir string) (Access, error) {
	a, err := ReadAccess(dir)
	if err != nil || len(a.Seed) > 0 {
		return a, err
	}
	pair, err := nkeys.CreateUser()
	if err != nil {
		return a, fault.New("make the office's key", fault.Internal, err, "")
	}
	seed, err := pair.Seed()
	if err != nil {
		return a, fault.New("make the office's key", fault.Internal, err, "")
	}
	a.Seed = seed
	return a, keep(filepath.Join(dir, officeKeyFile), append(bytes.Clone(seed), '\n'))
}

func (a Access) publicKey() (string, error) {
	pair, err := nkeys.FromSeed(a.Seed)
	if err == nil {
		var public string
		if public, err = pair.PublicKey(); err == nil {
			return public, nil
		}
	}
	return "", fault.New("read the office's key", fault.Input, err, "remove "+officeKeyFile+" from the book's folder; the hub makes another")
}

func (a Access) options() ([]nats.Option, error) {
	var opts []nats.Option
	if len(a.Seed) > 0 {
		public, err := a.publicKey()
		if err != nil {
			return nil, err
		}
		opts = append(opts, nats.Nkey(public, func(nonce []byte) ([]byte, error) {
			pair, err := nkeys.FromSeed(a.Seed)
			if err != nil {
				return nil, err
			}
			defer pair.Wipe()
			return pair.Sign(nonce)
		}))
	}
	if len(a.CAPEM) > 0 {
		pool := x509.NewCertPool()
		if !pool.AppendCertsFromPEM(a.CAPEM) {
			return nil, fault.Newf("read the hub's CA", fault.Input, caFile+" holds no certificate", "bring the file back from a backup, or remove "+caFile+" and "+caKeyFile+" and enrol every tablet anew")
		}
		opts = append(opts, func(o *nats.Options) error {
			o.TLSConfig = &tls.Config{RootCAs: pool, ServerName: schemas.HubServerName, MinVersion: tls.VersionTLS13}
			return nil
		})
	}
	return opts, nil
}
