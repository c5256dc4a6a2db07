package report

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"stillspan/ingest"
	"stillspan/ingest/account"
	"stillspan/ingest/format"
	"stillspan/internal/words"
)

// Kind says what a finding is about; nothing decides by its text.
type Kind string

// Kinds of findings.
const (
	KindShort      Kind = "short"       // fewer frames in the clip than planned
	KindLost       Kind = "file-lost"   // shot, and not in the folder
	KindNotFired   Kind = "not-fired"   // never shot
	KindMissing    Kind = "missing"     // missing for a cause nothing tells
	KindEnded      Kind = "ended-early" // planned beyond the last frame there is
	KindDamaged    Kind = "damaged"
	KindCompanion  Kind = "damaged-companion" // the file of a pair that the clip does without
	KindLeftOut    Kind = "left-out"          // sound, but of a form the clip cannot hold
	KindNumberSkip Kind = "number-skip"       // numbers missing where no time is
	KindHalf       Kind = "half"              // one of two files of a RAW+JPEG pair missing
	KindSpare      Kind = "spare"             // exposures of brackets missing, of which the clip uses others
	KindEither     Kind = "either"            // two accounts are nearly as likely
	KindNotJudged  Kind = "not-judged"        // neither clock nor numbers tell what was planned
	KindInterval   Kind = "interval"          // not the planned one
	KindDrift      Kind = "drift"             // nearly the planned one
	KindUneven     Kind = "uneven"            // no steady interval where one was planned
	KindChanged    Kind = "interval-changed"
	KindRamped     Kind = "interval-ramp"
	KindPause      Kind = "pause"
	KindLate       Kind = Kind(account.Late)
	KindEarly      Kind = Kind(account.Early)
	KindDouble     Kind = Kind(account.Double)
	KindDelay      Kind = "delay"
	KindTooLong    Kind = "exposure-too-long"
	KindRamp       Kind = "exposure-ramp" // the exposure moved many times
	KindSetting    Kind = "setting"       // a setting moved
	KindClip       Kind = "clip"          // not as ordered
	KindFlash      Kind = "flash"
	KindRefused    Kind = "not-this-shoot" // looks like a planned shoot and is none
	KindNoCopy     Kind = "no-copy"        // in no verified copy
	KindUnreadable Kind = "unreadable"
	KindNotFound   Kind = "not-found"       // planned, and not in the dump
	KindNumbers    Kind = "numbers-missing" // file numbers beside a shoot
	KindFolder     Kind = "folder-missing"  // file numbers run on over it
	KindRemains    Kind = "loose-remains"   // loose stills that may be of a shoot with frames missing
	KindNone       Kind = "no-sequence"     // nothing in the dump is a sequence
)

// Advice on frames that are not there, by cause.
var advice = map[account.Cause]string{
	account.NotFired:   "The camera did not fire: cable, battery, a full buffer, or an exposure too long for the interval. No copy can bring these back; hold or blend them when rendering.",
	account.FileLost:   "These were shot and are not in this folder. Look for them on the card before wiping it, and copy it again.",
	account.Unknown:    "The names carry no number, or the counter started again there, so never fired and lost afterwards look alike. Look for these on the card before wiping it.",
	account.NumberSkip: "Numbers are missing but no time is: another frame was deleted in the camera or written elsewhere. Nothing is missing from the cadence; look on the card before wiping it.",
}

func (b *builder) add(kind Kind, card bool, advice, format string, args ...any) {
	b.out.Findings = append(b.out.Findings, Finding{Kind: kind, Text: capital(fmt.Sprintf(format, args...)), Advice: advice, Card: card})
}

// findings lists what is not as planned, gravest first.
func (b *builder) findings() {
	b.out.Findings = []Finding{}
	b.missingFindings()
	b.numberFindings()
	b.timingFindings()
	b.settingFindings()
	b.spoiltFindings()
	b.clipFindings()
	b.copyFinding()
	for _, r := range b.match.Refused {
		if r.Seq == b.i {
			b.add(KindRefused, false, "If it is, mend the plan.", "not the planned shoot %q: %s, but %s", b.plans[r.Shoot].Name, r.Looks, r.Why)
		}
	}
}

// missingFindings tell of the frames that the clip lacks, the most first.
func (b *builder) missingFindings() {
	d := &b.out.Delivered
	by := &d.ShortBy
	if d.ShortFrames > 0 {
		b.add(KindShort, false, "", "short by %s: %s", frames(d.ShortFrames), strings.Join(shortfall(d), ", "))
	}
	ended, why := "%s not shot at the end", "Camera or intervalometer stopped, or the last files were not copied: look on the card before wiping it."
	if !b.seq.Timing.Judged {
		ended, why = "%s fewer than planned", "Timing could not be judged, so nothing tells where they are missing: look on the card before wiping it."
	}
	type cause struct {
		n            int
		kind         Kind
		card         bool
		advice, text string
	}
	causes := []cause{
		{by.Lost, KindLost, true, advice[account.FileLost], "%s lost after being shot"},
		{by.Damaged, KindDamaged, true, "Copy " + them(by.Damaged) + " from the card again before wiping it.", "%s damaged"},
		{by.NotFired, KindNotFired, false, advice[account.NotFired], "%s never fired"},
		{by.Unknown, KindMissing, true, advice[account.Unknown], "%s missing, cause not known"},
		{by.Ended, KindEnded, true, why, ended},
		{by.LeftOut, KindLeftOut, false, "One clip holds stills of one format and size.", "%s of another format or size left out of the clip"},
	}
	slices.SortStableFunc(causes, func(x, y cause) int { return y.n - x.n })
	for _, c := range causes {
		if c.n > 0 {
			b.add(c.kind, c.card, c.advice, c.text, frames(c.n))
		}
	}
}

// numberFindings tell of files that are missing and that no clip lacks, and of
// what the numbers leave open.
func (b *builder) numberFindings() {
	skipped, spare := 0, 0
	for _, m := range b.out.Missing {
		switch {
		case m.Spare:
			spare += m.Count
		case account.Cause(m.Cause) == account.NumberSkip:
			skipped += m.Count
		}
	}
	if skipped > 0 {
		b.add(KindNumberSkip, true, advice[account.NumberSkip], "%s %s missing, but no time is", words.Count(skipped, "file number"), are(skipped))
	}
	if spare > 0 {
		b.add(KindSpare, true, "Look for "+them(spare)+" on the card before wiping it.", "%s of brackets missing; the clip uses others", words.Count(spare, "exposure"))
	}
	if n := len(b.out.DamagedCompanions); n > 0 {
		first := b.out.DamagedCompanions[0]
		what := "JPEG"
		if b.seq.Frames[first.Frame-1].Raw != "" {
			what = "raw file"
		}
		b.add(KindCompanion, true, "The clip does without, but "+map[bool]string{true: "it is an original", false: "they are originals"}[n == 1]+": copy "+them(n)+" from the card again before wiping it.",
			"the %s of %s is damaged, first %s", what, frames(n), base(first.File))
	}
	if n := len(b.seq.Halves); n > 0 {
		raw := 0
		for _, k := range b.seq.Halves {
			f := &b.seq.Frames[k]
			if named, _ := format.BySuffix(f.Name); !f.Facts.Raw && !named.Raw {
				raw++
			}
		}
		what := "raw file or the JPEG"
		switch raw {
		case 0:
			what = "JPEG"
		case n:
			what = "raw file"
		}
		b.add(KindHalf, true, "The others have both. Look for "+them(n)+" on the card before wiping it.",
			"the %s of %s is missing, first of %s", what, frames(n), base(b.name(b.seq.Halves[0])))
	}
	b.alternatives()
}

// timingFindings tell of the interval and of frames off the cadence.
func (b *builder) timingFindings() {
	t := &b.seq.Timing
	planned := unknown
	if b.out.Plan != nil {
		planned = b.out.Plan.IntervalS
	}
	b.unsteady(planned)
	if b.out.DriftMatters {
		kind := KindDrift
		if math.Abs(t.IntervalS-float64(planned)) > otherShare*float64(planned) {
			kind = KindInterval
		}
		b.add(kind, false, "Set the interval that the intervalometer really keeps, or count frames rather than minutes.",
			"the interval was %.3f s, planned %s: %+.1f s an hour", t.IntervalS, words.Seconds(float64(planned)), float64(b.out.DriftSPerHour))
	}
	for _, x := range t.Changes {
		b.add(KindChanged, false, "", "from %s on, the interval is %s instead of %s", base(b.name(x.Index)), words.Seconds(x.ToS), words.Seconds(x.FromS))
	}
	for _, x := range t.Ramps {
		b.add(KindRamped, false, "", "the interval ramped from %s to %s, %s to %s", words.Seconds(x.FromS), words.Seconds(x.ToS), base(b.name(x.First)), base(b.name(x.Last)))
	}
	for _, x := range t.Pauses {
		b.add(KindPause, false, "", "the camera paused for %s before %s; no frame is missing there", words.Seconds(x.ByS), base(b.name(x.Index)))
	}
	b.frameFindings()
}

// unsteady tells where no interval holds, or none that the clock can show.
func (b *builder) unsteady(planned Float) {
	t := &b.seq.Timing
	lo, hi := b.steps()
	switch {
	case !t.Judged && planned.Known() && hi > (1+2*unevenShare)*lo:
		b.add(KindUneven, false, "", "no steady interval where %s was planned: most steps take %s to %s", words.Seconds(float64(planned)), words.Seconds(lo), words.Seconds(hi))
	case !t.Judged && planned.Known():
		b.add(KindNotJudged, false, "Compare the number of frames with the plan.", "planned %s, but timing could not be judged: %s", words.Seconds(float64(planned)), b.out.TimingNote)
	case !t.Judged && slices.ContainsFunc(b.seq.Frames, func(f ingest.Frame) bool { return f.Number < 0 }):
		b.add(KindNotJudged, false, "", "neither file numbers nor times tell whether frames are missing: %s", b.out.TimingNote)
	case planned.Known() && t.FreeRunning && t.JitterRMSS > unevenShare*float64(planned):
		b.add(KindUneven, false, "", "the steps scatter by %s around %s, planned %s", words.Seconds(t.JitterRMSS), words.Seconds(t.IntervalS), words.Seconds(float64(planned)))
	}
}

// frameFindings tell of frames off the cadence.
func (b *builder) frameFindings() {
	t := &b.seq.Timing
	count := map[account.Kind]int{}
	for _, x := range t.Irregular {
		count[x.Kind]++
	}
	for _, k := range []struct {
		kind account.Kind
		text string
	}{{account.Late, "fired late"}, {account.Early, "fired early"}, {account.Double, "fired twice in one interval"}} {
		if n := count[k.kind]; n > 0 {
			b.add(Kind(k.kind), false, "", "%s %s", frames(n), k.text)
		}
	}
	for _, x := range t.Delays {
		way := "later"
		if x.ByS < 0 {
			way = "earlier"
		}
		b.add(KindDelay, false, "", "the cadence starts anew at %s, %.1f s %s than due; no frame is missing there", base(b.name(x.Index)), math.Abs(x.ByS), way)
	}
	if n := len(b.out.TooLong); n > 0 {
		b.add(KindTooLong, false, "Lengthen the interval or shorten the exposure: the camera misses shots while it exposes.",
			"%s exposed longer than the interval", frames(n))
	}
}

// steps is between what most of the times from one frame to the next lie, seconds:
// four in five of them; 0 and 0 for fewer than four.
func (b *builder) steps() (lo, hi float64) {
	var all []float64
	for i := range b.out.Rows {
		if s := b.out.Rows[i].StepS; s.Known() {
			all = append(all, float64(s))
		}
	}
	if len(all) < 4 {
		return 0, 0
	}
	slices.Sort(all)
	return all[len(all)/10], all[len(all)-1-len(all)/10]
}

// settingFindings tell of settings that moved: those that make the exposure
// together, in stops, and each other by itself.
func (b *builder) settingFindings() {
	for i := range b.seq.Exposure {
		m := &b.seq.Exposure[i]
		kind := KindSetting
		if slight(m) {
			continue // a note says it
		}
		if m.Steps > 1 {
			kind = KindRamp
		}
		b.add(kind, false, "", "%s", b.exposureText(m))
	}
	count := map[string]int{}
	var first []SettingChange
	for _, c := range b.out.SettingsChanges {
		if slices.Contains(exposureFields, c.Field) {
			continue
		}
		if count[c.Field]++; count[c.Field] == 1 {
			first = append(first, c)
		}
	}
	for _, c := range first {
		if n := count[c.Field]; n > 1 {
			b.add(KindSetting, false, "", "%s moved %d times, first from %s to %s at %s", c.Field, n, c.From, c.To, base(c.File))
		} else {
			b.add(KindSetting, false, "", "%s moved from %s to %s at %s", c.Field, c.From, c.To, base(c.File))
		}
	}
}

// exposureFields are the settings that ingest.ExposureMove speaks of.
var exposureFields = []string{"shutter", "aperture", "iso"}

// exposureText is one move of the exposure, or many, in words.
func (b *builder) exposureText(m *ingest.ExposureMove) string {
	var moved []string
	for _, c := range m.Settings {
		field, from, to := c.Field, strings.TrimPrefix(c.From, "ISO "), strings.TrimPrefix(c.To, "ISO ")
		if field == "iso" {
			field = "ISO"
		}
		if from == to {
			to += " again"
		}
		moved = append(moved, fmt.Sprintf("%s from %s to %s", field, from, to))
	}
	by := ""
	switch m.Mode {
	case "", "manual":
	case "auto":
		by = "; the camera set it by itself"
	default:
		by = "; the camera set it by itself (" + m.Mode + ")"
	}
	first, last := base(b.name(m.First)), base(b.name(m.Last))
	if m.Steps == 1 {
		return fmt.Sprintf("%s at %s: net %s%s", strings.Replace(strings.Join(moved, " and "), " from", " moved from", 1), first, stops(m.NetEV), by)
	}
	over := ""
	if m.Lasts > 0 {
		over = " over " + words.Seconds(m.Lasts.Seconds())
	}
	if m.Ramp {
		return fmt.Sprintf("exposure ramp, net %s%s in %d steps, %s to %s: %s%s", stops(m.NetEV), over, m.Steps, first, last, strings.Join(moved, ", "), by)
	}
	within := fmt.Sprintf("%.1f EV", m.RangeEV)
	if slight(m) {
		within = fmt.Sprintf("less than %.1f EV", slightEV)
	}
	return fmt.Sprintf("exposure moved %d times within %s%s, net %s, %s to %s: %s%s",
		m.Steps, within, over, stops(m.NetEV), first, last, strings.Join(moved, ", "), by)
}

// slightEV is what the exposure may wander by unseen: less than a step of any
// dial (common practice, no published source).
const slightEV = 0.1

// slight tells of many moves of one setting that show in no picture.
func slight(m *ingest.ExposureMove) bool {
	return m.Steps > 1 && m.RangeEV < slightEV && len(m.Settings) == 1
}

// stops writes a change of exposure. Labels are rounded to a third of a stop and
// spelled rounder still, so that 1/60 to 1/125 s is no exact stop.
func stops(ev float64) string {
	switch {
	case math.IsNaN(ev):
		return "change not known"
	case math.Abs(ev) < 0.15:
		return "0 EV"
	}
	return fmt.Sprintf("%+.1f EV", ev)
}

func (b *builder) clipFindings() {
	if r := b.out.Render; r != nil {
		for _, p := range r.Problems {
			b.add(KindClip, false, "Render again; if it recurs, try another codec.", "the clip is not as ordered: %s", p)
		}
	}
	if n := len(b.out.Flashes); n > 0 {
		b.add(KindFlash, false, "Flashing pictures can harm photosensitive viewers. Smooth or darken the passage, or warn before it is shown; have the clip tested where it is broadcast.",
			"%s %s more than the guideline allows, first at %s", words.Count(n, "passage"), map[bool]string{true: "flashes", false: "flash"}[n == 1], b.out.Flashes[0].From)
	}
}

// notes are remarks on what does not touch the clip.
func (b *builder) notes() []string {
	out := []string{}
	for _, n := range b.seq.Notes {
		out = append(out, capital(n))
	}
	out = append(append(append(out, b.breakNotes()...), b.seams...), append(b.colourNotes(), b.seenNotes()...)...)
	for i := range b.seq.Exposure {
		if m := &b.seq.Exposure[i]; slight(m) {
			out = append(out, capital(b.exposureText(m)))
		}
	}
	if n := b.out.Luminance.Bands; n != nil {
		out = append(out, n.text())
	}
	if t := b.seq.Turned; t != nil {
		out = append(out, fmt.Sprintf("The orientation flag of %s differs, first of %s: all are shown as the other %d say", frames(t.Count), base(b.name(t.First)), len(b.seq.Frames)-t.Count))
	}
	return out
}

// dumpFindings are those of the run as a whole.
func (r *Report) dumpFindings(in *Input) {
	if n := len(r.Unreadable); n > 0 {
		r.Findings = append(r.Findings, Finding{
			Kind: KindUnreadable, Text: fmt.Sprintf("%s could not be read or placed, and belong%s to no sequence", words.Count(n, "file"), verbS(n)),
			Advice: "Look for " + them(n) + " on the card before wiping it.", Card: true,
		})
	}
	for k, s := range in.NotFound {
		f := Finding{
			Kind: KindNotFound, Text: fmt.Sprintf("Planned shoot %q was not found in this dump", s.Planned.Name),
			Advice: "Is there another card? Do not wipe any until it is found.", Card: true,
		}
		for _, ref := range in.Match.Refused {
			if k < len(in.Match.NotFound) && ref.Shoot == in.Match.NotFound[k] && ref.Seq < len(in.Shoots) {
				f.Text += fmt.Sprintf("; sequence %s is not it: %s, but %s", in.Shoots[ref.Seq].Sequence.ID, ref.Looks, ref.Why)
			}
		}
		r.Findings = append(r.Findings, f)
	}
	for _, g := range in.Dump.FolderGaps {
		which, are := g.First, "is"
		if g.Last != g.First {
			which, are = g.First+" to "+path.Base(g.Last), "are"
		}
		r.Findings = append(r.Findings, Finding{
			Kind:   KindFolder,
			Text:   fmt.Sprintf("%s %s not in this dump, nor %s between %s and %s", which, are, words.Count(g.Numbers, "file number"), path.Base(g.Before), path.Base(g.After)),
			Advice: "Look for it on the card before wiping it, and copy it again; after a folder that was deleted in the camera there is nothing to find.", Card: true,
		})
	}
	for _, g := range in.Dump.NumberGaps {
		r.Findings = append(r.Findings, Finding{
			Kind:   KindNumbers,
			Text:   fmt.Sprintf("%s %s missing between %s and %s, beside a shoot", words.Count(g.Count, "file number"), are(g.Count), path.Base(g.Before), path.Base(g.After)),
			Advice: "Look for them on the card before wiping it; of stills that were deleted in the camera there is nothing to find.", Card: true,
		})
	}
	for _, x := range in.Dump.Remains {
		r.Findings = append(r.Findings, Finding{
			Kind: KindRemains, Card: true,
			Text: fmt.Sprintf("%s, %s to %s, may be of a shoot every %s: then %s %s missing",
				words.Count(x.Frames, "loose still"), path.Base(x.First), path.Base(x.Last), words.Seconds(x.IntervalS), frames(x.Missing), are(x.Missing)),
			Advice: "If it was one, look for the others on the card before wiping it; if these are test stills, nothing is missing.",
		})
	}
	if len(r.Sequences) == 0 {
		r.Findings = append(r.Findings, Finding{
			Kind: KindNone, Text: fmt.Sprintf("No sequence was found, only %s", words.Count(len(r.Loose), "loose still")),
			Advice: "--min-frames lowers what counts as a sequence.",
		})
	}
}

func verbS(n int) string {
	if n == 1 {
		return "s"
	}
	return ""
}

func them(n int) string {
	if n == 1 {
		return "it"
	}
	return "them"
}

func are(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
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

// base is a file's name without its folder.
func base(name string) string {
	return cmp.Or(name[strings.LastIndexByte(name, '/')+1:], "?")
}
