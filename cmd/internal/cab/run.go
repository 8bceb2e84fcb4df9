package cab

import (
	"context"
	"errors"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"hopperbook/ingest/gnss/feed"
	"hopperbook/ingest/link"
	"hopperbook/ingest/outbox"
	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/drive"
	"hopperbook/ingest/tablet/page"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// Config is what a tablet is told when it starts.
type Config struct {
	Dir            string
	Device         schemas.DeviceID  // "": as Device finds it
	Machine        schemas.MachineID // "": the device's name
	Role           string            // tablet.RoleSpreader, tablet.RoleLoader
	TimeZone       string            // until the register says another
	GNSS           feed.Address      // Kind "": none
	Switch         feed.Address      // Kind "": none
	Drive          drive.Config
	Listen         string   // HOST:PORT of the page
	Hosts          []string // names the page may be asked by besides this machine's own
	LimitBytes     int64    // of the outbox; 0: its default
	BytesPerSecond int      // to the hub; 0: no cap
	Log            func(format string, args ...any)
}

// Ready is what runs once the page is served.
type Ready struct {
	URL     string
	Device  schemas.DeviceID
	Missing []string // what is not there, one sentence each
}

// Run is the tablet's program until ctx ends, which is no error. The last pass
// log is on the disk when it returns.
func Run(ctx context.Context, cfg Config, ready func(Ready)) (err error) {
	if err := makeDir(cfg.Dir); err != nil {
		return err
	}
	if cfg.Device, err = Device(cfg.Dir, cfg.Device); err != nil {
		return err
	}
	ln, err := listenPage(cfg)
	if err != nil {
		return err
	}
	defer ln.Close()
	box, err := outbox.Open(outbox.Config{Path: filepath.Join(cfg.Dir, outboxFile), Device: cfg.Device, LimitBytes: cfg.LimitBytes})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, box.Close()) }()
	agent, err := tablet.New(tablet.Config{Device: cfg.Device, Machine: cfg.Machine, Role: cfg.Role, Install: install(box.Source()), TimeZone: cfg.TimeZone,
		Store: store{box, cfg.Dir, cfg.Log}, Rules: Rules{}, Now: time.Now})
	if err != nil {
		return err
	}
	return work(ctx, cfg, box, agent, ln, ready)
}

// work runs all parts and ends them in order.
func work(ctx context.Context, cfg Config, box *outbox.Outbox, agent *tablet.Cab, ln net.Listener, ready func(Ready)) error {
	var empty atomic.Bool
	cfg.Drive.HopperEmpty = empty.Load
	cfg.Drive.PositionsOnly = cfg.Role == tablet.RoleLoader
	driver, err := drive.New(cfg.Drive, agent, drafts{box})
	if err != nil {
		return err
	}
	running, stop := context.WithCancel(ctx)
	defer stop()
	var parts sync.WaitGroup
	served := make(chan error, 1)
	go func() { served <- servePage(running, ln, agent, cfg) }()
	parts.Go(func() { agent.Run(running) })
	parts.Go(func() { driver.Run(running) })
	parts.Go(func() { watchHopper(running, agent, &empty) })
	parts.Go(func() { watchDisk(running, driver, cfg.Log) })
	parts.Go(func() {
		(&office{dir: cfg.Dir, box: box, agent: agent, bytesPerSecond: cfg.BytesPerSecond, log: cfg.Log}).run(running)
	})
	wait := newListener(driver, cfg.Log).listen(running, cfg)
	ready(Ready{URL: "http://" + ln.Addr().String() + "/", Device: cfg.Device, Missing: missing(cfg)})
	select {
	case <-ctx.Done():
	case err = <-served:
	}
	stop()
	wait()
	parts.Wait()
	err = errors.Join(err, driver.Close())
	if c := driver.Counts(); c.In+c.Recovered > 0 {
		cfg.Log("pass logs: %d fixes in, %d logged, %d too coarse, %d impossible, %d repeated, %d thinned while standing, %d not on the disk; %d of the run before recovered",
			c.In, c.Logged, c.Coarse, c.Impossible, c.Repeated, c.Thinned, c.Held+c.Lost+c.Refused, c.Recovered)
	}
	return err
}

func makeDir(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fault.New("make the tablet's folder", fault.Usage, err, "name a folder that can be written to with --dir")
	}
	return nil
}

// install tells installs apart by the first letters of their token.
func install(s schemas.Source) string {
	token := string(s)[strings.LastIndexByte(string(s), '/')+1:]
	return token[:min(4, len(token))]
}

func missing(cfg Config) []string {
	var out []string
	if cfg.GNSS.Kind == "" {
		out = append(out, "no receiver: name it with --gnss, for example --gnss serial:///dev/ttyUSB0?baud=115200; until then there are no pass logs")
	}
	if _, enrolled, err := link.ReadCredentials(cfg.Dir); err == nil && !enrolled {
		out = append(out, "not enrolled: entries stay on this tablet as "+string(cfg.Device)+" until it is; the office makes a code with `hopperbook enrol "+string(cfg.Device)+"`, and `hopperbook-tablet enrol CODE` takes it")
	}
	return out
}

// watchHopper keeps whether the hopper was read as empty and nothing came in
// since: only a reading counts, an estimate of nothing left does not.
func watchHopper(ctx context.Context, agent *tablet.Cab, empty *atomic.Bool) {
	for {
		changed := agent.Changed()
		h := agent.View().Hopper
		empty.Store(h.LastKnown == schemas.ResidualEmpty && h.LoadedKg != nil && *h.LoadedKg == 0)
		select {
		case <-ctx.Done():
			return
		case <-changed:
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(time.Second):
		}
	}
}

// watchDisk tells a person once when pass logs find no room, and once when
// they do again.
func watchDisk(ctx context.Context, d *drive.Driver, log func(string, ...any)) {
	t := time.NewTicker(time.Second)
	defer t.Stop()
	troubled := false
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
		switch err := d.Problem(); {
		case err != nil && !troubled:
			log("pass logs are not on the disk: %s", fault.Message(err))
			troubled = true
		case err == nil && troubled:
			log("pass logs are on the disk again")
			troubled = false
		}
	}
}

func listenPage(cfg Config) (net.Listener, error) {
	host, _, err := net.SplitHostPort(cfg.Listen)
	const op = "serve the page"
	if err != nil {
		return nil, fault.New(op, fault.Usage, err, "name --listen HOST:PORT, like 127.0.0.1:8480")
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) && len(cfg.Hosts) == 0 {
		return nil, fault.Newf(op, fault.Usage, host+" can be reached from other machines, and the page asks nobody who they are",
			"listen on 127.0.0.1, or say with --host by which name others may reach it on a network you trust")
	}
	ln, err := net.Listen("tcp", cfg.Listen)
	if err != nil {
		return nil, fault.New(op, fault.Held, err, "the tablet's program may be running already; else choose another port with --listen")
	}
	return ln, nil
}

func servePage(ctx context.Context, ln net.Listener, agent tablet.Agent, cfg Config) error {
	server := &http.Server{Handler: page.Handler(agent, page.Options{Hosts: cfg.Hosts}), ReadHeaderTimeout: 10 * time.Second,
		BaseContext: func(net.Listener) context.Context { return ctx }} // streams of news end with it
	go func() {
		<-ctx.Done()
		_ = server.Close() // what was confirmed is on the disk
	}()
	if err := server.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
		return fault.New("serve the page", fault.Internal, err, "")
	}
	return nil
}
