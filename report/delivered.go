package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"stillspan/ingest/account"
	"stillspan/ingest/plan"
	"stillspan/internal/playback"
	"stillspan/internal/words"
)

// plan sets what was planned beside the shoot.
func (b *builder) plan() {
	if b.s.Planned == nil {
		return
	}
	p := planOf(b.s)
	if b.i < len(b.match.Reason) {
		p.MatchReason = b.match.Reason[b.i]
	}
	b.out.Plan = &p
	b.drift(b.s.Planned.IntervalS)
}

// drift compares the interval shot with the interval planned.
func (b *builder) drift(plannedS float64) {
	t := &b.seq.Timing
	if !t.Judged || !(plannedS > 0) {
		return
	}
	perHour, ppm := account.Drift(t.IntervalS, plannedS)
	b.out.DriftSPerHour, b.out.DriftPPM = Float(perHour), Float(ppm)
	off := math.Abs(t.IntervalS - plannedS)
	b.out.DriftMatters = off > driftShare*plannedS && off > driftSigmas*t.UncertaintyS
}

// count is the one home of every count of frames.
func (b *builder) count() {
	d := &b.out.Delivered
	if b.out.Plan != nil {
		d.Planned = b.out.Plan.Frames
	}
	by := &d.ShortBy
	for _, m := range b.out.Missing {
		if m.Spare {
			continue // the clip uses another exposure of that bracket
		}
		switch account.Cause(m.Cause) {
		case account.NotFired:
			by.NotFired += m.Count
		case account.FileLost:
			by.Lost += m.Count
		case account.Unknown:
			by.Unknown += m.Count
		}
	}
	d.OnDisk = b.out.Frames
	d.Fired = d.OnDisk + by.Lost
	d.Usable = d.OnDisk - len(b.out.Damaged)
	for k := range b.seq.Frames {
		if b.s.InClip(k) {
			d.InClip++
		}
	}
	// A clip of some frames by request says nothing of the others.
	if r := b.out.Render; r != nil && r.Chosen == "" {
		d.InClip, d.MadeUp = r.Frames-r.Filled-r.Held-r.Slate, r.Filled
	}
	by.Damaged, by.LeftOut = len(b.out.Damaged), d.Usable-d.InClip
	inside := by.NotFired + by.Lost + by.Unknown + by.Damaged + by.LeftOut
	want := d.Planned
	if want == 0 {
		want = d.InClip + inside // nothing says more than the cadence
	}
	d.ShortFrames = max(0, want-d.InClip)
	by.Ended, by.Beyond = max(0, d.ShortFrames-inside), min(0, d.ShortFrames-inside)
	d.Missing, d.Over = max(0, want-d.InClip-d.MadeUp), max(0, d.InClip+d.MadeUp-want)
	d.Frames, d.Rate = d.Usable, plan.RateLabel(b.s.Rate)
	d.ClipS = Float(float64(d.InClip) / b.s.Rate.FPS())
	b.out.Rates = []RateRow{}
	for _, r := range playback.StandardRates() {
		row := RateRow{Rate: plan.RateLabel(r), PlannedS: unknown, ShotS: Float(float64(d.InClip) / r.FPS()), Chosen: r == b.s.Rate}
		if d.Planned > 0 {
			row.PlannedS = Float(float64(d.Planned) / r.FPS())
		}
		b.out.Rates = append(b.out.Rates, row)
	}
}

// verdict judges by the counts and by the kinds of what was found.
func (b *builder) verdict() {
	d := &b.out.Delivered
	unjudged := slices.ContainsFunc(b.out.Findings, func(f Finding) bool { return f.Kind == KindNotJudged })
	found, notes := len(b.out.Findings) > 0, len(b.out.Notes) > 0 || b.out.TimingNote != "" || d.Over > 0
	switch {
	case d.ShortFrames > 0:
		d.Verdict, d.Word = VerdictShort, WordShort
	case unjudged:
		d.Verdict, d.Word = VerdictNotJudged, WordNotJudged
	case found:
		d.Verdict, d.Word = VerdictOther, WordOther
	case notes:
		d.Verdict, d.Word = VerdictDelivered, WordNotes
	default:
		d.Verdict, d.Word = VerdictDelivered, WordDelivered
	}
	if d.Over > 0 && d.Planned > 0 {
		d.Verdict = VerdictOver
	}
	if b.out.Plan == nil {
		d.Verdict = VerdictUnplanned
		d.Word = cmp.Or(map[Word]Word{WordOther: WordFindings, WordDelivered: WordComplete, WordNotes: WordCompleteNotes}[d.Word], d.Word)
	}
	b.headline()
	b.remedies()
}

func (b *builder) headline() {
	d := &b.out.Delivered
	rate := plainRate(d.Rate)
	length := func(n int) string { return clipLength(float64(n) / b.s.Rate.FPS()) }
	switch {
	case b.out.Plan == nil:
		missing := ""
		if d.ShortFrames > 0 {
			missing = fmt.Sprintf(", short by %d", d.ShortFrames)
		}
		b.out.Headline = fmt.Sprintf("Shot %s / %s at %s%s: no plan to compare with", frames(d.InClip), length(d.InClip), rate, missing)
		return
	case d.Planned == 0:
		b.out.Headline = fmt.Sprintf("Planned an interval of %s; shot %s / %s at %s: %s",
			words.Seconds(float64(b.out.Plan.IntervalS)), frames(d.InClip), length(d.InClip), rate, b.ending())
		return
	}
	b.out.Headline = fmt.Sprintf("Planned %s / %s at %s; shot %d / %s: %s",
		frames(d.Planned), length(d.Planned), rate, d.InClip, length(d.InClip), b.ending())
}

// ending is the verdict in the headline.
func (b *builder) ending() string {
	d := &b.out.Delivered
	all := "all there"
	if over := d.InClip - d.Planned; d.Planned > 0 && over > 0 {
		all = fmt.Sprintf("%d more than planned", over)
	}
	switch d.Word {
	case WordShort:
		return fmt.Sprintf("short by %d", d.ShortFrames)
	case WordNotJudged:
		return all + ", but timing could not be judged"
	case WordOther:
		return all + ", but not as planned"
	}
	if d.Planned > 0 && d.InClip > d.Planned {
		return all
	}
	return "delivered as planned"
}

// shortfall splits the shortfall by cause, the largest first; the numbers sum to
// it.
func shortfall(d *Delivered) []string {
	type part struct {
		n    int
		text string
	}
	by := &d.ShortBy
	parts := []part{
		{by.Ended, "not shot at the end"}, {by.Lost, "lost after being shot"}, {by.Damaged, "damaged"},
		{by.NotFired, "never fired"}, {by.Unknown, "missing, cause not known"}, {by.LeftOut, "left out of the clip"},
	}
	slices.SortStableFunc(parts, func(a, b part) int { return b.n - a.n })
	var out []string
	for _, p := range parts {
		if p.n > 0 {
			out = append(out, fmt.Sprintf("%d %s", p.n, p.text))
		}
	}
	if by.Beyond < 0 {
		out = append(out, fmt.Sprintf("less %d shot beyond the planned end", -by.Beyond))
	}
	return out
}

// countsText is the counts in one line: planned = in the clip as shot + made up
// + missing.
func countsText(d *Delivered) string {
	parts := []string{fmt.Sprintf("%d fired", d.Fired), fmt.Sprintf("%d on disk", d.OnDisk)}
	if d.ShortBy.Unknown > 0 {
		parts[0] = "at least " + parts[0]
	}
	if d.Usable != d.OnDisk {
		parts = append(parts, fmt.Sprintf("%d usable", d.Usable))
	}
	sum := fmt.Sprintf("%d in the clip as shot", d.InClip)
	if d.MadeUp > 0 {
		sum += fmt.Sprintf(" + %d made up", d.MadeUp)
	}
	if d.Missing > 0 {
		sum += fmt.Sprintf(" + %d missing", d.Missing)
	}
	if d.Over > 0 && d.Planned > 0 {
		sum += fmt.Sprintf(" - %d more than planned", d.Over)
	}
	text := strings.Join(parts, ", ") + "; "
	if d.Planned > 0 {
		text += fmt.Sprintf("%d planned = ", d.Planned)
	}
	return text + sum
}

// Limits of what is sensible as a remedy (common practice, no published source).
const (
	slowestRate = 0.75 // of the planned rate, for another rate of playback
	slowestEdit = 0.9  // of the planned speed, for mixing frames in the edit
	longestFill = 1.0  // second of the clip, for one gap filled with made-up frames
)

// remedies lists what would close a shortfall, and its price.
func (b *builder) remedies() {
	b.out.Remedies = []Remedy{}
	d := &b.out.Delivered
	if d.Planned == 0 || d.Missing == 0 {
		return
	}
	add := func(do, gives, costs string) { b.out.Remedies = append(b.out.Remedies, Remedy{do, gives, costs}) }
	fps := b.s.Rate.FPS()
	if n := d.ShortBy.Lost + d.ShortBy.Damaged; n > 0 {
		add("find the lost and damaged files on the card", frames(n)+" back", "nothing, while the card is not wiped")
	}
	if n := d.ShortBy.Ended; n > 0 && b.out.Plan.IntervalS.Known() {
		add("shoot on, where rig and light still stand as they did", frames(n)+" more", words.Seconds(float64(n)*float64(b.out.Plan.IntervalS))+" of shooting")
	}
	if n := b.fillable(); n > 0 && d.MadeUp == 0 {
		add("fill the gaps when rendering (--gaps blend or hold)",
			fmt.Sprintf("%s of %d, %s", frames(n), d.Missing, clipLength(float64(d.InClip+n)/fps)),
			"made-up frames: moving things ghost (blend) or stop for a moment (hold)")
	}
	share := float64(d.InClip+d.MadeUp) / float64(d.Planned)
	for _, r := range slices.Backward(playback.StandardRates()) {
		if k := r.FPS() / fps; k < 0.9995 && k <= share*1.005 && k >= slowestRate {
			add("play at "+plainRate(plan.RateLabel(r)), clipLength(float64(d.InClip+d.MadeUp)/r.FPS()),
				fmt.Sprintf("motion is %.0f %% slower, and an edit at %s has to convert it", 100*(1-k), plainRate(d.Rate)))
			break
		}
	}
	if share >= slowestEdit {
		add(fmt.Sprintf("slow the clip to %.1f %% in the edit", 100*share), clipLength(float64(d.Planned)/fps),
			frames(d.Missing)+" repeated or mixed by the editor")
	}
}

// fillable is how many frames lie in gaps short enough to be filled; 0 where
// one is too long, since all are filled or none.
func (b *builder) fillable() int {
	sum, most := 0, 0
	for _, g := range b.s.Job("").Gaps {
		sum, most = sum+g.Count, max(most, g.Count)
	}
	if float64(most) > longestFill*b.s.Rate.FPS() {
		return 0
	}
	return min(sum, b.out.Delivered.Missing)
}

// clipLength writes a clip's length to the hundredth of a second: frames count
// there.
func clipLength(s float64) string {
	if s < 60 {
		return words.Number(s, 2) + " s"
	}
	return fmt.Sprintf("%d min %05.2f s", int(s)/60, math.Mod(s, 60))
}
