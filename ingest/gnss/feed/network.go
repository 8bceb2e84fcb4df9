package feed

import (
	"context"
	"io"
	"net"
	"os"
	"time"

	"hopperbook/schemas/fault"
)

// opener is how the address is opened once.
func (a Address) opener() opener {
	open := map[Kind]func(context.Context, Address) (io.ReadCloser, error){
		Serial: openSerial, TCP: openTCP, UDP: openUDP, File: openFile, Stdin: openStdin,
	}[a.Kind]
	if open == nil {
		return func(context.Context) (io.ReadCloser, error) {
			return nil, fault.Newf("open "+a.String(), fault.Usage, "there is no such kind of address", "use serial, tcp, udp or file")
		}
	}
	return func(ctx context.Context) (io.ReadCloser, error) { return open(ctx, a) }
}

func openTCP(ctx context.Context, a Address) (io.ReadCloser, error) {
	d := net.Dialer{KeepAlive: 15 * time.Second}
	conn, err := d.DialContext(ctx, "tcp", a.Place)
	if err != nil {
		return nil, fault.New("connect to "+a.Place, fault.Unavailable, err, "check that the device is switched on and on the same network, and its port")
	}
	return conn, nil
}

func openUDP(ctx context.Context, a Address) (io.ReadCloser, error) {
	var lc net.ListenConfig
	conn, err := lc.ListenPacket(ctx, "udp", a.Place)
	if err != nil {
		return nil, fault.New("listen on UDP "+a.Place, fault.Unavailable, err, "another program may have the port: choose another one")
	}
	if u, ok := conn.(*net.UDPConn); ok {
		_ = u.SetReadBuffer(1 << 20) // a smaller one works too
	}
	return &datagrams{conn: conn}, nil
}

// datagrams makes a stream of bytes of datagrams: a read with little room must
// not cut one off.
type datagrams struct {
	conn  net.PacketConn
	lines bool // each datagram is a line
	buf   [64<<10 + 1]byte
	rest  []byte
}

func (d *datagrams) Read(p []byte) (int, error) {
	for len(d.rest) == 0 {
		n, _, err := d.conn.ReadFrom(d.buf[:len(d.buf)-1])
		if err != nil {
			return 0, err
		}
		if d.lines {
			d.buf[n] = '\n'
			n++
		}
		d.rest = d.buf[:n]
	}
	n := copy(p, d.rest)
	d.rest = d.rest[n:]
	return n, nil
}

func (d *datagrams) Close() error { return d.conn.Close() }

func openFile(_ context.Context, a Address) (io.ReadCloser, error) {
	f, err := os.Open(a.Place)
	if err != nil {
		return nil, fault.New("open the recorded log", fault.NotFound, err, "check the file's name, and that you may read it")
	}
	return f, nil
}

// openStdin reads in a goroutine of its own, because a read of a terminal
// cannot be broken off. It ends with the program.
func openStdin(context.Context, Address) (io.ReadCloser, error) {
	r, w := io.Pipe()
	go func() {
		_, err := io.Copy(w, os.Stdin)
		_ = w.CloseWithError(err) // never fails
	}()
	return r, nil
}
