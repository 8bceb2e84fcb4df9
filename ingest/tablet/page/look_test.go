package page_test

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"hopperbook/ingest/tablet/page/pagetest"
)

// atWork is a spreader in the middle of its day.
func atWork(t *testing.T) *fake {
	t.Helper()
	f := newFake("spreader")
	for _, step := range [][2]string{{"who", `{"operator":"Wren Marlow"}`}, {"check", `{"item":"guard","value":1,"unit":"-","pass":false}`}, {"pick", `{"job":"J1","field":"F1"}`},
		{"start", `{"override_reason":"moving only"}`}, {"load", `{"product":"lime","method":"bucket","lifts_kg":[2480,2510,2390],"refill":true,"residual":{"method":"empty"}}`},
		{"load", `{"product":"lime","method":"bucket","lifts_kg":[2480,2510]}`}} {
		if _, err := f.Do(context.Background(), step[0], []byte(step[1])); err != nil {
			t.Fatal(err)
		}
	}
	f.drive()
	return f
}

// atLoader is a loader with a load that waits.
func atLoader(t *testing.T) *fake {
	t.Helper()
	f := newFake("loader")
	if _, err := f.Do(context.Background(), "load", []byte(`{"product":"lime","method":"bucket","lifts_kg":[2480,2510],"for":"spreader-1"}`)); err != nil {
		t.Fatal(err)
	}
	return f
}

// screens are what can be looked at: the route, and what is touched there.
func screens() [][]string {
	return [][]string{{"home"}, {"job"}, {"start"}, {"finish"}, {"weigh", "fold-product", "more"}, {"refill"}, {"setting"},
		{"catch"}, {"catch", "step-next"}, {"density"}, {"tray"}, {"tray", "step-next"}, {"check"}, {"check", "walk"}, {"weather"},
		{"log"}, {"undo/01JPAGE0000000000000000005"}, {"notices"}, {"who"}, {"display"}}
}

// visit shows a screen from a clean form.
func (c *cab) visit(screen []string) string {
	c.T.Helper()
	route, _, _ := strings.Cut(screen[0], "/")
	c.Do("visit", chromedp.Evaluate[chromedp.Void](fmt.Sprintf("sessionStorage.clear(); delete document.body.dataset.screen; delete document.body.dataset.ready; location.hash = '-'; location.hash = %q; undefined", screen[0])))
	c.Until("shown "+route, fmt.Sprintf("document.body.dataset.screen === %q", route))
	if len(screen) > 1 {
		c.Screen(route)
	}
	for _, key := range screen[1:] {
		c.Tap(key)
	}
	return strings.ReplaceAll(strings.Join(screen, "-"), "/", "-")
}

// dressed sets what the display screen sets.
func (c *cab) dressed(lang, units, theme string) {
	c.T.Helper()
	c.Do("dress", chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`localStorage.setItem('hopperbook.display', JSON.stringify({lang: %q, units: %q, theme: %q, people: ['Wren Marlow']})); undefined`, lang, units, theme)),
		chromedp.Reload())
	c.Until("dressed", `document.body.dataset.ready !== undefined && document.documentElement.lang === '`+lang+`'`)
}

// laidOut lists what breaks the page's own rules of size, in words.
const laidOut = `(() => {
  const wrong = [];
  const name = (e) => e.tagName + '.' + e.className + ' "' + (e.innerText || e.dataset.name || '').slice(0, 30) + '"';
  if (document.documentElement.scrollWidth > innerWidth) wrong.push('the page scrolls sideways: ' + document.documentElement.scrollWidth + ' > ' + innerWidth);
  for (const box of [document.getElementById('main'), document.getElementById('head')])
    if (box.scrollWidth > box.clientWidth) wrong.push(box.id + ' scrolls sideways: ' + box.scrollWidth + ' > ' + box.clientWidth);
  const targets = [...document.querySelectorAll('button, a, summary, input[type=text], label.tile, select, textarea')].filter((e) => e.checkVisibility());
  const rects = targets.map((e) => e.getBoundingClientRect());
  targets.forEach((e, i) => {
    const r = rects[i];
    if (r.width < 71.9 || r.height < 71.9) wrong.push('small: ' + name(e) + ' ' + r.width.toFixed(1) + ' x ' + r.height.toFixed(1));
    for (let j = i + 1; j < targets.length; j += 1) {
      const [dx, dy] = [Math.max(r.left, rects[j].left) - Math.min(r.right, rects[j].right), Math.max(r.top, rects[j].top) - Math.min(r.bottom, rects[j].bottom)];
      const inOne = document.getElementById('main').contains(e) === document.getElementById('main').contains(targets[j]);
      if (inOne && Math.max(dx, dy) < 11.9) wrong.push('close: ' + name(e) + ' and ' + name(targets[j]) + ' ' + Math.max(dx, dy).toFixed(1));
    }
  });
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let n = walk.nextNode(); n; n = walk.nextNode()) {
    const e = n.parentElement;
    if (!n.data.trim() || !e.checkVisibility() || e.closest('script, noscript') || getComputedStyle(e).clipPath !== 'none') continue;
    const scale = e instanceof SVGGraphicsElement ? e.getScreenCTM().a : 1;
    const px = parseFloat(getComputedStyle(e).fontSize) * scale;
    // Of the head's figures those of the load before and the area left may be smaller on a phone.
    const least = e.closest('.big.last dd, .big.left dd') && innerWidth < 600 ? 28 : e.closest('.big dd, .total b, .outcome b') ? 40 : 20;
    if (px < least) wrong.push('small words: ' + name(e) + ' ' + px.toFixed(1) + ' px');
    const r = document.createRange();
    r.selectNodeContents(n);
    const box = r.getBoundingClientRect();
    if (!e.closest('.clip') && (box.right > innerWidth + 0.5 || box.left < -0.5)) wrong.push('cut off: ' + name(e));
  }
  return wrong;
})()`

func TestEveryScreenHasItsSizes(t *testing.T) {
	ctx := pagetest.Browser(t)
	for _, size := range [][2]int64{{320, 640}, {360, 640}, {800, 1280}, {1280, 800}} {
		lang := map[int64]string{320: "pt", 360: "es", 800: "en", 1280: "es"}[size[0]]
		units := map[int64]string{320: "kg", 360: "lb", 800: "lb", 1280: "kg"}[size[0]]
		c := enter(t, ctx, atWork(t), size[0], size[1])
		c.dressed(lang, units, "light")
		for _, screen := range screens() {
			name := c.visit(screen)
			for _, wrong := range pagetest.Eval[[]string](c.Cab, laidOut) {
				t.Errorf("%d %s %s: %s", size[0], lang, name, wrong)
			}
		}
	}
}

func TestLoaderScreensHaveTheirSizes(t *testing.T) {
	c := enter(t, pagetest.Browser(t), atLoader(t), 320, 640)
	for _, lang := range []string{"en", "es", "pt"} {
		c.dressed(lang, "kg", "light")
		for _, screen := range [][]string{{"home"}, {"weigh"}, {"refill"}} {
			name := c.visit(screen)
			for _, wrong := range pagetest.Eval[[]string](c.Cab, laidOut) {
				t.Errorf("loader %s %s: %s", lang, name, wrong)
			}
		}
	}
}

// audit runs axe-core at the levels A and AA, and the contrast of 7:1.
const audit = `axe.run(document, {runOnly: {type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']}, rules: {'color-contrast-enhanced': {enabled: true}}, resultTypes: ['violations']})
  .then((r) => r.violations.map((v) => v.id + ': ' + v.nodes.map((n) => n.target.join(' ') + ' ' + n.failureSummary).slice(0, 3).join(' | ')))`

func axe(t *testing.T) string {
	t.Helper()
	source, err := os.ReadFile("../../../testdata/outside/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Skip("axe-core is not there (npm ci in testdata/outside): accessibility is not audited")
	}
	return string(source)
}

func TestAxeFindsNothing(t *testing.T) {
	source := axe(t)
	ctx := pagetest.Browser(t)
	for _, theme := range []string{"light", "dark"} {
		for _, role := range []string{"spreader", "loader"} {
			f, all := atWork(t), screens()
			if role == "loader" {
				f, all = atLoader(t), [][]string{{"home"}, {"weigh"}, {"refill"}}
			}
			c := enter(t, ctx, f, 800, 1280)
			c.dressed("en", "kg", theme)
			c.Do("axe", chromedp.Evaluate[chromedp.Void](source+"; undefined"))
			for _, screen := range all {
				name := c.visit(screen)
				for _, v := range pagetest.Eval[[]string](c.Cab, audit) {
					t.Errorf("%s %s %s: %s", theme, role, name, v)
				}
			}
		}
	}
}

// What the audits find in a page that is spoilt on purpose.
func TestTheAuditsFindWhatIsSpoilt(t *testing.T) {
	source := axe(t)
	c := enter(t, pagetest.Browser(t), atWork(t), 800, 1280)
	c.Do("spoil", chromedp.Evaluate[chromedp.Void](source+`; document.querySelector('h1').style.color = '#888'; document.querySelector('main button').style = 'min-height: 16px; height: 16px; font-size: 10px'; undefined`))
	found := strings.Join(pagetest.Eval[[]string](c.Cab, audit), "\n") + strings.Join(pagetest.Eval[[]string](c.Cab, laidOut), "\n")
	for _, want := range []string{"color-contrast-enhanced", "color-contrast", "small: BUTTON", "small words: BUTTON"} {
		if !strings.Contains(found, want) {
			t.Errorf("%s is not found in:\n%s", want, found)
		}
	}
}

// Pictures for people, where HOPPERBOOK_SHOTS names a folder.
func TestShots(t *testing.T) {
	if os.Getenv("HOPPERBOOK_SHOTS") == "" {
		t.Skip("pictures are made where HOPPERBOOK_SHOTS names a folder")
	}
	ctx := pagetest.Browser(t)
	for _, size := range [][2]int64{{360, 640}, {800, 1280}, {1280, 800}} {
		c := enter(t, ctx, atWork(t), size[0], size[1])
		for _, theme := range []string{"light", "dark"} {
			c.dressed("en", "kg", theme)
			for _, screen := range screens() {
				name := c.visit(screen)
				c.Shot(fmt.Sprintf("%dx%d-%s-%s", size[0], size[1], theme, name))
			}
		}
	}
}
