package link

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"slices"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

var errStranger = errors.New("not the hub that is pinned")

// pinnedCA reads the CA that a tablet has pinned.
func pinnedCA(caPEM string) (*x509.Certificate, error) {
	var ca *x509.Certificate
	block, _ := pem.Decode([]byte(caPEM))
	err := errors.New("it is no certificate")
	if block != nil {
		ca, err = x509.ParseCertificate(block.Bytes)
	}
	if err != nil {
		return nil, fault.New("read the pinned CA", fault.Input, err, "enrol the tablet again")
	}
	return ca, nil
}

// pinnedConfig takes the hub of the CA and no other, by verifying by hand: the
// library would look at the tablet's clock.
func pinnedConfig(ca *x509.Certificate) *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS13, ServerName: schemas.HubServerName,
		InsecureSkipVerify: true, // the library's verification, in favour of VerifyConnection
		VerifyConnection: func(state tls.ConnectionState) error {
			if len(state.PeerCertificates) == 0 {
				return errStranger
			}
			return proves(state.PeerCertificates[0], ca)
		},
	}
}

// proves reports whether the CA has signed the certificate for the hub's name.
// Dates do not count: a tablet whose battery was empty comes up in another
// year and must get its events home, and the CA, which signs nothing but its
// hub's certificates, lies beside that hub anyway.
func proves(shown, ca *x509.Certificate) error {
	if err := shown.CheckSignatureFrom(ca); err != nil {
		return errors.Join(errStranger, err)
	}
	if !slices.Contains(shown.ExtKeyUsage, x509.ExtKeyUsageServerAuth) {
		return errStranger
	}
	return shown.VerifyHostname(schemas.HubServerName)
}
