package main

import (
	"time"

	"github.com/schollz/progressbar/v3"
)

// progress is one bar on stderr; none where stderr is no terminal or quiet was
// asked for.
type progress struct {
	bar  *progressbar.ProgressBar
	room int // columns for words
}

// What a bar takes of a line beside its words: itself, and share, counts and
// times.
const (
	barColumns  = 8
	restColumns = 36
)

func (c *call) progress(what string, total int, more ...progressbar.Option) *progress {
	if !c.live || c.quiet() || total <= 0 {
		return &progress{}
	}
	p := &progress{room: max(c.width-barColumns-restColumns, 8)}
	p.bar = progressbar.NewOptions(total, append(more,
		progressbar.OptionSetWriter(c.stderr),
		progressbar.OptionSetDescription(p.fit(what)),
		progressbar.OptionShowCount(),
		progressbar.OptionSetPredictTime(true),
		progressbar.OptionThrottle(100*time.Millisecond),
		progressbar.OptionSetWidth(barColumns),
		progressbar.OptionClearOnFinish(),
	)...)
	return p
}

// fit cuts words to what there is room for, so that the bar stays one line.
func (p *progress) fit(what string) string {
	if r := []rune(what); len(r) > p.room {
		return string(r[:p.room-1]) + "…"
	}
	return what
}

// describe says what is going on.
func (p *progress) describe(what string) {
	if p.bar != nil {
		p.bar.Describe(p.fit(what))
	}
}

// set moves the bar; total may become known late. Errors of painting are of
// no consequence to the work.
func (p *progress) set(done, total int) {
	if p.bar == nil {
		return
	}
	if total > 0 && total != p.bar.GetMax() {
		p.bar.ChangeMax(total)
	}
	_ = p.bar.Set(done)
}

func (p *progress) finish() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}
