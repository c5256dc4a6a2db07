package main

import (
	"fmt"
	"time"

	"github.com/schollz/progressbar/v3"

	"stillspan/assemble/shoot"
)

// progress is one bar on stderr; none where stderr is no terminal or quiet was
// asked for.
type progress struct {
	bar  *progressbar.ProgressBar
	room int // columns for words
}

// What a bar shows beside the share: how many of how many, or so in bytes.
var (
	counted = progressbar.OptionShowCount()
	inBytes = []progressbar.Option{counted, progressbar.OptionShowBytes(true), progressbar.OptionShowTotalBytes(true)}
)

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

// course is one bar, with one estimate, for all that is done with the frames of
// several shoots.
type course struct {
	*progress
	begun, total int // units of work: measuring a frame is one
}

func (c *call) course(shoots []*shoot.Shoot, render bool) *course {
	b := &course{}
	for _, s := range shoots {
		b.total += len(s.Sequence.Frames)
		if render {
			b.total += renderUnits(s)
		}
	}
	b.progress = c.progress("measuring", b.total) // without a count, which would be of units
	return b
}

// renderUnits is what a clip costs where measuring a frame costs one: as measured,
// about 5 for a still of 1 megapixel and 30 for one of 24, whose measuring does
// not decode its pixels.
func renderUnits(s *shoot.Shoot) int {
	f := s.Sequence.Frames[0].Facts
	return len(s.Sequence.Frames) * (4 + f.Width*f.Height/1_000_000)
}

// part begins a part of the work, which moves the bar by so many units.
func (b *course) part(units int) func(done, total int) {
	before := b.begun
	b.begun += units
	return func(done, total int) {
		if total > 0 {
			b.set(before+int(float64(units)*float64(done)/float64(total)), b.total)
		}
	}
}

// counting is a part that says which of its frames is worked on.
func (b *course) counting(what string, units int) func(done, total int) {
	move := b.part(units)
	return func(done, total int) {
		b.describe(fmt.Sprintf("%s, %d of %d", what, done, total))
		move(done, total)
	}
}
