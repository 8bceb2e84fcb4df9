package hub

import (
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nuid"

	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// DefaultListen is where a hub listens when nothing else is said: loopback,
// because an open port wants enrolled tablets and TLS.
const DefaultListen = "127.0.0.1:4222"

// maxPayload lets an event far over the contract's size reach the book's
// rejects instead of failing at the socket.
const maxPayload = 32 << 20

const startTimeout = 20 * time.Second

// handshakeTimeout leaves a tablet with a poor signal the time it needs.
const handshakeTimeout = 15 * time.Second

// Config says how a hub runs. The zero value plus Dir is a working hub.
type Config struct {
	Dir        string               // folder of the book; the stream lives in Dir/stream
	Listen     string               // host:port of the embedded server; "": DefaultListen; port 0: any free one
	NATS       string               // URL of an existing server to use instead of the embedded one
	Contractor schemas.ContractorID // "": "own"
	TLS        bool                 // also on loopback; elsewhere always
	Access     Access               // to an existing server
	Now        func() time.Time     // nil: time.Now
	Logf       func(format string, args ...any)
}

// DefaultContractor is the contractor token of a hub that was given none.
const DefaultContractor schemas.ContractorID = "own"

func (c *Config) fill() error {
	if c.Listen == "" {
		c.Listen = DefaultListen
	}
	if c.Contractor == "" {
		c.Contractor = DefaultContractor
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if !schemas.ValidToken(string(c.Contractor)) {
		return fault.Newf("start the hub", fault.Usage, fmt.Sprintf("contractor %q is not a token", c.Contractor), "use lower-case letters, digits, '-' and '_'")
	}
	return nil
}

// Hub is a running bus.
type Hub struct {
	cfg      Config
	server   *server.Server // nil when an existing one is used
	registry *Registry      // nil when an existing server is used
	access   Access
	ca       *authority // nil without TLS
	url      string
	token    string // says which running hub it is
	conn     *nats.Conn
	refused  chan violation
	closing  chan struct{} // closed to end watch
	watched  chan struct{} // closed when watch has ended
}

// Start brings up the bus: the server, a connection and the stream.
func Start(cfg Config) (*Hub, error) {
	if err := cfg.fill(); err != nil {
		return nil, err
	}
	h := &Hub{cfg: cfg, url: cfg.NATS, access: cfg.Access, token: nuid.Next()}
	if err := h.bringUp(); err != nil {
		h.Close()
		return nil, err
	}
	return h, nil
}

func (h *Hub) bringUp() (err error) {
	if h.cfg.NATS != "" {
		h.conn, err = connect(h.url, "hub", h.access)
	} else if err = h.startServer(); err == nil {
		// Inside the process there is no wire to be heard on.
		h.conn, err = connect("nats://in-process", "hub", Access{Seed: h.access.Seed}, nats.InProcessServer(h.server))
	}
	if err != nil {
		return err
	}
	if h.registry != nil {
		if err := h.takeEnrolments(); err != nil {
			return err
		}
	}
	return h.ensureStream()
}

func (h *Hub) startServer() error {
	host, port, err := splitListen(h.cfg.Listen)
	if err != nil {
		return err
	}
	if h.registry, err = openRegistry(h.cfg.Dir, h.cfg.Contractor, h.cfg.Now, h.cfg.Logf); err != nil {
		return err
	}
	if h.access, err = makeAccess(h.cfg.Dir); err != nil {
		return err
	}
	office, err := h.access.publicKey()
	if err != nil {
		return err
	}
	h.refused = make(chan violation, 256)
	o := &server.Options{
		ServerName: "hopperbook", Host: host, Port: port, MaxPayload: maxPayload, MaxPending: 4 * maxPayload,
		JetStream: true, StoreDir: filepath.Join(h.cfg.Dir, "stream"), NoSigs: true, AlwaysEnableNonce: true, AuthTimeout: handshakeTimeout.Seconds(),
		CustomClientAuthentication: &gate{registry: h.registry, office: office},
	}
	if h.cfg.TLS || !isLoopback(host) {
		if h.ca, err = h.registry.authority(); err != nil {
			return err
		}
		h.access.CAPEM = h.ca.pem()
		o.TLSConfig, o.TLSTimeout = h.ca.serverConfig(hostsOf(host)), handshakeTimeout.Seconds()
	}
	s, err := server.NewServer(o)
	if err != nil {
		return fault.New("start the hub", fault.Internal, err, "")
	}
	s.SetLoggerV2(serverLog{h.cfg.Logf, h.refused}, false, false, false)
	s.Start()
	if !s.ReadyForConnections(startTimeout) {
		s.Shutdown()
		return fault.Newf("start the hub", fault.Unavailable, "the embedded NATS server did not come up on "+h.cfg.Listen,
			"look at the lines above; the folder "+h.cfg.Dir+" must be writable and have room")
	}
	h.server, h.url, h.watched = s, localURL(s.Addr(), host, h.ca != nil), make(chan struct{})
	h.closing = make(chan struct{})
	h.registry.cut = h.disconnect
	go h.watch()
	return nil
}

func splitListen(listen string) (host string, port int, err error) {
	host, portText, err := net.SplitHostPort(listen)
	if err == nil {
		port, err = strconv.Atoi(portText)
	}
	if err != nil {
		return "", 0, fault.New("start the hub", fault.Usage, err, "give --listen as host:port, like "+DefaultListen)
	}
	if port == 0 {
		return host, server.RANDOM_PORT, nil
	}
	return host, port, portFree(listen)
}

// localURL is where commands on this machine reach the server.
func localURL(at net.Addr, host string, tls bool) string {
	_, port, _ := net.SplitHostPort(at.String())
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	scheme := "nats://"
	if tls {
		scheme = "tls://"
	}
	return scheme + net.JoinHostPort(host, port)
}

// portFree asks for the port first, because a taken one is what a newcomer
// meets, and the server would only say so in its log.
func portFree(listen string) error {
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return fault.New("start the hub", fault.Unavailable, err, listen+" is taken by another program or is no address of this machine; --listen 127.0.0.1:0 takes any free port")
	}
	return l.Close()
}

// URL is where clients reach the bus.
func (h *Hub) URL() string { return h.url }

// Contractor is whose events the hub takes.
func (h *Hub) Contractor() schemas.ContractorID { return h.cfg.Contractor }

// Close ends connection and server; what the stream holds stays on disk.
func (h *Hub) Close() {
	if h.conn != nil {
		h.conn.Close()
	}
	if h.server != nil {
		h.server.Shutdown()
		h.server.WaitForShutdown()
	}
	if h.watched != nil {
		close(h.closing)
		<-h.watched
		h.watched = nil
		h.registry.refused.close()
	}
}

func connect(url, name string, access Access, opts ...nats.Option) (*nats.Conn, error) {
	shown, err := access.options()
	if err != nil {
		return nil, err
	}
	// What goes wrong in the background shows where something waits for it
	// (an ack, a mark, an answer); the library's own lines would only disturb.
	quiet := nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})
	opts = append([]nats.Option{quiet, nats.Name("hopperbook " + name), nats.Timeout(5 * time.Second), nats.MaxReconnects(-1), nats.ReconnectWait(200 * time.Millisecond)}, slices.Concat(shown, opts)...)
	conn, err := nats.Connect(url, opts...)
	var unknownCA x509.UnknownAuthorityError
	switch {
	case errors.Is(err, nats.ErrAuthorization) || errors.As(err, &unknownCA):
		return nil, fault.New("connect to "+url, fault.Usage, err, "the hub's key and CA are "+officeKeyFile+" and "+caFile+" in its book's folder: name the folder, or one with copies of both, with --book DIR")
	case err != nil:
		return nil, fault.New("connect to "+url, fault.Unavailable, err, "is the hub running there? start one with: hopperbook hub")
	}
	return conn, nil
}
