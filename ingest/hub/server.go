package hub

import (
	"fmt"
	"net"
	"path/filepath"
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

// Config says how a hub runs. The zero value plus Dir is a working hub.
type Config struct {
	Dir        string               // folder of the book; the stream lives in Dir/stream
	Listen     string               // host:port of the embedded server; "": DefaultListen; port 0: any free one
	NATS       string               // URL of an existing server to use instead of the embedded one
	Contractor schemas.ContractorID // "": "own"
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
	if !schemas.ValidToken(string(c.Contractor)) {
		return fault.Newf("start the hub", fault.Usage, fmt.Sprintf("contractor %q is not a token", c.Contractor), "use lower-case letters, digits, '-' and '_'")
	}
	return nil
}

// Hub is a running bus.
type Hub struct {
	cfg    Config
	server *server.Server // nil when an existing one is used
	url    string
	token  string // says which running hub it is
	conn   *nats.Conn
}

// Start brings up the bus: the server, a connection and the stream.
func Start(cfg Config) (*Hub, error) {
	if err := cfg.fill(); err != nil {
		return nil, err
	}
	h := &Hub{cfg: cfg, url: cfg.NATS, token: nuid.Next()}
	if cfg.NATS == "" {
		if err := h.startServer(); err != nil {
			return nil, err
		}
	}
	var opts []nats.Option
	if h.server != nil {
		opts = append(opts, nats.InProcessServer(h.server))
	}
	conn, err := connect(h.url, "hub", opts...)
	if err != nil {
		h.Close()
		return nil, err
	}
	h.conn = conn
	if err := h.ensureStream(); err != nil {
		h.Close()
		return nil, err
	}
	return h, nil
}

func (h *Hub) startServer() error {
	host, portText, err := net.SplitHostPort(h.cfg.Listen)
	port := 0
	if err == nil {
		port, err = strconv.Atoi(portText)
	}
	if err != nil {
		return fault.New("start the hub", fault.Usage, err, "give --listen as host:port, like "+DefaultListen)
	}
	if port == 0 {
		port = server.RANDOM_PORT
	} else if err := portFree(h.cfg.Listen); err != nil {
		return err
	}
	s, err := server.NewServer(&server.Options{
		ServerName: "hopperbook", Host: host, Port: port, MaxPayload: maxPayload, MaxPending: 4 * maxPayload,
		JetStream: true, StoreDir: filepath.Join(h.cfg.Dir, "stream"), NoSigs: true,
	})
	if err != nil {
		return fault.New("start the hub", fault.Internal, err, "")
	}
	s.SetLoggerV2(serverLog{h.cfg.Logf}, false, false, false)
	s.Start()
	if !s.ReadyForConnections(startTimeout) {
		s.Shutdown()
		return fault.Newf("start the hub", fault.Unavailable, "the embedded NATS server did not come up on "+h.cfg.Listen,
			"look at the lines above; the folder "+h.cfg.Dir+" must be writable and have room")
	}
	h.server, h.url = s, s.ClientURL()
	return nil
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
}

func connect(url, name string, opts ...nats.Option) (*nats.Conn, error) {
	// What goes wrong in the background shows where something waits for it
	// (an ack, a mark, an answer); the library's own lines would only disturb.
	quiet := nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})
	opts = append([]nats.Option{quiet, nats.Name("hopperbook " + name), nats.Timeout(5 * time.Second), nats.MaxReconnects(-1), nats.ReconnectWait(200 * time.Millisecond)}, opts...)
	conn, err := nats.Connect(url, opts...)
	if err != nil {
		return nil, fault.New("connect to "+url, fault.Unavailable, err, "is the hub running there? start one with: hopperbook hub")
	}
	return conn, nil
}

// serverLog passes the server's errors on; the rest is not for people (one
// warning is about our own choice of maxPayload).
type serverLog struct {
	logf func(string, ...any)
}

func (l serverLog) say(format string, v []any) {
	if l.logf != nil {
		l.logf("nats: "+format, v...)
	}
}
func (l serverLog) Noticef(string, ...any)    {}
func (l serverLog) Warnf(string, ...any)      {}
func (l serverLog) Fatalf(f string, v ...any) { l.say(f, v) }
func (l serverLog) Errorf(f string, v ...any) { l.say(f, v) }
func (l serverLog) Debugf(string, ...any)     {}
func (l serverLog) Tracef(string, ...any)     {}
