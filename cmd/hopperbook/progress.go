package main

import (
	"os"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// bar is a progress bar on stderr; it draws nothing when stderr is no terminal.
type bar struct {
	drawn *progressbar.ProgressBar
}

func newBar(what string) *bar {
	if !term.IsTerminal(int(os.Stderr.Fd())) {
		return &bar{}
	}
	return &bar{progressbar.NewOptions(-1, progressbar.OptionSetWriter(os.Stderr), progressbar.OptionSetDescription(what),
		progressbar.OptionShowCount(), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100_000_000))}
}

// publish shows how many events the book has confirmed of those sent so far.
func (b *bar) publish(sent, confirmed int) { b.of(sent, confirmed, sent) }

// of shows how many events the book has confirmed of a known total.
func (b *bar) of(_, confirmed, total int) {
	if b.drawn == nil {
		return
	}
	b.drawn.ChangeMax(total)
	_ = b.drawn.Set(confirmed) // a bar that cannot be drawn is no fault of the work
}

func (b *bar) done() {
	if b.drawn != nil {
		_ = b.drawn.Finish()
	}
}
