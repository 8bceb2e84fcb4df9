package pagetest

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// Cab is a browser in front of the page of an agent.
type Cab struct {
	T   *testing.T
	ctx context.Context
}

// patience is how long a step may take before the page is taken as stuck; a
// step that works takes milliseconds.
const patience = 15 * time.Second

// Browser starts one Chromium for a test; tests that need none stay quick.
func Browser(t *testing.T) context.Context {
	t.Helper()
	if os.Getenv("HOPPERBOOK_RACE") != "" {
		t.Skip("HOPPERBOOK_RACE: the browser is driven in a step of its own, without the race detector (./test)")
	}
	if _, err := exec.LookPath("chromium"); err != nil {
		t.Skip("chromium is not installed (apt-get install -y --no-install-recommends chromium): the page is not driven")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.Flag("lang", "en-US"), chromedp.Flag("autoplay-policy", "user-gesture-required"))
	alloc, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, end := chromedp.NewContext(alloc)
	t.Cleanup(func() { end(); stop() })
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatal("chromium does not start:", err)
	}
	return ctx
}

// Enter opens the page at an address in a window of a size in CSS pixels and
// waits for its first screen.
func Enter(t *testing.T, ctx context.Context, url string, wide, high int64) *Cab {
	t.Helper()
	c := &Cab{t, ctx}
	c.Do("open", chromedp.EmulateViewport(wide, high, chromedp.EmulateTouch), chromedp.Navigate(url))
	c.Screen("home")
	return c
}

// Do carries out steps in the browser.
func (c *Cab) Do(what string, steps ...chromedp.Action[chromedp.Void]) {
	c.T.Helper()
	ctx, stop := context.WithTimeout(c.ctx, patience)
	defer stop()
	if err := chromedp.Do(ctx, steps...); err != nil {
		c.T.Fatalf("%s: %v\nthe page says:\n%s", what, err, c.Text("body"))
	}
}

// Eval gives what a JavaScript expression gives.
func Eval[T any](c *Cab, js string) T {
	c.T.Helper()
	ctx, stop := context.WithTimeout(c.ctx, patience)
	defer stop()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	if err != nil {
		c.T.Fatalf("%.200s: %v", js, err)
	}
	return v
}

// Text is what a person reads in the first element of a selector.
func (c *Cab) Text(selector string) string {
	quoted, _ := json.Marshal(selector)
	return Eval[string](c, "(document.querySelector("+string(quoted)+") || {innerText: ''}).innerText")
}

// Until waits for an expression to be true.
func (c *Cab) Until(what, js string) {
	c.T.Helper()
	c.Do(what, chromedp.Poll[chromedp.Void](js))
}

// Screen waits until a screen is shown and takes clicks.
func (c *Cab) Screen(name string) {
	c.T.Helper()
	c.Until("screen "+name, fmt.Sprintf("document.body.dataset.screen === %q && document.body.dataset.ready === %q", name, name))
}

// Tap touches what has a data-key.
func (c *Cab) Tap(key string) {
	c.T.Helper()
	sel := chromedp.CSS(`[data-key="` + key + `"]`)
	c.Do("tap "+key, chromedp.WaitReady(sel), chromedp.Click(sel))
}

// Keys types a number on the page's own keypad.
func (c *Cab) Keys(number string) {
	c.T.Helper()
	for _, sign := range number {
		c.Do("key "+string(sign), chromedp.Click(chromedp.CSS(`.key[data-sign="`+string(sign)+`"]`)))
	}
}

// Choose picks a tile by its field and value.
func (c *Cab) Choose(field, value string) {
	c.T.Helper()
	sel := chromedp.CSS(`input[data-name="` + field + `"][value="` + value + `"]`)
	c.Do("choose "+field, chromedp.WaitReady(sel), chromedp.Click(sel))
}

// Write puts words into a field as typing does.
func (c *Cab) Write(field, words string) {
	c.T.Helper()
	sel := chromedp.CSS(`input[data-name="` + field + `"]`)
	c.Do("write "+field, chromedp.WaitReady(sel), chromedp.Evaluate[chromedp.Void]("document.querySelector('"+string(sel)+"').select(); undefined"), chromedp.SendKeys(sel, words))
}

// Said waits until the page has told something.
func (c *Cab) Said(words string) {
	c.T.Helper()
	quoted, _ := json.Marshal(words)
	c.Until("says "+words, "document.getElementById('say').innerText.includes("+string(quoted)+")")
}

// To goes from the first screen to another.
func (c *Cab) To(name string) {
	c.T.Helper()
	c.Do("to "+name, chromedp.Evaluate[chromedp.Void]("location.hash = '"+name+"'; undefined"))
	c.Screen(strings.Split(name, "/")[0])
}

// Shot writes a picture where HOPPERBOOK_SHOTS names a folder.
func (c *Cab) Shot(name string) {
	c.T.Helper()
	dir := os.Getenv("HOPPERBOOK_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(c.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		c.T.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		c.T.Fatal(err)
	}
}
