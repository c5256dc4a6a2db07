package main

import (
	"fmt"
	"math"
	"strings"
	"sync"
)

// outcome is what one sequence gave.
type outcome struct {
	seed               uint64
	shot, clip, filter figures
	filterName         string // ffmpeg's filter at its best, "" where it was not tried
	told               told
}

// table prints a row for each kind of scene when all its seeds are done.
type table struct {
	options
	kinds   []kind
	mu      sync.Mutex
	results [][]outcome
	printed int
	met     bool
}

func (t *table) head() {
	fmt.Printf(`Light of the decoded clip divided by the true light, EV; the worst of seeds %d to %d, %d frames each.
flicker: rms of what straight lines over %d frames do not follow, worst patch: as shot, clip, ffmpeg's deflicker filter at its best
on the first seed. by tone: the same by sixths of the tones from the darkest, clip, mEV. R/G, B/G: rms, middle of the patches, periods up to
%d frames, as shot and clip. pumping: rms in periods of %d to %d frames, worst patch, as shot, clip, ffmpeg. bent: the most by which
slower changes of light and of colour are off. told: flicker of the clip as the tool's report has it.

`, t.first, t.first+t.seeds-1, t.frames, slowWindow, longestPump, shortestPump, longestPump)
	fmt.Printf("%-31s %-20s  %-29s  %-13s  %-13s  %-20s  %-13s  %-6s %-6s %-6s  %s\n", "scene", "flicker", "by tone", "R/G", "B/G", "pumping", "bent", "event", "step", "told", "bounds")
}

func (t *table) add(kind int, out outcome) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.results[kind] = append(t.results[kind], out)
	for t.printed < len(t.kinds) && uint64(len(t.results[t.printed])) == t.seeds {
		t.row(t.kinds[t.printed], t.results[t.printed])
		t.printed++
	}
}

func (t *table) row(k kind, results []outcome) {
	all := results[0]
	for _, r := range results[1:] {
		all = worse(all, r)
	}
	tones := ""
	for _, x := range all.clip.tone {
		tones += fmt.Sprintf("%5.1f", 1e3*x)
	}
	if all.filterName == "" {
		all.filter.flicker, all.filter.pump = math.NaN(), math.NaN()
	}
	word := "met"
	if bad := k.judge(all); bad != nil {
		t.met, word = false, "NOT MET: "+strings.Join(bad, ", ")
	}
	fmt.Printf("%-31s %s %s %s  %s  %s %s  %s %s  %s %s %s  %s %s  %s %s %s  %s\n", k.name,
		ev(all.shot.flicker), ev(all.clip.flicker), ev(all.filter.flicker), tones, ev(all.shot.rg), ev(all.clip.rg), ev(all.shot.bg), ev(all.clip.bg),
		ev(all.shot.pump), ev(all.clip.pump), ev(all.filter.pump), ev(all.clip.bend), ev(all.clip.colourBend),
		ev(all.clip.event), ev(all.clip.step), ev(all.told.flickerEV), word)
	if t.patches {
		for _, r := range results {
			fmt.Printf("  seed %d by patch, as shot %.4f\n  clip %.4f\n  ffmpeg at its best: %s\n", r.seed, r.shot.patch, r.clip.patch, r.filterName)
		}
	}
}

// ev prints a figure that only some scenes have.
func ev(x float64) string {
	if x < 0 || math.IsNaN(x) {
		return "     -"
	}
	return fmt.Sprintf("%.4f", x)
}

// worse takes the worse of each figure.
func worse(a, b outcome) outcome {
	a.shot, a.clip, a.filter = a.shot.worse(b.shot), a.clip.worse(b.clip), a.filter.worse(b.filter)
	a.told.flickerEV, a.told.corrEV = max(a.told.flickerEV, b.told.flickerEV), max(a.told.corrEV, b.told.corrEV)
	a.filterName = max(a.filterName, b.filterName)
	a.told.local = a.told.local || b.told.local
	return a
}

func (f figures) worse(g figures) figures {
	for k := range f.tone {
		f.tone[k] = max(f.tone[k], g.tone[k])
	}
	f.flicker, f.rg, f.bg = max(f.flicker, g.flicker), max(f.rg, g.rg), max(f.bg, g.bg)
	f.pump, f.bend, f.colourBend = max(f.pump, g.pump), max(f.bend, g.bend), max(f.colourBend, g.colourBend)
	f.event, f.step = max(f.event, g.event), max(f.step, g.step)
	return f
}

// mayAdd is what may be added to the flicker of untouched stills, which their
// noise has by itself, EV rms.
const mayAdd = 0.0010

// judge names the bounds that were not met.
func (k kind) judge(o outcome) (bad []string) {
	check := func(name string, got, bound float64) {
		if bound > 0 && !(got <= bound) {
			bad = append(bad, fmt.Sprintf("%s %.4f", name, bound))
		}
	}
	b := k.bounds
	if b.untouched {
		check("flicker as shot", o.clip.flicker, math.Hypot(mayAdd, o.shot.flicker))
		check("R/G as shot", o.clip.rg, math.Hypot(mayAdd, o.shot.rg))
		check("B/G as shot", o.clip.bg, math.Hypot(mayAdd, o.shot.bg))
	}
	check("flicker", o.clip.flicker, b.patch)
	check("tone", largest(o.clip.tone[:]), b.tone)
	check("R/G", o.clip.rg, b.colour)
	check("B/G", o.clip.bg, b.colour)
	check("pumping", o.clip.pump, b.pump)
	check("bent", max(o.clip.bend, o.clip.colourBend), b.bend)
	check("event", o.clip.event, b.event)
	check("step", o.clip.step, b.step)
	check("correction", o.told.corrEV, b.corr)
	if o.told.local && !k.corners {
		bad = append(bad, "corners corrected where nothing ails them")
	}
	if b.times > 0 && o.filterName != "" {
		check("a part of ffmpeg's", o.clip.flicker, max(o.filter.flicker/b.times, mayAdd))
	}
	return bad
}
