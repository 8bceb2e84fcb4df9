package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/tidwall/gjson"

	"hopperbook/cmd/internal/cab"
	"hopperbook/ingest/gnss/feed"
	"hopperbook/ingest/link"
	"hopperbook/ingest/link/linktest"
	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/drive"
	"hopperbook/ingest/tablet/page/pagetest"
	"hopperbook/schemas"
)

// A whole day on the real page before the real program, without a link, then
// with a real hub: what the operator entered is what the book holds.

// realHub is the hub's program over a book of its own.
type realHub struct {
	t            *testing.T
	binary, book string
	addr         string
	hub          *proc
	proxy        *linktest.Proxy // the way of the tablet
}

func newHub(t *testing.T) *realHub {
	t.Helper()
	proxy, err := linktest.New("", nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = proxy.Close() })
	h := &realHub{t: t, binary: buildHub(t), book: filepath.Join(t.TempDir(), "book"), proxy: proxy}
	p := start(t, exec.Command(h.binary, "hub", "--book", h.book, "--listen", "127.0.0.1:0", "--tls"))
	h.hub = p
	if !p.lines.Scan() {
		_ = p.cmd.Wait() // stderr says why it ended
		t.Fatalf("the hub did not come up: %s", p.err.String())
	}
	url, _, _ := strings.Cut(strings.TrimPrefix(p.lines.Text(), "hub ready: "), ",")
	_, h.addr, _ = strings.Cut(url, "://")
	h.mend()
	return h
}

func (h *realHub) mend() { h.proxy.Retarget(h.addr) }

func (h *realHub) cut() { h.proxy.Retarget("") }

func (h *realHub) run(args ...string) string {
	h.t.Helper()
	cmd := exec.Command(h.binary, append(args, "--book", h.book)...)
	out, err := cmd.Output()
	if err != nil {
		h.t.Fatalf("%v: %v %s", args, err, out)
	}
	return string(out)
}

// publish sends bare lines as an office does.
func (h *realHub) publish(lines ...string) {
	h.t.Helper()
	name := filepath.Join(h.t.TempDir(), "office.jsonl")
	if err := os.WriteFile(name, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		h.t.Fatal(err)
	}
	h.run("publish", name)
}

// enrol lets a running tablet in by a code.
func (h *realHub) enrol(dir string) {
	h.t.Helper()
	code := gjson.Get(h.run("enrol", killDevice, "--address", h.proxy.Addr(), "--json"), "code").Str
	if _, err := link.Enrol(h.t.Context(), code, dir); err != nil {
		h.t.Fatal(err)
	}
}

// events are the book's events of the tablet, in their order.
func (h *realHub) events() (all []gjson.Result) {
	h.t.Helper()
	for line := range strings.Lines(h.run("export", "events")) {
		if e := gjson.Parse(line); strings.HasPrefix(e.Get("source").Str, "/devices/"+killDevice+"/") {
			all = append(all, e)
		}
	}
	return all
}

// realCab is the tablet's program in this process.
type realCab struct {
	url   string
	mu    sync.Mutex
	told  strings.Builder
	ended chan error
	stop  func()
}

func startCab(t *testing.T, dir, gnss string) *realCab {
	t.Helper()
	c := &realCab{ended: make(chan error, 1)}
	cfg := cab.Config{Dir: dir, Device: killDevice, Role: tablet.RoleSpreader, TimeZone: "UTC", Listen: "127.0.0.1:0",
		Drive: drive.Config{MinKmh: 3, MaxKmh: 30, Coarsest: schemas.QualityGNSS},
		Log: func(format string, args ...any) {
			c.mu.Lock()
			defer c.mu.Unlock()
			fmt.Fprintf(&c.told, format+"\n", args...)
		}}
	if gnss != "" {
		var err error
		if cfg.GNSS, err = feed.ParseReceiver(gnss); err != nil {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	ready := make(chan string, 1)
	go func() { c.ended <- cab.Run(ctx, cfg, func(r cab.Ready) { ready <- r.URL }) }()
	select {
	case c.url = <-ready:
	case err := <-c.ended:
		t.Fatalf("the tablet did not start: %v", err)
	}
	c.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-c.ended; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(c.stop)
	return c
}

// office is what the office has registered: three fields, nearest last.
func office() []string {
	line := func(kind, data string) string {
		return `{"type":"` + kind + `","time":"2026-03-20T08:00:00Z","data":` + data + `}`
	}
	field := func(id, name string, lat, lon float64) string {
		ring := fmt.Sprintf("[[%[2]g,%[1]g],[%[4]g,%[1]g],[%[4]g,%[3]g],[%[2]g,%[3]g],[%[2]g,%[1]g]]", lat, lon, lat+0.004, lon+0.03)
		return line("register.field", `{"field":"`+id+`","customer":"alder","name":"`+name+`","boundary":{"type":"Polygon","coordinates":[`+ring+`]}}`)
	}
	job := func(id, field string) string {
		return line("register.job", `{"job":"`+id+`","customer":"alder","fields":["`+field+`"],"product":"lime","set_rate_kg_ha":2500}`)
	}
	return []string{
		line("register.customer", `{"customer":"alder","name":"Alder Farm"}`),
		line("register.machine", `{"machine":"`+killDevice+`","name":"Spreader one","hopper_m3":8}`),
		line("register.product", `{"product":"lime","name":"Ground lime","form":"powder","bulk_density_kg_m3":1250}`),
		field("far", "Far Piece", 50.3, 8.3), field("mid", "Mid Piece", 50.05, 8), field("near", "North Four", 49.9999, 7.9999),
		job("j-far", "far"), job("j-mid", "mid"), job("j-near", "near"),
	}
}

// aDay are the entries of a day as the book must hold them.
type aDay struct {
	t    *testing.T
	c    *pagetest.Cab
	want []entered
}

type entered struct {
	kind string
	data map[string]any // those that the operator entered
}

func (d *aDay) booked(kind, data string) {
	d.t.Helper()
	var v map[string]any
	if err := json.Unmarshal([]byte(data), &v); err != nil {
		d.t.Fatal(err)
	}
	d.want = append(d.want, entered{kind, v})
}

func (d *aDay) add(numbers ...string) {
	d.t.Helper()
	for _, n := range numbers {
		d.c.Keys(n)
		d.c.Do("add", chromedp.Click(chromedp.CSS(".add")))
	}
}

// product names the product: typed where the office has sent none.
func (d *aDay) product(typed bool) {
	d.t.Helper()
	if typed {
		d.c.Write("product", "Lime")
	}
}

func (d *aDay) book() {
	d.t.Helper()
	d.c.Tap("book")
	d.c.Screen("home")
}

// setUp: who, what the machine is set to, its check, the wind.
func (d *aDay) setUp(typed bool) {
	c := d.c
	c.To("who")
	c.Write("name", "Wren Marlow")
	d.book()
	c.To("setting")
	d.product(typed)
	for name, value := range map[string]string{"rate": "2500", "width": "24", "gate": "140", "gear": "2", "pto": "540"} {
		c.Write(name, value)
	}
	c.Choose("discs", "powder")
	d.book()
	d.booked("setting.changed", `{"product":"lime","bout_width_m":24,"set_rate_kg_ha":2500,"gate_mm":140,"belt_gear":"2","pto_rpm":540,"disc_set":"powder"}`)
	c.To("check")
	c.Tap("item-guard")
	c.Tap("pass")
	c.Until("guard passed", `document.querySelector('#say') !== null && document.querySelector('.step').innerText.includes('2')`)
	d.booked("check.machine", `{"item":"guard","value":1,"unit":"-","pass":true}`)
	c.To("weather")
	c.Choose("wind_word", "gentle")
	c.Choose("from", "sw")
	c.Choose("soil", "moist")
	d.book()
	d.booked("weather.noted", `{"wind_m_s":4.4,"wind_from_deg":225,"rain_mm":0,"soil":"moist"}`)
}

// load: two lifts less the tare, into the hopper at once.
func (d *aDay) load() {
	c := d.c
	c.To("weigh")
	d.add("2480")
	c.Keys("2510.5")
	c.Tap("more")
	c.Write("tare", "40")
	c.Choose("residual", "empty")
	d.book()
	d.booked("load.weighed", `{"product":"lime","method":"bucket","net_kg":4910.5,"lifts_kg":[2440,2470.5]}`)
	d.booked("hopper.refilled", `{"product":"lime","residual_kg":0,"residual_method":"empty"}`)
}

// tests: catch, density and tray, step by step.
func (d *aDay) tests(typed bool) {
	c := d.c
	c.To("catch")
	c.Tap("step-next")
	c.Tap("step-next")
	c.Write("distance", "50")
	c.Tap("step-next")
	d.add("300.5", "301.5")
	c.Tap("step-next")
	c.Until("result", `document.querySelectorAll('.outcome b').length > 0`)
	d.book()
	d.booked("test.catch", `{"product":"lime","gate_mm":140,"bout_width_m":24,"distance_m":50,"collected_kg":301,"repeats":[300.5,301.5]}`)
	c.To("density")
	c.Tap("step-next")
	c.Write("volume", "10")
	c.Tap("step-next")
	d.add("12.4", "12.6")
	c.Tap("step-next")
	c.Until("result", `document.querySelectorAll('.outcome b').length > 0`)
	d.book()
	d.booked("test.density", `{"product":"lime","mass_kg":12.5,"volume_l":10,"repeats":[12.4,12.6]}`)
	c.To("tray")
	c.Tap("step-next")
	for name, value := range map[string]string{"spacing": "2", "tray_width": "0.5", "tray_length": "0.5"} {
		c.Write(name, value)
	}
	c.Tap("step-next")
	d.add("10", "30", "60", "62", "61", "60", "62", "61", "60", "31", "11")
	c.Tap("step-next")
	c.Until("result", `document.querySelectorAll('.outcome b').length > 0`)
	d.book()
	d.booked("test.tray", `{"product":"lime","bout_width_m":24,"tray_spacing_m":2,"tray_width_m":0.5,"tray_length_m":0.5,"masses_g":[10,30,60,62,61,60,62,61,60,31,11]}`)
}

// takeBack undoes the latest entry that can be.
func (d *aDay) takeBack() {
	c := d.c
	c.To("log")
	key := pagetest.Eval[string](c, `document.querySelector('a.main[data-key^=undo-]').dataset.key`)
	c.Tap(key)
	c.Screen("undo")
	c.Write("reason", "wrong trays")
	c.Tap("undo")
	c.Screen("log")
	d.booked("event.amended", `{"amends":"`+strings.TrimPrefix(key, "undo-")+`","action":"void","reason":"wrong trays"}`)
}

// all waits until the page says that nothing is unsent.
func (d *aDay) allSent() {
	d.t.Helper()
	for range 10 { // each with the page's patience: enrolment is noticed in 3 s, a link may need another try
		if pagetest.Eval[bool](d.c, `new Promise((done) => { const end = Date.now() + 5000; const look = () => { const s = document.querySelector('[data-sign=unsent]'); if (s?.classList.contains('good') || Date.now() > end) done(Boolean(s?.classList.contains('good'))); else setTimeout(look, 50); }; look(); })`) {
			return
		}
	}
	d.t.Fatalf("still unsent:\n%s", d.c.Text("#head"))
}

// hold compares the book with what was entered; pass logs stand beside.
func (d *aDay) hold(all []gjson.Result) (passes []gjson.Result) {
	t := d.t
	t.Helper()
	var rest []gjson.Result
	for i, e := range all {
		if e.Get("sequence").Str != fmt.Sprint(i+1) {
			t.Errorf("event %d has sequence %s", i+1, e.Get("sequence").Str)
		}
		if e.Get("type").Str == string(schemas.TypePassLogged) {
			passes = append(passes, e)
		} else {
			rest = append(rest, e)
		}
	}
	if len(rest) != len(d.want) {
		t.Errorf("%d entries in the book, %d were made", len(rest), len(d.want))
	}
	for i := range min(len(rest), len(d.want)) {
		w := d.want[i]
		if got := rest[i].Get("type").Str; got != w.kind {
			t.Fatalf("entry %d is a %s, want %s", i+1, got, w.kind)
		}
		for name, value := range w.data {
			if got := rest[i].Get("data." + name).Value(); !reflect.DeepEqual(got, value) {
				t.Errorf("%s: %s is %v, entered %v", w.kind, name, got, value)
			}
		}
	}
	return passes
}
