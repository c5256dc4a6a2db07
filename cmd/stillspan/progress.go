package main

import (
	"time"

	"github.com/schollz/progressbar/v3"
)

// progress is one bar on stderr; none where stderr is no terminal or quiet was
// asked for.
type progress struct{ bar *progressbar.ProgressBar }

func (c *call) progress(what string, total int) *progress {
	if !c.live || c.quiet() || total <= 0 {
		return &progress{}
	}
	return &progress{progressbar.NewOptions(total,
		progressbar.OptionSetWriter(c.stderr),
		progressbar.OptionSetDescription(what),
		progressbar.OptionShowCount(),
		progressbar.OptionSetPredictTime(true),
		progressbar.OptionThrottle(100*time.Millisecond),
		progressbar.OptionSetWidth(24),
		progressbar.OptionClearOnFinish(),
	)}
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
