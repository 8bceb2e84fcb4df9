package page_test

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hopperbook/ingest/tablet"
	"hopperbook/schemas/fault"
)

// sameJSON holds a booked body against what it must say.
func sameJSON(t *testing.T, what, got, want string) {
	t.Helper()
	var a, b any
	if err := json.Unmarshal([]byte(got), &a); err != nil {
		t.Fatalf("%s: %v in %s", what, err, got)
	}
	if err := json.Unmarshal([]byte(want), &b); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(a, b) {
		t.Errorf("%s is\n%s\nwant\n%s", what, got, want)
	}
}

// last is the body of the last command of a name.
func (f *fake) last(t *testing.T, name string) string {
	t.Helper()
	all := f.booked(name)
	if len(all) == 0 {
		t.Fatalf("no %s was booked", name)
	}
	return all[len(all)-1]
}

// day is one language and unit choice with what the operator types and what
// the book must get.
type day struct {
	lang, units, sign                  string
	lifts                              [2]string
	load, setting, catch, caught, said string
}

func days() []day {
	return []day{
		{"en", "kg", ".", [2]string{"2480", "2510.5"},
			`{"product":"lime","method":"bucket","lifts_kg":[2480,2510.5],"tare_kg":40,"refill":true,"residual":{"method":"level","share":0.25}}`,
			`{"product":"lime","bout_width_m":12,"set_rate_kg_ha":2600,"gate_mm":140,"belt_gear":"2","pto_rpm":540,"disc_set":"powder"}`,
			"100", `[31.2,31.6]`, "Load booked: 4910.5 kg."},
		{"es", "kg", ",", [2]string{"2480", "2510,5"},
			`{"product":"lime","method":"bucket","lifts_kg":[2480,2510.5],"tare_kg":40,"refill":true,"residual":{"method":"level","share":0.25}}`,
			`{"product":"lime","bout_width_m":12,"set_rate_kg_ha":2600,"gate_mm":140,"belt_gear":"2","pto_rpm":540,"disc_set":"powder"}`,
			"100", `[31.2,31.6]`, "Carga anotada: 4910,5 kg."},
		// 1 lb = 0.45359237 kg and 1 ac = 4046.8564224 m2 exactly.
		{"pt", "lb", ",", [2]string{"5467", "5534,5"},
			`{"product":"lime","method":"bucket","lifts_kg":[2479.78948679,2510.406971765],"tare_kg":18.1436948,"refill":true,"residual":{"method":"level","share":0.25}}`,
			`{"product":"lime","bout_width_m":12,"set_rate_kg_ha":2914.2130061055855,"gate_mm":140,"belt_gear":"2","pto_rpm":540,"disc_set":"powder"}`,
			"30.48", `[14.152081944,14.333518892]`, "Carga registada: 10.921,5 lb."},
	}
}

func TestADay(t *testing.T) {
	ctx := browser(t)
	for _, d := range days() {
		t.Run(d.lang+"/"+d.units, func(t *testing.T) {
			f := newFake("spreader")
			c := enter(t, ctx, f, 360, 640)
			c.dressed(d.lang, d.units, "auto")
			c.morning(f)
			c.loading(f, d)
			c.working(f, d)
			c.testing(f, d)
			c.evening(f)
		})
	}
}

// morning: who, which job, the machine check with a failure that stands
// against the start until it is put right.
func (c *cab) morning(f *fake) {
	c.tap("to-who")
	c.screen("who")
	c.write("name", "Wren Marlow")
	c.tap("book")
	c.screen("home")
	c.tap("to-job")
	c.screen("job")
	c.until("nearest first", `document.querySelector('#main .entry').dataset.key === 'J1/F1'`)
	c.tap("J1/F1")
	c.screen("home")
	c.tap("to-check")
	c.screen("check")
	c.tap("walk")
	c.tap("fail")
	c.until("second item", `document.querySelector('.step').innerText.includes('2') && !document.querySelector('[data-name=value]')`)
	c.to("home")
	c.tap("start")
	c.screen("start")
	if n := len(f.booked("start")); n != 0 {
		c.t.Errorf("%d starts in spite of a failed guard", n)
	}
	c.tap("anyway") // without a reason nothing happens but that it is asked for
	c.until("reason asked for", `document.activeElement.dataset.name === 'reason'`)
	c.tap("to-check")
	c.screen("check")
	c.tap("overview")
	c.tap("item-guard")
	c.tap("pass")
	c.until("guard passed", `document.querySelector('.step').innerText.includes('2')`)
	c.tap("overview")
	c.tap("item-belt_sag")
	c.write("value", "62")
	c.tap("fail")
	c.until("after the belt", `document.querySelector('.step').innerText.includes('7')`)
	sameJSON(c.t, "belt", f.last(c.t, "check"), `{"item":"belt_sag","value":62,"unit":"mm","pass":false}`)
}

// loading: lifts by the keypad, one taken back, tare, level picture; what is
// typed outlives a reload, a lost answer and a double tap.
func (c *cab) loading(f *fake, d day) {
	c.to("weigh")
	c.keys(d.lifts[0])
	c.do("add", chromedp.Click(chromedp.CSS(".add")))
	c.keys("999")
	c.do("add", chromedp.Click(chromedp.CSS(".add")))
	c.tap("back-last")
	c.keys(d.lifts[1])
	c.tap("more")
	c.write("tare", "40")
	c.do("reload", chromedp.Reload())
	c.screen("weigh")
	c.until("kept", `document.querySelectorAll('.lifts li').length === 1 && document.querySelector('.typed').value === '`+d.lifts[1]+`'`)
	c.choose("residual", "level")
	c.choose("share", "0.25")
	before := len(f.booked("load"))
	c.do("lose the answer", chromedp.Evaluate[chromedp.Void](`{ const real = window.fetch; window.fetch = async (...a) => { const got = await real(...a); if (String(a[0]).startsWith('do/load')) { window.fetch = real; throw new TypeError('lost'); } return got; }; } undefined`))
	c.tap("book")
	c.until("says that it is lost", `document.querySelector('#say .bad') !== null`)
	c.until("still typed", `document.querySelector('.typed').value === '`+d.lifts[1]+`'`)
	c.do("double tap", chromedp.Evaluate[chromedp.Void](`{ const b = document.querySelector('[data-key=book]'); b.click(); b.click(); } undefined`))
	c.screen("home")
	c.said(d.said)
	if n := len(f.booked("load")) - before; n != 1 {
		c.t.Errorf("a lost answer and a double tap booked %d loads", n)
	}
	sameJSON(c.t, "load", f.last(c.t, "load"), d.load)
	c.to("weigh")
	c.until("empty again", `document.querySelectorAll('.lifts li').length === 0 && document.querySelector('.typed').value === ''`)
}

// working: the start, the drive, figures and notices as they come.
func (c *cab) working(f *fake, d day) {
	c.to("home")
	c.tap("start")
	c.until("working", `document.querySelector('[data-key=to-finish]') !== null`)
	c.tap("spread-on")
	c.until("by hand", `document.querySelector('[data-key=spread-on]').getAttribute('aria-pressed') === 'true'`)
	c.tap("spread-auto")
	c.until("by itself", `document.querySelector('[data-key=spread-auto]').getAttribute('aria-pressed') === 'true'`)
	sameJSON(c.t, "spread", f.last(c.t, "spread"), `{"on":true,"auto":true}`)
	f.drive()
	c.until("drift told in words", `document.querySelector('[data-sign=drift]').innerText.includes('6`+d.sign+`8')`)
	c.until("chart", `document.querySelectorAll('.chart .bar').length === 7`)
	if got := c.text(".big.last dd"); got != map[string]string{"kg": "2672", "lb": "2384"}[d.units] {
		c.t.Errorf("last rate shown as %q", got)
	}
	c.tap("notice")
	c.screen("notices")
	c.tap("seen-N1")
	c.until("no notice", `document.querySelector('[data-key=notice]') === null`)
	c.to("setting")
	c.write("rate", "2600")
	c.tap("book")
	c.screen("home")
	sameJSON(c.t, "setting", f.last(c.t, "setting"), d.setting)
}

// testing: a catch test step by step.
func (c *cab) testing(f *fake, d day) {
	c.to("catch")
	c.tap("step-next")
	c.tap("step-next")
	c.tap("step-next") // no distance yet
	c.until("asks for the distance", `document.querySelector('#say .bad') !== null`)
	c.write("distance", "100")
	c.tap("step-next")
	c.keys("31" + d.sign + "2")
	c.do("add", chromedp.Click(chromedp.CSS(".add")))
	c.keys("31" + d.sign + "6")
	c.tap("step-next")
	c.until("result", `document.querySelectorAll('.outcome b').length === 3`)
	if n := len(f.booked("catch")); n != 0 {
		c.t.Errorf("%d catch tests booked before the operator said so", n)
	}
	c.tap("book")
	c.screen("home")
	var got struct {
		DistanceM   float64         `json:"distance_m"`
		CollectedKg float64         `json:"collected_kg"`
		GateMm      float64         `json:"gate_mm"`
		Repeats     json.RawMessage `json:"repeats"`
	}
	if err := json.Unmarshal([]byte(f.last(c.t, "catch")), &got); err != nil {
		c.t.Fatal(err)
	}
	sameJSON(c.t, "repeats", string(got.Repeats), d.caught)
	var caught [2]float64
	if err := json.Unmarshal(got.Repeats, &caught); err != nil {
		c.t.Fatal(err)
	}
	want := map[string]float64{"100": 100, "30.48": 30.48}[d.catch]
	if got.DistanceM != want || got.GateMm != 140 || got.CollectedKg != (caught[0]+caught[1])/2 {
		c.t.Errorf("catch test %+v", got)
	}
}

// evening: weather, an entry taken back, the finish, the link comes back.
func (c *cab) evening(f *fake) {
	c.to("weather")
	c.choose("wind_word", "gentle")
	c.choose("from", "sw")
	c.choose("soil", "moist")
	c.tap("book")
	c.screen("home")
	sameJSON(c.t, "weather", f.last(c.t, "weather"), `{"wind_m_s":4.4,"wind_from_deg":225,"rain_mm":0,"soil":"moist"}`)
	c.to("log")
	event := f.View().Last[0].Event
	c.tap("undo-" + string(event))
	c.screen("undo")
	c.write("reason", "other field")
	c.tap("undo")
	c.screen("log")
	sameJSON(c.t, "undo", f.last(c.t, "undo"), `{"event":"`+string(event)+`","reason":"other field"}`)
	c.until("struck out", `document.querySelector('.entry.undone') !== null`)
	c.to("home")
	c.tap("to-finish")
	c.screen("finish")
	c.tap("finish")
	c.screen("home")
	c.until("pick again", `document.querySelector('[data-key=to-job].main') !== null`)
	f.change(func(v *tablet.View) {
		v.Link.State, v.Outbox.Waiting = "up", 0
		for i := range v.Last {
			v.Last[i].Sent = true
		}
	})
	c.until("all sent", `document.querySelector('[data-sign=unsent]').classList.contains('good') && document.querySelector('[data-sign=link]').classList.contains('good')`)
}

func TestRefusalsKeepWhatIsTypedAndAreSaidInTheLanguage(t *testing.T) {
	f := newFake("spreader")
	c := enter(t, browser(t), f, 800, 1280)
	c.dressed("es", "kg", "light")
	c.to("weigh")
	c.keys("13000")
	c.choose("residual", "empty")
	c.tap("book")
	c.until("asks", `document.querySelector('#say .ask') !== null`)
	c.said("más de lo que cabe en la tolva (unos 12.000 kg)")
	if n := len(f.booked("load")); n != 0 {
		t.Errorf("%d loads booked before it was confirmed", n)
	}
	c.tap("confirm")
	c.screen("home")
	if got := f.last(t, "load"); !strings.Contains(got, `"confirm":true`) || !strings.Contains(got, "13000") {
		t.Errorf("confirmed: %s", got)
	}
	c.to("weather")
	c.choose("wind_word", "calm")
	c.choose("soil", "dry")
	c.write("rain", "2,5")
	f.fail(fault.New("", fault.Full, &tablet.Refusal{Key: tablet.KeyDiskFull, Text: "no room"}, "make room"))
	c.tap("book")
	c.said("El disco de la tableta está lleno")
	f.fail(fault.New("", fault.Input, &tablet.Refusal{Key: "not_in_the_catalogue", Text: "odd"}, "do this instead"))
	c.tap("book")
	c.said("do this instead")
	c.write("rain", "1.234") // thousands or a decimal sign? it is not guessed
	c.tap("book")
	c.until("not guessed", `document.querySelector('[data-name=rain]').getAttribute('aria-invalid') === 'true'`)
	c.write("rain", "2,5")
	c.tap("book")
	c.screen("home")
	sameJSON(t, "weather", f.last(t, "weather"), `{"wind_m_s":0,"wind_from_deg":0,"rain_mm":2.5,"soil":"dry"}`)
}

func TestALoaderServesSeveralSpreaders(t *testing.T) {
	f := newFake("loader")
	c := enter(t, browser(t), f, 800, 1280)
	c.tap("to-weigh")
	c.screen("weigh")
	c.choose("for", "spreader-2")
	c.keys("3100")
	c.tap("book")
	c.screen("home")
	sameJSON(t, "load", f.last(t, "load"), `{"product":"lime","method":"bucket","lifts_kg":[3100],"for":"spreader-2"}`)
	c.tap("to-refill")
	c.screen("refill")
	c.tap("book")
	c.until("which spreader", `document.querySelector('#say .bad') !== null`)
	c.choose("for", "spreader-1")
	c.until("not its load", `document.querySelector('[data-name^=load_]') === null`)
	c.choose("for", "spreader-2")
	c.do("the load", chromedp.Click(chromedp.CSS(`input[data-name^="load_"]`)))
	c.choose("residual", "empty")
	c.tap("book")
	c.screen("home")
	sameJSON(t, "refill", f.last(t, "refill"), `{"loads":["L1"],"residual":{"method":"empty"},"for":"spreader-2"}`)
}

func TestThePageSaysWhenTheProgramIsGoneAndComesBack(t *testing.T) {
	f := newFake("spreader")
	c := enter(t, browser(t), f, 800, 1280)
	c.to("weigh")
	c.keys("2480")
	c.choose("residual", "unknown")
	c.server.CloseClientConnections()
	c.do("cut", chromedp.Evaluate[chromedp.Void](`{ window.real = window.fetch; window.fetch = () => Promise.reject(new TypeError('gone')); } undefined`))
	f.change(func(v *tablet.View) { v.Operator = "Wren Marlow" })
	c.until("says that it is gone", `document.querySelector('.alarm.bad') !== null`)
	c.tap("book")
	c.until("kept", `document.querySelector('#say .bad') !== null && document.querySelector('.typed').value === '2480'`)
	c.do("mend", chromedp.Evaluate[chromedp.Void](`window.fetch = window.real; undefined`))
	f.change(func(v *tablet.View) { v.At = v.At.Add(time.Second) })
	c.until("is back", `document.querySelector('.alarm.bad') === null`)
	c.tap("book")
	c.screen("home")
	if n := len(f.booked("load")); n != 1 {
		t.Errorf("%d loads", n)
	}
}

// The page asks nothing of any other host, and its whole way works by keys.
func TestTheKeyboardAloneBooksALoad(t *testing.T) {
	f := newFake("spreader")
	c := enter(t, browser(t), f, 1280, 800)
	c.to("weigh")
	c.until("title has the focus", `document.activeElement.tagName === 'H1'`)
	press := func(key string, times int) {
		for range times {
			c.do("press", chromedp.KeyEvent(key))
		}
	}
	focus := func(what, js string) {
		for range 60 {
			if eval[bool](c, js) {
				return
			}
			press("\t", 1)
		}
		t.Fatalf("no way by Tab to %s", what)
	}
	focus("the number", `document.activeElement.classList.contains('typed')`)
	c.do("type", chromedp.KeyEvent("2480"))
	focus("the residual", `document.activeElement.dataset.name === 'residual'`)
	press(" ", 1)
	focus("the button", `document.activeElement.dataset.key === 'book'`)
	if !eval[bool](c, `document.activeElement.matches(':focus-visible') && parseFloat(getComputedStyle(document.activeElement).outlineWidth) >= 3`) {
		t.Error("the focus is not to be seen")
	}
	press("\r", 1)
	c.screen("home")
	sameJSON(t, "load", f.last(t, "load"), `{"product":"lime","method":"bucket","lifts_kg":[2480],"refill":true,"residual":{"method":"empty"}}`)
	others := eval[[]string](c, `performance.getEntriesByType('resource').map((r) => r.name).filter((n) => !n.startsWith(location.origin + '/'))`)
	if len(others) > 0 {
		t.Errorf("asked of others: %v", others)
	}
}
