package report

import (
	"fmt"
	"math"

	"stillspan/assemble"
	"stillspan/ingest/timing"
)

// delivered judges sound frames against the plan.
func (b *builder) delivered() {
	s, d := b.out, &b.out.Delivered
	sound := s.Frames - len(s.Damaged)
	planned := 0
	if s.Plan != nil {
		planned = s.Plan.Frames
	}
	*d = Delivered{Frames: sound, Rate: b.rate.String(), ClipS: Float(float64(sound) / b.rate.FPS()), Verdict: VerdictUnplanned}
	switch {
	case planned == 0:
	case sound < planned:
		d.Verdict, d.ShortFrames = VerdictShort, planned-sound
		d.ShortBy = b.shortBy(d.ShortFrames)
	case sound > planned:
		d.Verdict = VerdictOver
	default:
		d.Verdict = VerdictDelivered
	}
	for _, r := range assemble.StandardRates() {
		row := RateRow{Rate: r.String(), PlannedS: unknown, ShotS: Float(float64(sound) / r.FPS()), Chosen: r == b.rate}
		if planned > 0 {
			row.PlannedS = Float(float64(planned) / r.FPS())
		}
		s.Rates = append(s.Rates, row)
	}
	s.Headline = headline(s)
	b.remedies()
}

// shortBy lays the shortfall to gaps and damage first; what they do not
// explain was not shot because the shoot ended early or began late.
func (b *builder) shortBy(short int) ShortBy {
	var out ShortBy
	take := func(n int) int {
		n = min(n, short)
		short -= n
		return n
	}
	out.Damaged = take(len(b.out.Damaged))
	for _, m := range b.out.Missing {
		switch timing.Cause(m.Cause) {
		case timing.NotFired, timing.Unknown:
			out.NotFired += take(m.Count)
		case timing.FileLost:
			out.Lost += take(m.Count)
		}
	}
	out.Ended = short
	return out
}

// headline is planned against shot in one plain line.
func headline(s *Sequence) string {
	d := &s.Delivered
	shot := fmt.Sprint(s.Frames)
	if d.Frames != s.Frames {
		shot = fmt.Sprintf("%d, %d of them sound,", s.Frames, d.Frames)
	}
	if d.Verdict == VerdictUnplanned {
		return fmt.Sprintf("No plan; shot %s / %s at %s", shot, clipSeconds(d.ClipS), rateWord(d.Rate))
	}
	verdict := string(d.Verdict)
	switch d.Verdict {
	case VerdictShort:
		verdict = fmt.Sprintf("short by %d", d.ShortFrames)
	case VerdictOver:
		verdict = fmt.Sprintf("over by %d", d.Frames-s.Plan.Frames)
	}
	return fmt.Sprintf("Planned %d frames / %s at %s; shot %s / %s: %s",
		s.Plan.Frames, clipSeconds(s.Plan.ClipS), rateWord(s.Plan.Rate), shot, clipSeconds(d.ClipS), verdict)
}

// longestFill is the most frames in a row that can be filled before a viewer
// sees it (common practice, no published source).
const longestFill = 3

// remedies lists what would close a shortfall and what it costs.
func (b *builder) remedies() {
	s, d := b.out, &b.out.Delivered
	if d.Verdict != VerdictShort || !s.Plan.ClipS.Known() || d.Frames == 0 {
		return
	}
	want := float64(s.Plan.ClipS)
	exact := float64(d.Frames) / want
	if slower, ok := slowerRate(exact); ok {
		s.Remedies = append(s.Remedies, Remedy{
			Do:    fmt.Sprintf("Play at %s", num(slower.FPS(), 3)),
			Gives: clipSeconds(Float(float64(d.Frames)/slower.FPS())) + " from the frames there are",
			Costs: fmt.Sprintf("Motion is %s slower than planned; at this rate it may look less smooth, and an edit at another rate must convert it.",
				percent(Float(1-slower.FPS()/b.rate.FPS()), 1)),
		})
	}
	s.Remedies = append(s.Remedies, Remedy{
		Do:    fmt.Sprintf("Play at %s and let the edit conform it", num(exact, 3)),
		Gives: clipSeconds(s.Plan.ClipS) + ", the planned length",
		Costs: fmt.Sprintf("Motion is %s slower; an odd rate has to be conformed, by repeating or mixing frames.", percent(Float(1-exact/b.rate.FPS()), 1)),
	})
	inside := d.ShortBy.NotFired + d.ShortBy.Lost + d.ShortBy.Damaged
	if inside > 0 {
		cost := fmt.Sprintf("%s in the clip %s no photograph: held frames stutter, blended ones are soft.", count(inside, "frame"), isAre(inside))
		if n := b.longestGap(); n > longestFill {
			cost += fmt.Sprintf(" The longest gap is %d in a row: more than %d show (common practice, no published source).", n, longestFill)
		}
		filled := d.Frames + inside
		s.Remedies = append(s.Remedies, Remedy{
			Do:    "Fill the gaps (--gaps hold or --gaps blend)",
			Gives: fmt.Sprintf("%d frames / %s at %s", filled, clipSeconds(Float(float64(filled)/b.rate.FPS())), rateWord(d.Rate)),
			Costs: cost,
		})
	}
	if d.ShortBy.Lost+d.ShortBy.Damaged > 0 {
		s.Remedies = append(s.Remedies, Remedy{
			Do:    "Look for the lost and damaged files on the card",
			Gives: fmt.Sprintf("up to %s back", count(d.ShortBy.Lost+d.ShortBy.Damaged, "frame")),
			Costs: "Time only; keep the card from being written to until then.",
		})
	}
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// slowerRate is the fastest standard rate, no faster than exact, that a clip
// can be slowed to.
func slowerRate(exact float64) (assemble.Rate, bool) {
	var best assemble.Rate
	for _, r := range assemble.StandardRates() {
		if r.FPS() <= exact+1e-9 && r.FPS() > best.FPS() {
			best = r
		}
	}
	return best, best.Num > 0
}

func (b *builder) longestGap() int {
	n := 0
	for _, m := range b.out.Missing {
		if m.Cause != string(timing.NumberSkip) {
			n = int(math.Max(float64(n), float64(m.Count)))
		}
	}
	return n
}
