package page_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/page"
)

// cab is a browser in front of the page of an agent.
type cab struct {
	t      *testing.T
	ctx    context.Context
	url    string
	server *httptest.Server
}

// patience is how long a step may take before the page is taken as stuck; a
// step that works takes milliseconds.
const patience = 15 * time.Second

// browser starts one Chromium for a test; tests that need none stay quick.
func browser(t *testing.T) context.Context {
	t.Helper()
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

func enter(t *testing.T, ctx context.Context, agent tablet.Agent, wide, high int64) *cab {
	t.Helper()
	server := httptest.NewServer(page.Handler(agent, page.Options{Coalesce: 20 * time.Millisecond}))
	t.Cleanup(func() { server.CloseClientConnections(); server.Close() })
	c := &cab{t, ctx, server.URL, server}
	c.do("open", chromedp.EmulateViewport(wide, high, chromedp.EmulateTouch), chromedp.Navigate(server.URL))
	c.screen("home")
	return c
}

func (c *cab) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	c.t.Helper()
	ctx, stop := context.WithTimeout(c.ctx, patience)
	defer stop()
	if err := chromedp.Do(ctx, steps...); err != nil {
		c.t.Fatalf("%s: %v\nthe page says:\n%s", what, err, c.text("body"))
	}
}

// eval gives what a JavaScript expression gives.
func eval[T any](c *cab, js string) T {
	c.t.Helper()
	ctx, stop := context.WithTimeout(c.ctx, patience)
	defer stop()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	if err != nil {
		c.t.Fatalf("%.200s: %v", js, err)
	}
	return v
}

func (c *cab) text(selector string) string {
	quoted, _ := json.Marshal(selector)
	return eval[string](c, "(document.querySelector("+string(quoted)+") || {innerText: ''}).innerText")
}

// until waits for an expression to be true.
func (c *cab) until(what, js string) {
	c.t.Helper()
	c.do(what, chromedp.Poll[chromedp.Void](js))
}

// screen waits until a screen is shown and takes clicks.
func (c *cab) screen(name string) {
	c.t.Helper()
	c.until("screen "+name, fmt.Sprintf("document.body.dataset.screen === %q && document.body.dataset.ready === %q", name, name))
}

// tap touches what has a data-key.
func (c *cab) tap(key string) {
	c.t.Helper()
	sel := chromedp.CSS(`[data-key="` + key + `"]`)
	c.do("tap "+key, chromedp.WaitReady(sel), chromedp.Click(sel))
}

// keys types a number on the page's own keypad.
func (c *cab) keys(number string) {
	c.t.Helper()
	for _, sign := range number {
		c.do("key "+string(sign), chromedp.Click(chromedp.CSS(`.key[data-sign="`+string(sign)+`"]`)))
	}
}

// choose picks a tile by its field and value.
func (c *cab) choose(field, value string) {
	c.t.Helper()
	sel := chromedp.CSS(`input[data-name="` + field + `"][value="` + value + `"]`)
	c.do("choose "+field, chromedp.WaitReady(sel), chromedp.Click(sel))
}

// write puts words into a field as typing does.
func (c *cab) write(field, words string) {
	c.t.Helper()
	sel := chromedp.CSS(`input[data-name="` + field + `"]`)
	c.do("write "+field, chromedp.WaitReady(sel), chromedp.Evaluate[chromedp.Void]("document.querySelector('"+string(sel)+"').select(); undefined"), chromedp.SendKeys(sel, words))
}

func (c *cab) said(words string) {
	c.t.Helper()
	quoted, _ := json.Marshal(words)
	c.until("says "+words, "document.getElementById('say').innerText.includes("+string(quoted)+")")
}

// to goes from the first screen to another.
func (c *cab) to(name string) {
	c.t.Helper()
	c.do("to "+name, chromedp.Evaluate[chromedp.Void]("location.hash = '"+name+"'; undefined"))
	c.screen(strings.Split(name, "/")[0])
}

// shot writes a picture where HOPPERBOOK_SHOTS names a folder.
func (c *cab) shot(name string) {
	c.t.Helper()
	dir := os.Getenv("HOPPERBOOK_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(c.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		c.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		c.t.Fatal(err)
	}
}
