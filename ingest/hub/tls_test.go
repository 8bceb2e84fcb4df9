package hub

import (
	"crypto/tls"
	"crypto/x509"
	"net"
	"slices"
	"testing"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// A certificate is made anew before it ends, by the same CA, and bears the
// names and addresses of the hub.
func TestTheCertificateIsRenewed(t *testing.T) {
	dir, now := t.TempDir(), time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	clock := func() time.Time { return now }
	ca, err := openAuthority(dir, clock, "")
	if err != nil {
		t.Fatal(err)
	}
	cfg := ca.serverConfig([]string{"office.lan", "192.0.2.7"})
	shown := func() *tls.Certificate {
		c, err := cfg.GetCertificate(nil)
		if err != nil {
			t.Fatal(err)
		}
		roots := x509.NewCertPool()
		roots.AppendCertsFromPEM(ca.pem())
		for _, name := range []string{schemas.HubServerName, "office.lan", "192.0.2.7"} {
			if _, err := c.Leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: name, CurrentTime: now}); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
		if _, err := c.Leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: "elsewhere.lan", CurrentTime: now}); err == nil {
			t.Error("it is good for any name")
		}
		return c
	}
	first := shown()
	now = now.Add(certLife - renewAhead - time.Hour)
	if shown() != first {
		t.Error("renewed too early")
	}
	now = now.Add(2 * time.Hour)
	if next := shown(); next == first || !next.Leaf.NotAfter.After(first.Leaf.NotAfter) {
		t.Error("not renewed")
	}
	again, err := openAuthority(dir, clock, "")
	if err != nil || !again.cert.Equal(ca.cert) {
		t.Errorf("another CA: %v", err)
	}
	now = now.Add(caLife)
	if _, err := openAuthority(dir, clock, ""); fault.CodeOf(err) != fault.Input || fault.HintOf(err) == "" {
		t.Errorf("an ended CA: %v", err)
	}
}

func TestHostsOf(t *testing.T) {
	one := hostsOf("192.0.2.7")
	if !slices.Contains(one, "192.0.2.7") || !slices.Contains(one, "localhost") {
		t.Errorf("hosts %v", one)
	}
	for _, h := range hostsOf("0.0.0.0") {
		if ip := net.ParseIP(h); ip != nil && ip.IsUnspecified() {
			t.Errorf("hosts have %s", h)
		}
	}
}
