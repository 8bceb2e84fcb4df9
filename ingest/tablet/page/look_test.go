package page_test

import (
	"context"
	"fmt"
	"os"
	"testing"

	"github.com/chromedp/chromedp"
)

// Pictures for people: go test -run Shots with HOPPERBOOK_SHOTS naming a folder.
func TestShots(t *testing.T) {
	if os.Getenv("HOPPERBOOK_SHOTS") == "" {
		t.Skip("pictures are made where HOPPERBOOK_SHOTS names a folder")
	}
	ctx := browser(t)
	for _, size := range sizes() {
		f := atWork()
		c := enter(t, ctx, f, size[0], size[1])
		for _, theme := range []string{"light", "dark"} {
			c.to("display")
			c.tap("theme-" + theme)
			for _, screen := range screens() {
				c.to("home")
				c.to(screen)
				c.shot(fmt.Sprintf("%dx%d-%s-%s", size[0], size[1], theme, screen))
			}
		}
		c.do("forget", chromedp.Evaluate[chromedp.Void]("localStorage.clear(); sessionStorage.clear(); undefined"))
	}
}

// atWork is a spreader in the middle of its day.
func atWork() *fake {
	f := newFake("spreader")
	for _, step := range [][2]string{{"who", `{"operator":"Wren Marlow"}`}, {"check", `{"item":"guard","value":1,"unit":"","pass":true}`}, {"pick", `{"job":"J1","field":"F1"}`},
		{"start", `{}`}, {"load", `{"product":"lime","method":"bucket","lifts_kg":[2480,2510,2390],"refill":true,"residual":{"method":"empty"}}`}} {
		if _, err := f.Do(context.Background(), step[0], []byte(step[1])); err != nil {
			panic(err)
		}
	}
	f.drive()
	return f
}

func screens() []string {
	return []string{"home", "job", "start", "finish", "weigh", "refill", "setting", "catch", "density", "tray", "check", "weather", "log", "notices", "who", "display"}
}

func sizes() [][2]int64 { return [][2]int64{{360, 640}, {800, 1280}, {1280, 800}} }
