package hub

import (
	"net"
	"os"
	"time"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Registry is who may speak on the hub's own server; a fault where the hub
// uses somebody's own, which has its own users.
func (h *Hub) Registry() (*Registry, error) {
	if h.registry == nil {
		return nil, fault.Newf("look up the enrolled devices", fault.Usage, "the hub uses a NATS server of your own, whose users are its own", "make and revoke users there")
	}
	return h.registry, nil
}

// GivenCode is a one-time code as the office hands it to a tablet's operator.
type GivenCode struct {
	Schema    string           `json:"schema"` // "hopperbook.code/1"
	Device    schemas.DeviceID `json:"device"`
	Code      string           `json:"code"` // the line to type or scan
	Address   string           `json:"address"`
	TLS       bool             `json:"tls"`
	ExpiresAt time.Time        `json:"expires_at"`
}

// NewCode makes a one-time code that is good for life (0: DefaultCodeLife).
// address is where the tablet reaches the hub ("": where the hub that is meant
// to last was last started). A code for anything but loopback carries the
// fingerprint of the hub's CA.
func (h *Hub) NewCode(d schemas.DeviceID, life time.Duration, address string) (GivenCode, error) {
	r, err := h.Registry()
	if err != nil {
		return GivenCode{}, err
	}
	tls := h.cfg.TLS
	if address == "" {
		r.mu.RLock()
		address, tls = r.file.Address, tls || r.file.TLS
		r.mu.RUnlock()
	}
	if address == "" {
		return GivenCode{}, fault.Newf("enrol "+string(d), fault.Usage, "it is not known where tablets reach the hub", "start it once with: hopperbook hub --listen HOST:PORT, or give --address HOST:PORT")
	}
	host, _, err := net.SplitHostPort(address)
	fingerprint := ""
	if err == nil && (tls || !isLoopback(host)) {
		ca := h.ca
		if ca == nil {
			if ca, err = r.authority(); err != nil {
				return GivenCode{}, err
			}
		}
		fingerprint = schemas.CAFingerprint(ca.cert.Raw)
	}
	code, expires, err := r.newCode(d, life, address, fingerprint)
	return GivenCode{Schema: "hopperbook.code/1", Device: d, Code: code.String(), Address: code.Hub, TLS: fingerprint != "", ExpiresAt: expires}, err
}

// Remember keeps where tablets reach this hub, so that codes can be made for
// it also while it does not run.
func (h *Hub) Remember() error {
	if h.registry == nil {
		return nil
	}
	return h.registry.remember(h.address(), h.ca != nil)
}

// TabletAddress is where tablets on the network reach the hub; "" where none
// does: on loopback, or on a server of somebody's own.
func (h *Hub) TabletAddress() string {
	if h.registry == nil {
		return ""
	}
	address := h.address()
	if host, _, _ := net.SplitHostPort(address); isLoopback(host) {
		return ""
	}
	return address
}

// address is where tablets reach the hub: where it listens, or on all of the
// machine's addresses the first that a person can type.
func (h *Hub) address() string {
	host, _, _ := net.SplitHostPort(h.cfg.Listen) // startServer has read it
	_, port, _ := net.SplitHostPort(h.server.Addr().String())
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		if own := machineAddresses(); len(own) > 0 {
			host = own[0]
		} else if name, err := os.Hostname(); err == nil {
			host = name
		}
	}
	return net.JoinHostPort(host, port)
}
