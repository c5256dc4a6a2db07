package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"stillspan/ingest/plan"
	"stillspan/ingest/timing"
	"stillspan/internal/playback"
	"stillspan/internal/words"
)

// plan sets what was shot against what was planned.
func (b *builder) plan() {
	d := &b.out.Delivered
	d.Frames = b.out.Frames - len(b.out.Damaged)
	d.Rate, d.Verdict = plan.RateLabel(b.s.Rate), VerdictUnplanned
	d.ClipS = Float(float64(d.Frames) / b.s.Rate.FPS())
	b.out.Rates, b.out.Remedies = []RateRow{}, []Remedy{}
	planned := 0
	if s := b.s.Planned; s != nil {
		p := planOf(b.s)
		b.out.Plan = &p
		planned = s.Frames
		b.drift(s.IntervalS)
	}
	for _, r := range playback.StandardRates() {
		row := RateRow{Rate: plan.RateLabel(r), PlannedS: unknown, ShotS: Float(float64(d.Frames) / r.FPS()), Chosen: r == b.s.Rate}
		if planned > 0 {
			row.PlannedS = Float(float64(planned) / r.FPS())
		}
		b.out.Rates = append(b.out.Rates, row)
	}
	if planned > 0 {
		b.verdict(planned)
	}
	b.headline(planned)
}

func (b *builder) verdict(planned int) {
	d := &b.out.Delivered
	d.ShortFrames = planned - d.Frames
	switch {
	case d.ShortFrames > 0:
		d.Verdict = VerdictShort
	case d.ShortFrames < 0:
		d.Verdict, d.ShortFrames = VerdictOver, 0
		return
	default:
		d.Verdict = VerdictDelivered
		return
	}
	for _, m := range b.out.Missing {
		switch timing.Cause(m.Cause) {
		case timing.NotFired:
			d.ShortBy.NotFired += m.Count
		case timing.FileLost:
			d.ShortBy.Lost += m.Count
		case timing.Unknown:
			d.ShortBy.Unknown += m.Count
		}
	}
	d.ShortBy.Damaged = len(b.out.Damaged)
	d.ShortBy.Ended = max(0, d.ShortFrames-d.ShortBy.NotFired-d.ShortBy.Lost-d.ShortBy.Unknown-d.ShortBy.Damaged)
	b.remedies(planned)
}

// remedies lists what would close a shortfall, and its price.
func (b *builder) remedies(planned int) {
	d := &b.out.Delivered
	want := float64(planned) / b.s.Rate.FPS()
	inside := 0
	for _, m := range b.out.Missing {
		if m.Cause != string(timing.NumberSkip) {
			inside += m.Count
		}
	}
	inside += len(b.out.Damaged)
	if d.ShortBy.Lost > 0 {
		b.out.Remedies = append(b.out.Remedies, Remedy{
			Do: "find the lost files on the card", Gives: fmt.Sprintf("%s back", frames(d.ShortBy.Lost)),
			Costs: "nothing, while the card is not wiped",
		})
	}
	if inside > 0 {
		n := min(inside, d.ShortFrames)
		b.out.Remedies = append(b.out.Remedies, Remedy{
			Do:    "fill the gaps when rendering (--gaps blend or hold)",
			Gives: fmt.Sprintf("%s of %d, %s", frames(n), d.ShortFrames, clipLength(float64(d.Frames+n)/b.s.Rate.FPS())),
			Costs: "made-up frames: moving things ghost (blend) or stop for a moment (hold)",
		})
	}
	fps := float64(d.Frames) / want
	for i := len(playback.StandardRates()) - 1; i >= 0; i-- {
		r := playback.StandardRates()[i]
		if r.FPS() < b.s.Rate.FPS()-0.01 && r.FPS() <= fps*1.005 {
			b.out.Remedies = append(b.out.Remedies, Remedy{
				Do: "play at " + plan.RateLabel(r), Gives: clipLength(float64(d.Frames) / r.FPS()),
				Costs: fmt.Sprintf("motion is %.0f %% slower, and an edit at %s has to convert it", 100*(1-r.FPS()/b.s.Rate.FPS()), plan.RateLabel(b.s.Rate)),
			})
			break
		}
	}
	if fps > 0 && fps < b.s.Rate.FPS() {
		b.out.Remedies = append(b.out.Remedies, Remedy{
			Do: fmt.Sprintf("slow the clip to %.1f %% in the edit", 100*fps/b.s.Rate.FPS()), Gives: clipLength(want),
			Costs: fmt.Sprintf("%s repeated or mixed by the editor", frames(d.ShortFrames)),
		})
	}
}

// drift compares the interval shot with the interval planned.
func (b *builder) drift(plannedS float64) {
	t := &b.seq.Timing
	if !t.Judged || !(plannedS > 0) {
		return
	}
	perHour, ppm := timing.Drift(t.IntervalS, plannedS)
	b.out.DriftSPerHour, b.out.DriftPPM = Float(perHour), Float(ppm)
	off := math.Abs(t.IntervalS - plannedS)
	b.out.DriftMatters = off > driftShare*plannedS && off > driftSigmas*t.UncertaintyS
}

func (b *builder) headline(planned int) {
	d := &b.out.Delivered
	rate := plan.RateLabel(b.s.Rate)
	shot := fmt.Sprintf("%d / %s", d.Frames, clipLength(float64(d.ClipS)))
	if planned == 0 {
		b.out.Headline = fmt.Sprintf("Shot %s / %s at %s: no plan to compare with", frames(d.Frames), clipLength(float64(d.ClipS)), rate)
		return
	}
	end := "delivered as planned"
	switch d.Verdict {
	case VerdictShort:
		end = fmt.Sprintf("short by %d", d.ShortFrames)
	case VerdictOver:
		end = fmt.Sprintf("%d more than planned", d.Frames-planned)
	}
	b.out.Headline = fmt.Sprintf("Planned %s / %s at %s; shot %s: %s",
		frames(planned), clipLength(float64(planned)/b.s.Rate.FPS()), rate, shot, end)
}

// clipLength writes a clip's length to the hundredth of a second: frames count
// there.
func clipLength(s float64) string {
	if s < 60 {
		return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.2f", s), "0"), ".") + " s"
	}
	return fmt.Sprintf("%d min %05.2f s", int(s)/60, math.Mod(s, 60))
}

// findings lists what is not as planned, gravest first.
func (b *builder) findings() {
	b.out.Findings = []Finding{}
	add := func(kind, advice, format string, args ...any) {
		b.out.Findings = append(b.out.Findings, Finding{kind, capital(fmt.Sprintf(format, args...)), advice})
	}
	d := &b.out.Delivered
	var byCause = map[timing.Cause]int{}
	for _, m := range b.out.Missing {
		byCause[timing.Cause(m.Cause)] += m.Count
	}
	if d.Verdict == VerdictShort {
		add("short", "", "short by %s", frames(d.ShortFrames))
	}
	if n := byCause[timing.FileLost]; n > 0 {
		add("file-lost", advice[timing.FileLost], "%s lost after being shot", frames(n))
	}
	if n := len(b.out.Damaged); n > 0 {
		add("damaged", "Copy "+them(n)+" from the card again before wiping it.", "%s damaged", frames(n))
	}
	if n := byCause[timing.NotFired]; n > 0 {
		add("not-fired", advice[timing.NotFired], "%s never fired", frames(n))
	}
	if n := byCause[timing.Unknown]; n > 0 {
		add("missing", advice[timing.Unknown], "%s missing, cause not known", frames(n))
	}
	if n := byCause[timing.NumberSkip]; n > 0 {
		add("number-skip", advice[timing.NumberSkip], "%d file numbers are missing, but no time is", n)
	}
	kinds := map[string]int{}
	for _, x := range b.out.Irregular {
		kinds[x.Kind]++
	}
	for _, k := range []timing.Kind{timing.Late, timing.Early, timing.Double} {
		if n := kinds[string(k)]; n > 0 {
			word := map[timing.Kind]string{timing.Late: "fired late", timing.Early: "fired early", timing.Double: "fired twice in one interval"}[k]
			add(string(k), "", "%s %s", frames(n), word)
		}
	}
	for _, x := range b.seq.Timing.Delays {
		way := "later"
		if x.ByS < 0 {
			way = "earlier"
		}
		add("delay", "", "the cadence starts anew at %s, %.1f s %s than due; no frame is missing there", path0(b.name(x.Index)), math.Abs(x.ByS), way)
	}
	for _, x := range b.seq.Timing.Changes {
		add("interval-changed", "", "from %s on, the interval is %s instead of %s", path0(b.name(x.Index)), words.Seconds(x.ToS), words.Seconds(x.FromS))
	}
	if b.out.DriftMatters {
		add("drift", "Set the interval that the intervalometer really keeps, or count frames rather than minutes.",
			"the interval was %.3f s, planned %s: %+.1f s an hour", float64(b.out.IntervalS), words.Seconds(float64(b.out.Plan.IntervalS)), float64(b.out.DriftSPerHour))
	}
	if n := len(b.out.TooLong); n > 0 {
		add("exposure-too-long", "Lengthen the interval or shorten the exposure: the camera misses shots while it exposes.",
			"%s exposed longer than the interval", frames(n))
	}
	b.settingFindings(add)
	for _, p := range b.clipProblems() {
		add("clip", "Render again; if it recurs, try another codec.", "the clip is not as ordered: %s", p)
	}
	if n := len(b.out.Flashes); n > 0 {
		add("flash", "Flashing pictures can harm photosensitive viewers. Smooth or darken the passage, or warn before it is shown; have the clip tested where it is broadcast.",
			"%d passage%s flash more than the guideline allows, first at %s", n, map[bool]string{true: "", false: "s"}[n == 1], b.out.Flashes[0].From)
	}
}

func (b *builder) clipProblems() []string {
	if b.out.Render == nil {
		return nil
	}
	return b.out.Render.Problems
}

// settingFindings tells of settings that moved. Exposure that follows the
// light in many small steps is one finding, not a hundred.
func (b *builder) settingFindings(add func(kind, advice, format string, args ...any)) {
	count := map[string]int{}
	first := map[string]SettingChange{}
	var order []string
	for _, c := range b.out.SettingsChanges {
		if count[c.Field] == 0 {
			first[c.Field] = c
			order = append(order, c.Field)
		}
		count[c.Field]++
	}
	for _, f := range order {
		c := first[f]
		if count[f] == 1 {
			add("setting", "", "%s moved from %s to %s at %s", f, c.From, c.To, path0(c.File))
			continue
		}
		why := ""
		if b.automatic(f) {
			why = ": the camera set it by itself"
		}
		add("setting", "", "%s moved %d times, first from %s to %s at %s%s", f, count[f], c.From, c.To, path0(c.File), why)
	}
}

// automatic tells whether a remark on the sequence puts a setting's moves down
// to automatic exposure.
func (b *builder) automatic(field string) bool {
	return slices.ContainsFunc(b.seq.Notes, func(n string) bool {
		return strings.HasPrefix(n, field+" moved ") && strings.Contains(n, "automatic")
	})
}

// notes are the remarks that no finding says already.
func (b *builder) notes() []string {
	out := []string{}
	for _, n := range b.seq.Notes {
		said := strings.HasPrefix(n, "the cadence starts anew at ") && len(b.seq.Timing.Delays) > 0
		for _, c := range b.out.SettingsChanges {
			said = said || strings.HasPrefix(n, c.Field+" moved ")
		}
		if !said {
			out = append(out, capital(n))
		}
	}
	return out
}

// capital begins with a capital, and writes ISO as one does.
func capital(s string) string {
	if rest, ok := strings.CutPrefix(s, "iso "); ok {
		return "ISO " + rest
	}
	r, n := utf8.DecodeRuneInString(s)
	if r == utf8.RuneError {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// path0 is a file's name without its folder.
func path0(name string) string {
	return cmp.Or(name[strings.LastIndexByte(name, '/')+1:], "?")
}
