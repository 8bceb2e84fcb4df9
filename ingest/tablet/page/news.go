package page

import (
	"fmt"
	"net/http"
	"time"
)

// news tells of changes of the view: one event a change, at most one in
// Options.Coalesce, the first at once. The event carries no figures: the page
// asks for the view, so a slow page is never behind.
func (p *page) news(w http.ResponseWriter, r *http.Request) {
	out := http.NewResponseController(w)
	_ = out.SetWriteDeadline(time.Time{}) // a test's recorder has none
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	beat := time.NewTicker(p.o.Heartbeat)
	defer beat.Stop()
	text := "retry: 1000\n"
	for n := 1; ; n++ {
		changed := p.agent.Changed() // before the news: no change falls between
		text += fmt.Sprintf("id: %d\ndata: changed\n\n", n)
		for {
			if _, err := w.Write([]byte(text)); err != nil || out.Flush() != nil {
				return
			}
			select {
			case <-r.Context().Done():
				return
			case <-beat.C:
				text = ": alive\n\n"
				continue
			case <-changed:
			}
			break
		}
		text = ""
		select {
		case <-r.Context().Done():
			return
		case <-time.After(p.o.Coalesce):
		}
	}
}
