package hub

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

const (
	caLife     = 30 * 365 * 24 * time.Hour // outlives the tablets that pin it
	certLife   = 365 * 24 * time.Hour
	renewAhead = 60 * 24 * time.Hour
	backdate   = 48 * time.Hour // a tablet's clock may be behind the hub's
)

// authority is the hub's own CA: it signs the hub's certificate and nothing
// else, so that pinning it is pinning the hub.
type authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	now  func() time.Time
}

// openAuthority reads the folder's CA. It makes one only where none has been
// shown to tablets (pinned is ""): they know the hub by it, and another would
// lock them all out without a word.
func openAuthority(dir string, now func() time.Time, pinned string) (*authority, error) {
	const op = "read the hub's CA"
	certPEM, err := kept(filepath.Join(dir, caFile))
	if err != nil {
		return nil, err
	}
	keyPEM, err := kept(filepath.Join(dir, caKeyFile))
	if err != nil {
		return nil, err
	}
	switch {
	case pinned == "" && (certPEM == nil || keyPEM == nil):
		return makeAuthority(dir, now)
	case certPEM == nil || keyPEM == nil:
		return nil, fault.Newf(op, fault.Input, caFile+" or "+caKeyFile+" is gone from "+dir+", and the enrolled tablets take no other hub", whatAboutCA)
	}
	pair, err := tls.X509KeyPair(certPEM, keyPEM)
	key, ok := pair.PrivateKey.(*ecdsa.PrivateKey)
	if err != nil || !ok {
		return nil, fault.New(op, fault.Input, errors.Join(errNoPair, err), whatAboutCA)
	}
	if pinned != "" && schemas.CAFingerprint(pair.Leaf.Raw) != pinned {
		return nil, fault.Newf(op, fault.Input, caFile+" is not the one that the enrolled tablets know the hub by", whatAboutCA)
	}
	if now().After(pair.Leaf.NotAfter) {
		return nil, fault.Newf(op, fault.Input, "it ended on "+pair.Leaf.NotAfter.Format(time.DateOnly), whatAboutCA)
	}
	return &authority{pair.Leaf, key, now}, nil
}

// whatAboutCA is the way out: devices.json remembers which CA tablets pinned.
const whatAboutCA = "bring " + caFile + " and " + caKeyFile + " back from a backup; or remove both and " + devicesFile + ", and enrol every tablet anew"

var errNoPair = errors.New(caFile + " and " + caKeyFile + " are no certificate with its key")

func makeAuthority(dir string, now func() time.Time) (*authority, error) {
	const op = "make the hub's CA"
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fault.New(op, fault.Internal, err, "")
	}
	template := &x509.Certificate{
		SerialNumber: serial(), Subject: pkix.Name{CommonName: "hopperbook hub CA"},
		NotBefore: now().Add(-backdate), NotAfter: now().Add(caLife),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		return nil, fault.New(op, fault.Internal, err, "")
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, fault.New(op, fault.Internal, err, "")
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, fault.New(op, fault.Internal, err, "")
	}
	if err := keep(filepath.Join(dir, caKeyFile), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER})); err != nil {
		return nil, err
	}
	return &authority{cert, key, now}, keep(filepath.Join(dir, caFile), pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
}

func serial() *big.Int {
	raw := make([]byte, 16)
	_, _ = rand.Read(raw) // never fails, see crypto/rand
	raw[0] &= 0x7f
	return new(big.Int).SetBytes(raw)
}

// issue makes a certificate for the hub's names and addresses of today.
func (a *authority) issue(hosts []string) (*tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	end := a.now().Add(certLife)
	if end.After(a.cert.NotAfter) {
		end = a.cert.NotAfter
	}
	template := &x509.Certificate{
		SerialNumber: serial(), Subject: pkix.Name{CommonName: "hopperbook hub"}, NotBefore: a.now().Add(-backdate), NotAfter: end,
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		DNSNames: []string{schemas.HubServerName},
	}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			template.IPAddresses = append(template.IPAddresses, ip)
		} else if h != "" {
			template.DNSNames = append(template.DNSNames, h)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, key.Public(), a.key)
	if err != nil {
		return nil, err
	}
	leaf, err := x509.ParseCertificate(der)
	return &tls.Certificate{Certificate: [][]byte{der, a.cert.Raw}, PrivateKey: key, Leaf: leaf}, err
}

// serverConfig serves a certificate that is made at the first handshake and
// anew well before it ends: a hub may run for years. The certificate's key
// never touches the disk. The chain brings the CA, which is how a tablet meets
// it at its enrolment.
func (a *authority) serverConfig(hosts []string) *tls.Config {
	var mu sync.Mutex
	var current *tls.Certificate
	return &tls.Config{MinVersion: tls.VersionTLS13, GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
		mu.Lock()
		defer mu.Unlock()
		if current != nil && a.now().Add(renewAhead).Before(current.Leaf.NotAfter) {
			return current, nil
		}
		made, err := a.issue(hosts)
		if err != nil {
			return nil, err
		}
		current = made
		return current, nil
	}}
}

func (a *authority) pem() []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: a.cert.Raw})
}

// isLoopback reports whether a listen host is reached from this machine alone.
func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// hostsOf are the names and addresses by which the hub can be called: the one
// it listens on, or all of the machine's.
func hostsOf(listen string) []string {
	hosts := []string{"localhost", "127.0.0.1", "::1"}
	if name, err := os.Hostname(); err == nil {
		hosts = append(hosts, name)
	}
	if ip := net.ParseIP(listen); listen != "" && (ip == nil || !ip.IsUnspecified()) {
		return slices.Compact(append(hosts, listen))
	}
	return append(hosts, machineAddresses()...)
}

// machineAddresses are the machine's own, IPv4 first: what a person can type.
func machineAddresses() []string {
	addrs, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	var v4, v6 []string
	for _, a := range addrs {
		n, ok := a.(*net.IPNet)
		if !ok || !n.IP.IsGlobalUnicast() {
			continue
		}
		if n.IP.To4() != nil {
			v4 = append(v4, n.IP.String())
		} else {
			v6 = append(v6, n.IP.String())
		}
	}
	return append(v4, v6...)
}
