package report

import (
	"fmt"
	"slices"
	"strings"

	"stillspan/internal/words"
)

// State is a shoot's verdict for the eye: a sign and words, so that its colour
// says nothing alone.
type State struct{ Class, Sign, Word string }

// StateOf is the state of a shoot.
func StateOf(s *Sequence) State {
	word := capital(string(s.Delivered.Word))
	switch s.Delivered.Word {
	case WordDelivered, WordComplete, WordNotes, WordCompleteNotes:
		return State{"good", "✓", word}
	case WordNotJudged:
		return State{"open", "?", word}
	case WordShort:
		return State{"bad", "✕", fmt.Sprintf("Short by %d", s.Delivered.ShortFrames)}
	}
	return State{"bad", "!", word}
}

// link is one station on the way from the plan to the clip: how many frames came
// so far, and what became of those that did not.
type link struct {
	Word   string
	Frames int
	Less   []string // in words; the numbers add up to the next station
}

// chainOf is planned, fired, on disk, usable, in the clip. Each station less
// what stands under it is the next.
func chainOf(d *Delivered) []link {
	by := &d.ShortBy
	first := link{Word: "planned", Frames: d.Planned}
	if d.Planned == 0 {
		first = link{Word: "due by the cadence", Frames: d.InClip + by.NotFired + by.Lost + by.Unknown + by.Damaged + by.LeftOut}
	}
	first.Less = less(by.NotFired, "never fired", by.Unknown, "missing, cause not known", by.Ended, "not shot at the end")
	if over := d.Fired - first.Frames + by.NotFired + by.Unknown + by.Ended; over > 0 {
		first.Less = append(first.Less, fmt.Sprintf("+%d beyond the plan", over))
	}
	last := link{Word: "in the clip", Frames: d.InClip}
	if d.MadeUp > 0 {
		last.Less = []string{fmt.Sprintf("+%d made up", d.MadeUp)}
	}
	return []link{
		first,
		{"fired", d.Fired, less(by.Lost, "lost after being shot")},
		{"on disk", d.OnDisk, less(by.Damaged, "damaged")},
		{"usable", d.Usable, less(by.LeftOut, "left out of the clip")},
		last,
	}
}

// less writes numbers of frames that fell away, those above 0.
func less(pairs ...any) []string {
	var out []string
	for i := 0; i < len(pairs); i += 2 {
		if n := pairs[i].(int); n > 0 {
			out = append(out, fmt.Sprintf("\u2212%d %s", n, pairs[i+1]))
		}
	}
	return out
}

// causes are the findings behind a verdict; the row of counts says how many
// frames are short.
func causes(s *Sequence) []Finding {
	return slices.DeleteFunc(slices.Clone(s.Findings), func(f Finding) bool { return f.Kind == KindShort })
}

// doNext is what to do about the findings, each once, what a wiped card would
// make impossible first.
func doNext(s *Sequence) []string {
	var out []string
	add := func(card bool) {
		for _, f := range s.Findings {
			if f.Card == card && f.Advice != "" && !slices.Contains(out, f.Advice) {
				out = append(out, f.Advice)
			}
		}
	}
	add(true)
	add(false)
	return out
}

// plainInterval is the interval as people say it; the technical part has all of
// its digits.
func plainInterval(s *Sequence) string {
	if s.TimingNote != "" || !s.IntervalS.Known() {
		return s.TimingNote
	}
	kept := words.Seconds(float64(s.IntervalS))
	if s.Plan == nil || !s.Plan.IntervalS.Known() {
		return kept
	}
	planned := words.Seconds(float64(s.Plan.IntervalS))
	if !s.DriftMatters {
		return planned + ", as planned"
	}
	way := "late"
	by := float64(s.DriftSPerHour)
	if by < 0 {
		way, by = "early", -by
	}
	return fmt.Sprintf("%s, planned %s: %s %s each hour", kept, planned, words.Seconds(float64(int(by*10+0.5))/10), way)
}

// ShootName is what people call a shoot.
func ShootName(s *Sequence) string {
	if s.Plan != nil && s.Plan.Name != "" {
		return s.Plan.Name
	}
	return s.ID
}

// plainRate is a rate with its unit.
func plainRate(rate string) string { return strings.TrimSuffix(rate, " fps") + " fps" }
