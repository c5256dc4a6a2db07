package report

import (
	"fmt"
	"strings"

	"stillspan/ingest/timing"
	"stillspan/report/plan"
)

// Cautions that stand wherever they apply.
const (
	cautionCard  = "Do not wipe the card while frames are unaccounted for. One copy is no backup."
	cautionFlash = "Flashing pictures can harm viewers with photosensitive epilepsy. This check is an aid and no certified test."
)

// gapAdvice says what to do about missing frames, by cause.
func gapAdvice(c timing.Cause) string {
	switch c {
	case timing.NotFired:
		return "The shutter did not fire: nothing was lost from the card. Look at exposure against interval, buffer and card speed, battery, trigger contact."
	case timing.FileLost:
		return "Shot, but the file is not here. Look on the card before wiping it; then on the second card and in other copies."
	case timing.NumberSkip:
		return "No time was lost: a frame was deleted in the camera, or the camera wrote that number elsewhere."
	}
	return "Names carry no number, so never fired and lost afterwards look alike. Look on the card before wiping it."
}

// fieldsThatSpoil are settings that no correction of exposure levels.
var fieldsThatSpoil = []string{"white balance", "focus", "focal"}

func (b *builder) findings() {
	s := b.out
	add := func(kind, advice, format string, args ...any) {
		s.Findings = append(s.Findings, Finding{kind, fmt.Sprintf(format, args...), advice})
	}
	if s.Delivered.Verdict == VerdictShort {
		add("short", "", "%s short of the plan%s.", count(s.Delivered.ShortFrames, "frame"), shortWhere(s.Delivered.ShortBy))
	}
	byCause := map[string][2]int{} // frames, gaps
	for _, m := range s.Missing {
		n := byCause[m.Cause]
		byCause[m.Cause] = [2]int{n[0] + m.Count, n[1] + 1}
	}
	for _, c := range []timing.Cause{timing.FileLost, timing.NotFired, timing.Unknown, timing.NumberSkip} {
		if n := byCause[string(c)]; n[1] > 0 {
			word := causeWord(string(c))
			if c == timing.NumberSkip {
				add("gap", gapAdvice(c), "%s skipped in %s.", count(n[0], "number"), count(n[1], "place"))
				continue
			}
			add("gap", gapAdvice(c), "%s %s in %s.", count(n[0], "frame"), word, count(n[1], "gap"))
		}
	}
	if n := len(s.Damaged); n > 0 {
		add("damaged", "Copy these files from the card again before wiping it, and compare.", "%s damaged: %s.",
			count(n, "frame"), someFiles(s.Damaged))
	}
	b.timingFindings(add)
	for _, c := range s.SettingsChanges {
		for _, f := range fieldsThatSpoil {
			if strings.Contains(c.Field, f) {
				add("setting", "No correction of exposure levels this: split the clip there or grade across it.",
					"%s changed from %s to %s at frame %d (%s).", c.Field, c.From, c.To, c.Frame, c.File)
			}
		}
	}
	if s.Render != nil && !s.Render.Verified {
		add("clip", "Render again; if it stays so, keep the file for a look and do not deliver it.",
			"The clip is not as ordered: %s.", strings.Join(append([]string{}, s.Render.Problems...), "; "))
	}
	if n := len(s.Flashes); n > 0 {
		add("flash", cautionFlash, "The clip flashes more than the guideline allows in %s, first at %s.", count(n, "passage"), s.Flashes[0].From)
	}
}

func (b *builder) timingFindings(add func(kind, advice, format string, args ...any)) {
	s := b.out
	kinds := map[string]int{}
	for _, x := range s.Irregular {
		kinds[x.Kind]++
	}
	for _, k := range []timing.Kind{timing.Late, timing.Early, timing.Double} {
		if n := kinds[string(k)]; n > 0 {
			word := string(k)
			if k == timing.Double {
				word = "doubled"
			}
			add("irregular", "", "%s %s.", count(n, "frame"), word)
		}
	}
	if n := len(b.seq.Timing.Delays); n > 0 {
		add("delay", "", "The cadence was delayed in %s.", count(n, "place"))
	}
	if n := len(b.seq.Timing.Changes); n > 0 {
		add("interval", "", "The interval changed in %s.", count(n, "place"))
	}
	if s.DriftMatters {
		add("drift", "Set the interval in the camera or trigger by what it gives, not by what it says.",
			"Interval %s s, planned %s s: %s s an hour.", num(float64(s.IntervalS), 3), num(float64(s.Plan.IntervalS), 3), signed(float64(s.DriftSPerHour), 1))
	}
	if n := len(s.TooLong); n > 0 {
		add("exposure", "Lengthen the interval or shorten the exposure; the camera misses shots otherwise.",
			"%s exposed longer than the interval.", count(n, "frame"))
	}
}

// causeWord is the cause of a gap in words.
func causeWord(cause string) string {
	switch timing.Cause(cause) {
	case timing.NotFired:
		return "not fired"
	case timing.FileLost:
		return "lost after the shot"
	case timing.NumberSkip:
		return "number skipped"
	}
	return "missing, cause not known"
}

func shortWhere(b ShortBy) string {
	var parts []string
	for _, p := range []struct {
		n    int
		word string
	}{{b.NotFired, "not fired"}, {b.Lost, "lost after the shot"}, {b.Damaged, "damaged"}, {b.Ended, "because it ended early"}} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.word))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return ": " + strings.Join(parts, ", ")
}

// someFiles names the first few files.
func someFiles(d []Damage) string {
	const most = 3
	var names []string
	for _, x := range d[:min(len(d), most)] {
		names = append(names, fmt.Sprintf("%s (%s)", x.File, x.Kind))
	}
	if more := len(d) - most; more > 0 {
		names = append(names, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(names, ", ")
}

// runFindings are those that belong to no sequence.
func runFindings(r *Report) []Finding {
	var out []Finding
	for _, p := range r.NotFound {
		out = append(out, Finding{"not-found", fmt.Sprintf("Planned shoot %q: not found in this dump.", p.Name),
			"Was every card copied? If it was shot, look at its folder, start window, frames and interval in the plan."})
	}
	for _, d := range r.Unreadable {
		out = append(out, Finding{"unreadable", fmt.Sprintf("%s: %s", d.File, d.Problem), d.Try})
	}
	return out
}

// Unaccounted tells whether a frame that was shot is missing or damaged here,
// so that the card must not be wiped yet.
func (s *Sequence) Unaccounted() bool {
	for _, m := range s.Missing {
		if m.Cause != string(timing.NotFired) {
			return true
		}
	}
	return len(s.Damaged) > 0
}

// planLine is a planned shoot in a few words.
func planLine(p *Plan) string {
	var parts []string
	if p.Frames > 0 {
		parts = append(parts, count(p.Frames, "frame"))
	}
	if p.IntervalS.Known() {
		parts = append(parts, "every "+plan.FormatSeconds(float64(p.IntervalS)))
	}
	if p.ClipS.Known() {
		parts = append(parts, clipSeconds(p.ClipS)+" at "+rateWord(p.Rate))
	}
	return strings.Join(parts, ", ")
}
