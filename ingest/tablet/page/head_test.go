package page_test

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/page/pagetest"
)

// At 360 x 640 with a notice the head leaves most of the window to the work,
// and everything that is always in view is in it.
func TestTheHeadLeavesRoomOnAPhone(t *testing.T) {
	c := enter(t, pagetest.Browser(t), atWork(t), 360, 640)
	for _, lang := range []string{"en", "es", "pt"} {
		c.dressed(lang, "kg", "light")
		if high := pagetest.Eval[float64](c.Cab, `document.getElementById('head').getBoundingClientRect().height`); high > 256 {
			t.Errorf("%s: the head is %.0f px high", lang, high)
		}
		for _, part := range []string{".big.now dd", ".big.last dd", ".big.set dd", ".big.hopper dd", ".big.left dd", "[data-sign=drift] .brief", "[data-sign=unsent] .brief", "[data-sign=gnss] .brief", "[data-sign=link] .brief", "[data-key=notice]"} {
			if !pagetest.Eval[bool](c.Cab, `(() => { const r = document.querySelector('`+part+`').getBoundingClientRect(); const head = document.getElementById('head').getBoundingClientRect(); return r.width > 5 && r.top >= 0 && r.bottom <= head.bottom && r.right <= innerWidth + 0.5; })()`) {
				t.Errorf("%s: %s is not in view", lang, part)
			}
		}
	}
}

// A disk that fills is told long before it is full, with the days left, and
// sounds once for each step; one that has room again is silent.
func TestADiskThatFillsIsSeenAndHeard(t *testing.T) {
	f := atWork(t)
	f.change(func(v *tablet.View) { v.Notices = nil })
	c := enter(t, pagetest.Browser(t), f, 360, 640)
	c.Do("count tones", chromedp.Evaluate[chromedp.Void](`window.tones = 0; { const make = AudioContext.prototype.createOscillator; AudioContext.prototype.createOscillator = function () { window.tones += 1; return make.call(this); }; } undefined`))
	c.Tap("to-weather") // a touch, without which no browser allows a sound
	c.Screen("weather")
	set := func(state string, days *float64) {
		f.change(func(v *tablet.View) { v.Outbox.State, v.Outbox.DaysLeft = state, days })
	}
	for i, step := range []struct {
		state string
		days  *float64
		says  string
	}{{"filling", at(9.4), "about 9 days"}, {"filling", at(2.25), "about 2.3 days"}, {"full", at(0), "not recorded any more"}, {"ok", nil, ""}, {"filling", nil, "into reach of the office"}} {
		set(step.state, step.days)
		if step.state == "ok" {
			c.Until("gone", `document.querySelector('[data-sign=outbox]') === null`)
			continue
		}
		c.Until("told "+step.says, `document.querySelector('[data-sign=outbox]')?.innerText.includes('`+step.says+`')`)
		want := []string{"3", "3", "6", "6", "9"}[i]
		c.Until(want+" tones", `window.tones === `+want)
	}
	if got := c.Text("[data-sign=outbox]"); !strings.Contains(got, "filling") {
		t.Errorf("it says %q", got)
	}
}
