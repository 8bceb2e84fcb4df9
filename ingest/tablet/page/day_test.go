package page_test

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/page/pagetest"
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
	ctx := pagetest.Browser(t)
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
	c.Tap("to-who")
	c.Screen("who")
	c.Write("name", "Wren Marlow")
	c.Tap("book")
	c.Screen("home")
	c.Tap("to-job")
	c.Screen("job")
	c.Until("nearest first", `document.querySelector('#main .entry').dataset.key === 'J1/F1'`)
	c.Tap("J1/F1")
	c.Screen("home")
	c.Tap("to-check")
	c.Screen("check")
	c.Tap("walk")
	c.Tap("fail")
	c.Until("second item", `document.querySelector('.step').innerText.includes('2') && !document.querySelector('[data-name=value]')`)
	c.To("home")
	c.Tap("start")
	c.Screen("start")
	if n := len(f.booked("start")); n != 0 {
		c.T.Errorf("%d starts in spite of a failed guard", n)
	}
	c.Tap("anyway") // without a reason nothing happens but that it is asked for
	c.Until("reason asked for", `document.activeElement.dataset.name === 'reason'`)
	c.Tap("to-check")
	c.Screen("check")
	c.Tap("overview")
	c.Tap("item-guard")
	c.Tap("pass")
	c.Until("guard passed", `document.querySelector('.step').innerText.includes('2')`)
	c.Tap("overview")
	c.Tap("item-belt_sag")
	c.Write("value", "62")
	c.Tap("fail")
	c.Until("after the belt", `document.querySelector('.step').innerText.includes('7')`)
	sameJSON(c.T, "belt", f.last(c.T, "check"), `{"item":"belt_sag","value":62,"unit":"mm","pass":false}`)
}

// loading: lifts by the keypad, one taken back, tare, level picture; what is
// typed outlives a reload, a lost answer and a double tap.
func (c *cab) loading(f *fake, d day) {
	c.To("weigh")
	c.Keys(d.lifts[0])
	c.Do("add", chromedp.Click(chromedp.CSS(".add")))
	c.Keys("999")
	c.Do("add", chromedp.Click(chromedp.CSS(".add")))
	c.Tap("back-last")
	c.Keys(d.lifts[1])
	c.Tap("more")
	c.Write("tare", "40")
	c.Do("reload", chromedp.Reload())
	c.Screen("weigh")
	c.Until("kept", `document.querySelectorAll('.lifts li').length === 1 && document.querySelector('.typed').value === '`+d.lifts[1]+`'`)
	c.Choose("residual", "level")
	c.Choose("share", "0.25")
	before := len(f.booked("load"))
	c.Do("lose the answer", chromedp.Evaluate[chromedp.Void](`{ const real = window.fetch; window.fetch = async (...a) => { const got = await real(...a); if (String(a[0]).startsWith('do/load')) { window.fetch = real; throw new TypeError('lost'); } return got; }; } undefined`))
	c.Tap("book")
	c.Until("says that it is lost", `document.querySelector('#say .bad') !== null`)
	c.Until("still typed", `document.querySelector('.typed').value === '`+d.lifts[1]+`'`)
	c.Do("double tap", chromedp.Evaluate[chromedp.Void](`{ const b = document.querySelector('[data-key=book]'); b.click(); b.click(); } undefined`))
	c.Screen("home")
	c.Said(d.said)
	if n := len(f.booked("load")) - before; n != 1 {
		c.T.Errorf("a lost answer and a double tap booked %d loads", n)
	}
	sameJSON(c.T, "load", f.last(c.T, "load"), d.load)
	c.To("weigh")
	c.Until("empty again", `document.querySelectorAll('.lifts li').length === 0 && document.querySelector('.typed').value === ''`)
}

// working: the start, the drive, figures and notices as they come.
func (c *cab) working(f *fake, d day) {
	c.To("home")
	c.Tap("start")
	c.Until("working", `document.querySelector('[data-key=to-finish]') !== null`)
	c.Tap("spread-on")
	c.Until("by hand", `document.querySelector('[data-key=spread-on]').getAttribute('aria-pressed') === 'true'`)
	c.Tap("spread-auto")
	c.Until("by itself", `document.querySelector('[data-key=spread-auto]').getAttribute('aria-pressed') === 'true'`)
	sameJSON(c.T, "spread", f.last(c.T, "spread"), `{"on":true,"auto":true}`)
	f.drive()
	c.Until("drift told in words", `document.querySelector('[data-sign=drift]').innerText.includes('6`+d.sign+`8')`)
	c.Until("chart", `document.querySelectorAll('.chart .bar').length === 7`)
	if got := c.Text(".big.last dd"); got != map[string]string{"kg": "2672", "lb": "2384"}[d.units] {
		c.T.Errorf("last rate shown as %q", got)
	}
	c.Tap("notice")
	c.Screen("notices")
	c.Tap("seen-N1")
	c.Until("no notice", `document.querySelector('[data-key=notice]') === null`)
	c.To("setting")
	c.Write("rate", "2600")
	c.Tap("book")
	c.Screen("home")
	sameJSON(c.T, "setting", f.last(c.T, "setting"), d.setting)
}

// testing: a catch test step by step.
func (c *cab) testing(f *fake, d day) {
	c.To("catch")
	c.Tap("step-next")
	c.Tap("step-next")
	c.Tap("step-next") // no distance yet
	c.Until("asks for the distance", `document.querySelector('#say .bad') !== null`)
	c.Write("distance", "100")
	c.Tap("step-next")
	c.Keys("31" + d.sign + "2")
	c.Do("add", chromedp.Click(chromedp.CSS(".add")))
	c.Keys("31" + d.sign + "6")
	c.Tap("step-next")
	c.Until("result", `document.querySelectorAll('.outcome b').length === 3`)
	if n := len(f.booked("catch")); n != 0 {
		c.T.Errorf("%d catch tests booked before the operator said so", n)
	}
	c.Tap("book")
	c.Screen("home")
	var got struct {
		DistanceM   float64         `json:"distance_m"`
		CollectedKg float64         `json:"collected_kg"`
		GateMm      float64         `json:"gate_mm"`
		Repeats     json.RawMessage `json:"repeats"`
	}
	if err := json.Unmarshal([]byte(f.last(c.T, "catch")), &got); err != nil {
		c.T.Fatal(err)
	}
	sameJSON(c.T, "repeats", string(got.Repeats), d.caught)
	var caught [2]float64
	if err := json.Unmarshal(got.Repeats, &caught); err != nil {
		c.T.Fatal(err)
	}
	want := map[string]float64{"100": 100, "30.48": 30.48}[d.catch]
	if got.DistanceM != want || got.GateMm != 140 || got.CollectedKg != (caught[0]+caught[1])/2 {
		c.T.Errorf("catch test %+v", got)
	}
}

// evening: weather, an entry taken back, the finish, the link comes back.
func (c *cab) evening(f *fake) {
	c.To("weather")
	c.Choose("wind_word", "gentle")
	c.Choose("from", "sw")
	c.Choose("soil", "moist")
	c.Tap("book")
	c.Screen("home")
	sameJSON(c.T, "weather", f.last(c.T, "weather"), `{"wind_m_s":4.4,"wind_from_deg":225,"rain_mm":0,"soil":"moist"}`)
	c.To("log")
	event := f.View().Last[0].Event
	c.Tap("undo-" + string(event))
	c.Screen("undo")
	c.Write("reason", "other field")
	c.Tap("undo")
	c.Screen("log")
	sameJSON(c.T, "undo", f.last(c.T, "undo"), `{"event":"`+string(event)+`","reason":"other field"}`)
	c.Until("struck out", `document.querySelector('.entry.undone') !== null`)
	c.To("home")
	c.Tap("to-finish")
	c.Screen("finish")
	c.Tap("finish")
	c.Screen("home")
	c.Until("pick again", `document.querySelector('[data-key=to-job].main') !== null`)
	f.change(func(v *tablet.View) {
		v.Link.State, v.Outbox.Waiting = "up", 0
		for i := range v.Last {
			v.Last[i].Sent = true
		}
	})
	c.Until("all sent", `document.querySelector('[data-sign=unsent]').classList.contains('good') && document.querySelector('[data-sign=link]').classList.contains('good')`)
}

func TestRefusalsKeepWhatIsTypedAndAreSaidInTheLanguage(t *testing.T) {
	f := newFake("spreader")
	c := enter(t, pagetest.Browser(t), f, 800, 1280)
	c.dressed("es", "kg", "light")
	c.To("weigh")
	c.Keys("13000")
	c.Choose("residual", "empty")
	c.Tap("book")
	c.Until("asks", `document.querySelector('#say .ask') !== null`)
	c.Said("más de lo que cabe en la tolva (unos 12.000 kg)")
	if n := len(f.booked("load")); n != 0 {
		t.Errorf("%d loads booked before it was confirmed", n)
	}
	c.Tap("confirm")
	c.Screen("home")
	if got := f.last(t, "load"); !strings.Contains(got, `"confirm":true`) || !strings.Contains(got, "13000") {
		t.Errorf("confirmed: %s", got)
	}
	c.To("weather")
	c.Choose("wind_word", "calm")
	c.Choose("soil", "dry")
	c.Write("rain", "2,5")
	f.fail(fault.New("", fault.Full, &tablet.Refusal{Key: tablet.KeyDiskFull, Text: "no room"}, "make room"))
	c.Tap("book")
	c.Said("El disco de la tableta está lleno")
	f.fail(fault.New("", fault.Input, &tablet.Refusal{Key: "not_in_the_catalogue", Text: "odd"}, "do this instead"))
	c.Tap("book")
	c.Said("do this instead")
	c.Write("rain", "1.234") // thousands or a decimal sign? it is not guessed
	c.Tap("book")
	c.Until("not guessed", `document.querySelector('[data-name=rain]').getAttribute('aria-invalid') === 'true'`)
	c.Write("rain", "2,5")
	c.Tap("book")
	c.Screen("home")
	sameJSON(t, "weather", f.last(t, "weather"), `{"wind_m_s":0,"wind_from_deg":0,"rain_mm":2.5,"soil":"dry"}`)
}

func TestALoaderServesSeveralSpreaders(t *testing.T) {
	f := newFake("loader")
	c := enter(t, pagetest.Browser(t), f, 800, 1280)
	c.Tap("to-weigh")
	c.Screen("weigh")
	c.Choose("for", "spreader-2")
	c.Keys("3100")
	c.Tap("book")
	c.Screen("home")
	sameJSON(t, "load", f.last(t, "load"), `{"product":"lime","method":"bucket","lifts_kg":[3100],"for":"spreader-2"}`)
	c.Tap("to-refill")
	c.Screen("refill")
	c.Tap("book")
	c.Until("which spreader", `document.querySelector('#say .bad') !== null`)
	c.Choose("for", "spreader-1")
	c.Until("not its load", `document.querySelector('[data-name^=load_]') === null`)
	c.Choose("for", "spreader-2")
	c.Do("the load", chromedp.Click(chromedp.CSS(`input[data-name^="load_"]`)))
	c.Choose("residual", "empty")
	c.Tap("book")
	c.Screen("home")
	sameJSON(t, "refill", f.last(t, "refill"), `{"loads":["L1"],"residual":{"method":"empty"},"for":"spreader-2"}`)
}

func TestThePageSaysWhenTheProgramIsGoneAndComesBack(t *testing.T) {
	f := newFake("spreader")
	c := enter(t, pagetest.Browser(t), f, 800, 1280)
	c.To("weigh")
	c.Keys("2480")
	c.Choose("residual", "unknown")
	c.server.CloseClientConnections()
	c.Do("cut", chromedp.Evaluate[chromedp.Void](`{ window.real = window.fetch; window.fetch = () => Promise.reject(new TypeError('gone')); } undefined`))
	f.change(func(v *tablet.View) { v.Operator = "Wren Marlow" })
	c.Until("says that it is gone", `document.querySelector('.alarm.bad') !== null`)
	c.Tap("book")
	c.Until("kept", `document.querySelector('#say .bad') !== null && document.querySelector('.typed').value === '2480'`)
	c.Do("mend", chromedp.Evaluate[chromedp.Void](`window.fetch = window.real; undefined`))
	f.change(func(v *tablet.View) { v.At = v.At.Add(time.Second) })
	c.Until("is back", `document.querySelector('.alarm.bad') === null`)
	c.Tap("book")
	c.Screen("home")
	if n := len(f.booked("load")); n != 1 {
		t.Errorf("%d loads", n)
	}
}

// The page asks nothing of any other host, and its whole way works by keys.
func TestTheKeyboardAloneBooksALoad(t *testing.T) {
	f := newFake("spreader")
	c := enter(t, pagetest.Browser(t), f, 1280, 800)
	c.To("weigh")
	c.Until("title has the focus", `document.activeElement.tagName === 'H1'`)
	press := func(key string, times int) {
		for range times {
			c.Do("press", chromedp.KeyEvent(key))
		}
	}
	focus := func(what, js string) {
		for range 60 {
			if pagetest.Eval[bool](c.Cab, js) {
				return
			}
			press("\t", 1)
		}
		t.Fatalf("no way by Tab to %s", what)
	}
	focus("the number", `document.activeElement.classList.contains('typed')`)
	c.Do("type", chromedp.KeyEvent("2480"))
	focus("the residual", `document.activeElement.dataset.name === 'residual'`)
	press(" ", 1)
	focus("the button", `document.activeElement.dataset.key === 'book'`)
	if !pagetest.Eval[bool](c.Cab, `document.activeElement.matches(':focus-visible') && parseFloat(getComputedStyle(document.activeElement).outlineWidth) >= 3`) {
		t.Error("the focus is not to be seen")
	}
	press("\r", 1)
	c.Screen("home")
	sameJSON(t, "load", f.last(t, "load"), `{"product":"lime","method":"bucket","lifts_kg":[2480],"refill":true,"residual":{"method":"empty"}}`)
	others := pagetest.Eval[[]string](c.Cab, `performance.getEntriesByType('resource').map((r) => r.name).filter((n) => !n.startsWith(location.origin + '/'))`)
	if len(others) > 0 {
		t.Errorf("asked of others: %v", others)
	}
}
