package linktest

import (
	"errors"
	"io"
	"net"
	"sync"
	"sync/atomic"
)

// Proxy passes TCP connections on to a target. NATS clients that go through it
// need nats.IgnoreDiscoveredServers, or the server tells them a way around.
type Proxy struct {
	listener net.Listener
	budget   func() int64
	passed   atomic.Int64

	mu     sync.Mutex
	target string // "": down
	open   map[net.Conn]bool
	cuts   int
}

// New starts a proxy on a free port of the loopback. budget (may be nil) gives
// how many bytes a connection passes in both directions before it is cut; 0:
// it is never cut.
func New(target string, budget func() int64) (*Proxy, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	p := &Proxy{listener: l, budget: budget, target: target, open: map[net.Conn]bool{}}
	go p.accept()
	return p, nil
}

// Addr is host:port of the proxy.
func (p *Proxy) Addr() string { return p.listener.Addr().String() }

// Passed is the bytes passed so far, both directions.
func (p *Proxy) Passed() int64 { return p.passed.Load() }

// Cuts is how many connections were cut.
func (p *Proxy) Cuts() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.cuts
}

// Retarget sends new connections elsewhere and cuts the open ones; "" takes
// the link down.
func (p *Proxy) Retarget(target string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.target = target
	for c := range p.open {
		p.cut(c)
	}
}

// cut is called with p.mu held.
func (p *Proxy) cut(c net.Conn) {
	if p.open[c] {
		delete(p.open, c)
		p.cuts++
		_ = c.Close() // cutting is the point
	}
}

// Close ends the proxy and cuts everything.
func (p *Proxy) Close() error {
	err := p.listener.Close()
	p.Retarget("")
	return err
}

func (p *Proxy) accept() {
	for {
		c, err := p.listener.Accept()
		if err != nil {
			return // closed
		}
		go p.serve(c)
	}
}

func (p *Proxy) serve(c net.Conn) {
	defer c.Close()
	p.mu.Lock()
	target := p.target
	p.open[c] = true
	p.mu.Unlock()
	defer func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.cut(c)
	}()
	if target == "" {
		return
	}
	up, err := net.Dial("tcp", target)
	if err != nil {
		return
	}
	defer up.Close()
	var left atomic.Int64
	left.Store(1 << 62)
	if p.budget != nil {
		if n := p.budget(); n > 0 {
			left.Store(n)
		}
	}
	done := make(chan struct{}, 2)
	pass := func(to, from net.Conn) {
		defer func() { done <- struct{}{} }()
		p.pass(to, from, &left)
	}
	go pass(up, c)
	go pass(c, up)
	<-done // either way shut is shut
}

func (p *Proxy) pass(to io.Writer, from io.Reader, left *atomic.Int64) {
	buf := make([]byte, 16<<10)
	for {
		n, err := from.Read(buf)
		if rest := left.Add(-int64(n)); rest < 0 {
			n, err = max(0, n+int(max(rest, -int64(n)))), errors.New("cut")
		}
		if n > 0 {
			p.passed.Add(int64(n))
			if _, err := to.Write(buf[:n]); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}
