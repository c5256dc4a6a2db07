package report

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"stillspan/assemble"
	"stillspan/assemble/shoot"
	"stillspan/deflicker"
	"stillspan/ingest"
	"stillspan/ingest/account"
	"stillspan/ingest/meta"
	"stillspan/ingest/plan"
	"stillspan/internal/playback"
	"stillspan/internal/settings"
)

// faulty is a dump with most of what can go wrong, and a hostile file name.
func faulty(n int) Input {
	rng := rand.New(rand.NewPCG(1, 1))
	start := time.Date(2026, 5, 1, 5, 12, 4, 0, time.UTC)
	seq := ingest.Sequence{ID: "2026-05-01-0512", Notes: []string{"exposure mode is not manual"}}
	seq.Timing = account.Shoot{Judged: true, IntervalS: 5.021, UncertaintyS: 0.0004, JitterRMSS: 0.03, TickS: 1}
	w := &shoot.Measured{Source: "reduced"}
	solved := &shoot.Solved{Corrects: true}
	solved.Result = deflicker.Result{Confidence: "fair", Why: "clouds cross most of the picture", FlickerBefore: 0.061, FlickerAfter: 0.0028}
	slot := 0
	for k := range n {
		switch k {
		case 40:
			seq.Timing.Gaps = append(seq.Timing.Gaps, account.Gap{After: 39, Count: 2, GapS: 15.06, Cause: account.NotFired})
			slot += 2
		case 60:
			seq.Timing.Gaps = append(seq.Timing.Gaps, account.Gap{After: 59, Count: 2, GapS: 15.06, Cause: account.FileLost})
			slot += 2
		}
		at := float64(slot) * 5.021
		if k == 90 {
			at += 2
			seq.Timing.Irregular = append(seq.Timing.Irregular, account.Irregular{Index: k, Kind: account.Late, OffsetS: 2})
		}
		f := ingest.Frame{
			Name: fmt.Sprintf("DCIM/100STILL/RAIL%04d.JPG", k+1), Number: k + 1,
			Facts: meta.Facts{
				Format: "jpeg", Width: 6000, Height: 4000, Orientation: 1, Taken: start.Add(time.Duration(at) * time.Second),
				Make: "Test", Model: "One", Serial: "7", ExposureS: 1.0 / 60, FNumber: 8, ISO: 100, FocalMM: 24, FocusM: math.Inf(1),
				WhiteBalance: "manual", ExposureMode: "auto",
			},
		}
		if k >= 70 {
			f.Facts.ISO = 200
		}
		if k == 5 {
			f.Name = `DCIM/100STILL/<script>alert("x")&'.JPG`
		}
		if k == 33 {
			f.Problem = &ingest.Problem{Kind: "truncated", Text: "the file ends early", Try: "copy it from the card again"}
		}
		seq.Frames = append(seq.Frames, f)
		seq.Timing.Slot = append(seq.Timing.Slot, slot)
		lum := -5 + 3*float64(k)/float64(n)
		jit := 0.06 * rng.NormFloat64()
		w.Curve.LumEV = append(w.Curve.LumEV, lum+jit)
		solved.CorrectionEV = append(solved.CorrectionEV, -jit)
		w.HighShare, w.LowShare = append(w.HighShare, 0.001), append(w.LowShare, 0.02)
		slot++
	}
	w.Curve.LumEV[33], solved.CorrectionEV[33], w.HighShare[33] = math.NaN(), 0, math.NaN()
	seq.Settings = []ingest.SettingChange{{Frame: 70, Field: "iso", From: "ISO 100", To: "ISO 200"}}
	seq.Exposure = []ingest.ExposureMove{{First: 70, Last: 70, Steps: 1, NetEV: 1, Settings: seq.Settings}}
	solved.Steps = []deflicker.Step{{Frame: 70, EV: 0.98, LabelEV: 1}}
	solved.Events = []deflicker.Event{{First: 80, Last: 82, EV: 0.4}}
	clip := assemble.Clip{
		File: "clips/dawn.mp4", Bytes: 12_345_678, Frames: n - 1, DurationS: float64(n-1) / 24, Rate: playback.Rate{Num: 24, Den: 1},
		Codec: "h264", Profile: "High", Width: 3840, Height: 2160, PixFmt: "yuv420p",
		ColorRange: "tv", ColorSpace: "bt709", ColorPrimaries: "bt709", ColorTransfer: "bt709", Verified: true,
	}
	var pictures shoot.Pictures
	for k := range 12 {
		img := image.NewRGBA(image.Rect(0, 0, 60, 40))
		for i := range img.Pix {
			img.Pix[i] = uint8(60 + 10*k + i%40)
		}
		for x := range 60 {
			img.Set(x, 20, color.RGBA{200, 120, 40, 255})
		}
		pictures.Strip = append(pictures.Strip, img)
	}
	pictures.Zone = pictures.Strip[6]
	bare := ingest.Sequence{ID: "FRAM0001", Timing: account.Shoot{Why: "the stills carry no time"}}
	for k := range 12 {
		bare.Frames = append(bare.Frames, ingest.Frame{Name: fmt.Sprintf("FRAM%04d.JPG", k+1), Number: k + 1, Facts: meta.Facts{Format: "jpeg", Width: 96, Height: 64}})
	}
	rate := playback.Rate{Num: 24, Den: 1}
	found := &shoot.Found{
		Dump: &ingest.Dump{
			Root: "card", Sequences: []ingest.Sequence{seq, bare},
			Loose:      []ingest.Frame{{Name: "TEST0001.JPG"}},
			Ignored:    []ingest.Ignored{{Kind: "video", Count: 2}},
			Unreadable: []ingest.Frame{{Name: "X.JPG", Problem: &ingest.Problem{Kind: "unreadable", Text: "permission denied", Try: "change its permissions"}}},
		},
		NotFound: []*shoot.Shoot{{Planned: &plan.Shoot{Name: "never shot", Frames: 10, IntervalS: 1}, Rate: rate}},
	}
	found.Shoots = []*shoot.Shoot{
		{
			Sequence: &found.Dump.Sequences[0], Rate: rate,
			Planned:   &plan.Shoot{Name: "harbour dawn", Frames: n + 4, IntervalS: 5, Rate: rate},
			MatchedBy: plan.ByFit, Measured: w, Solved: solved, Rendered: &shoot.Rendered{Clip: clip}, Pictures: pictures,
			Settings: settings.Values{"zone": settings.Rect{X: 0.1, Y: 0.4, W: 0.8, H: 0.5}},
		},
		{Sequence: &found.Dump.Sequences[1], Rate: rate},
	}
	in := Input{Found: found, Made: time.Date(2026, 5, 1, 22, 0, 0, 0, time.UTC)}
	return in
}

func TestHeadline(t *testing.T) {
	in := faulty(297)
	in.Shoots[0].Planned.Frames = 300
	// 300 frames last 12.5 s at 24 fps: common practice, no published source.
	want := "Planned 300 frames / 12.5 s at 24 fps; shot 296 / 12.33 s: short by 4"
	if got := Build(in).Sequences[0].Headline; got != want {
		t.Errorf("headline %q, want %q", got, want)
	}
}

// sound is a shoot of n frames, 5 s apart, in which nothing is wrong.
func sound(n int) Input {
	in := faulty(120)
	seq := &in.Dump.Sequences[0]
	frame := seq.Frames[0]
	seq.Frames = nil
	for k := range n {
		f := frame
		f.Name, f.Number = fmt.Sprintf("RAIL%04d.JPG", k+1), k+1
		f.Facts.Taken = f.Facts.Taken.Add(time.Duration(5*k) * time.Second)
		f.Facts.ExposureMode = "manual"
		seq.Frames = append(seq.Frames, f)
	}
	seq.Timing = account.Shoot{Judged: true, IntervalS: 5.0004, UncertaintyS: 0.0004, TickS: 1}
	seq.Settings, seq.Exposure, seq.Notes = nil, nil, nil
	in.Dump.Unreadable, in.NotFound = nil, nil
	in.Shoots = in.Shoots[:1]
	in.Shoots[0].Measured, in.Shoots[0].Solved, in.Shoots[0].Rendered = nil, nil, nil
	in.Shoots[0].Planned.Frames = n
	return in
}

// Every count adds up, whatever is missing and whatever was made up, and the
// verdict's word, the headline and the exit code say the same.
func TestCountsAndVerdict(t *testing.T) {
	gap := func(n int, c account.Cause) account.Gap { return account.Gap{After: 9, Count: n, GapS: 20, Cause: c} }
	for _, c := range []struct {
		name     string
		edit     func(in *Input, seq *ingest.Sequence, s *shoot.Shoot)
		word     Word
		verdict  Verdict
		short    int
		by       ShortBy
		headline string // its end
		first    Kind   // of the findings, behind "short"
		card     bool
	}{
		{"sound", func(*Input, *ingest.Sequence, *shoot.Shoot) {}, WordDelivered, VerdictDelivered, 0, ShortBy{}, "delivered as planned", "", false},
		{"a remark", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Notes = []string{"white balance is automatic"}
		},
			WordNotes, VerdictDelivered, 0, ShortBy{}, "delivered as planned", "", false},
		{"the flag of the zenith", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Turned = &ingest.Turned{Held: 1, Count: 3, First: 4}
		},
			WordNotes, VerdictDelivered, 0, ShortBy{}, "delivered as planned", "", false},
		{"a shutter that wanders unseen", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Exposure = []ingest.ExposureMove{{First: 4, Last: 50, Steps: 9, RangeEV: 0.06, NetEV: 0.01, Settings: []ingest.SettingChange{{Field: "shutter", From: "1/1417 s", To: "1/1472 s"}}}}
		}, WordNotes, VerdictDelivered, 0, ShortBy{}, "delivered as planned", "", false},
		{"more than planned", func(_ *Input, _ *ingest.Sequence, s *shoot.Shoot) { s.Planned.Frames = 90 },
			WordNotes, VerdictOver, 0, ShortBy{}, "10 more than planned", "", false},
		{"stopped early, the most", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			s.Planned.Frames = 184
			seq.Timing.Gaps = []account.Gap{gap(3, account.NotFired), gap(2, account.FileLost)}
		}, WordShort, VerdictShort, 84, ShortBy{NotFired: 3, Lost: 2, Ended: 79}, "short by 84", KindEnded, true},
		{"lost, the most", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			s.Planned.Frames = 108
			seq.Timing.Gaps = []account.Gap{gap(1, account.NotFired), gap(5, account.FileLost)}
		}, WordShort, VerdictShort, 8, ShortBy{NotFired: 1, Lost: 5, Ended: 2}, "short by 8", KindLost, true},
		{"missing inside, shot beyond the end", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			s.Planned.Frames = 102
			seq.Timing.Gaps = []account.Gap{gap(5, account.NotFired)}
		}, WordShort, VerdictShort, 2, ShortBy{NotFired: 5, Beyond: -3}, "short by 2", KindNotFired, false},
		{"lost inside, and as many frames as planned", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.Gaps = []account.Gap{gap(2, account.FileLost)}
		}, WordOther, VerdictOther, 0, ShortBy{Lost: 2, Beyond: -2}, "all there, but not as planned", KindLost, true},
		{"lost inside, and more than planned", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			s.Planned.Frames = 95
			seq.Timing.Gaps = []account.Gap{gap(2, account.FileLost)}
		}, WordOther, VerdictOver, 0, ShortBy{Lost: 2, Beyond: -2}, "5 more than planned, but not as planned", KindLost, true},
		{"one number missing where no time is", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.Gaps = []account.Gap{gap(1, account.NumberSkip)}
		}, WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindNumberSkip, true},
		{"another interval", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) { seq.Timing.IntervalS = 7.5 },
			WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindInterval, false},
		{"drift", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) { seq.Timing.IntervalS = 5.02 },
			WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindDrift, false},
		{"fired by hand", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing = account.Shoot{Judged: true, FreeRunning: true, IntervalS: 5.3, UncertaintyS: 0.2, JitterRMSS: 2}
		}, WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindUneven, false},
		{"a ramp", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.Changes = []account.Change{{Index: 50, FromS: 5, ToS: 8}}
		}, WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindChanged, false},
		{"a ramped interval", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.Ramps = []account.Ramp{{First: 0, Last: 99, FromS: 2, ToS: 20}}
		}, WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindRamped, false},
		{"a pause", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.Pauses = []account.Delay{{Index: 40, ByS: 400}}
		}, WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindPause, false},
		{"clock set, wrong stamps, rests", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.ClockSets, seq.Timing.WrongStamps, seq.Timing.Rests = []account.ClockSet{{Index: 40, ByS: -3600}}, []int{7}, []int{50, 70}
		}, WordNotes, VerdictDelivered, 0, ShortBy{}, "delivered as planned", "", false},
		{"a spare exposure of a bracket lost", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.Gaps = []account.Gap{{After: 9, Count: 1, GapS: 5, Cause: account.FileLost, Spare: true}}
		}, WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindSpare, true},
		{"either lost or used elsewhere", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.Gaps = []account.Gap{gap(2, account.NumberSkip)}
			seq.Timing.Others = []account.Other{{First: 9, Last: 12, Missing: map[account.Cause]int{account.NumberSkip: -2, account.FileLost: 2}}}
		}, WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindNumberSkip, true},
		{"either all there or one lost at the seam", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.Others = []account.Other{{First: 9, Last: 12, Missing: map[account.Cause]int{account.FileLost: 1}}}
		}, WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindEither, true},
		{"one shoot or two, nothing missing", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing.Others = []account.Other{{First: 40, Last: 40, Shoots: 1}}
		}, WordNotes, VerdictDelivered, 0, ShortBy{}, "delivered as planned", "", false},
		{"no cadence where one was planned", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing = account.Shoot{Why: "no steady interval explains the times"}
			for k := range seq.Frames {
				seq.Frames[k].Facts.Taken = seq.Frames[k].Facts.Taken.Add(time.Duration(k%3) * time.Second)
			}
		}, WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindUneven, false},
		{"no times where an interval was planned", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Timing = account.Shoot{Why: "no frame carries a time"}
			for k := range seq.Frames {
				seq.Frames[k].Facts.Taken = time.Time{}
			}
		}, WordNotJudged, VerdictNotJudged, 0, ShortBy{}, "all there, but timing could not be judged", KindNotJudged, false},
		{"no times, and short", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			seq.Timing = account.Shoot{Why: "no frame carries a time"}
			s.Planned.Frames, s.Planned.IntervalS = 120, 0
		}, WordShort, VerdictShort, 20, ShortBy{Ended: 20}, "short by 20", KindEnded, true},
		{"planned by count alone, no times", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			seq.Timing = account.Shoot{Why: "no frame carries a time"}
			s.Planned.IntervalS = 0
		}, WordNotes, VerdictDelivered, 0, ShortBy{}, "delivered as planned", "", false},
		{"planned by interval alone", func(_ *Input, _ *ingest.Sequence, s *shoot.Shoot) { s.Planned.Frames = 0 },
			WordDelivered, VerdictDelivered, 0, ShortBy{}, "delivered as planned", "", false},
		{"a damaged file", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Frames[7].Problem = &ingest.Problem{Kind: "empty", Text: "the file is empty"}
		}, WordShort, VerdictShort, 1, ShortBy{Damaged: 1}, "short by 1", KindDamaged, true},
		{"a raw file among JPEGs", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) {
			seq.Apart, seq.Halves = []int{7}, []int{7}
			seq.Frames[7].Facts.Raw = true
		}, WordShort, VerdictShort, 1, ShortBy{LeftOut: 1}, "short by 1", KindLeftOut, true},
		{"half a pair", func(_ *Input, seq *ingest.Sequence, _ *shoot.Shoot) { seq.Halves = []int{7} },
			WordOther, VerdictOther, 0, ShortBy{}, "all there, but not as planned", KindHalf, true},
		{"gaps filled", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			s.Planned.Frames = 106
			seq.Timing.Gaps = []account.Gap{gap(5, account.NotFired)}
			s.Rendered = &shoot.Rendered{Clip: assemble.Clip{Frames: 105, Filled: 5, Verified: true}}
		}, WordShort, VerdictShort, 6, ShortBy{NotFired: 5, Ended: 1}, "short by 6", KindNotFired, true},
		{"no plan", func(_ *Input, _ *ingest.Sequence, s *shoot.Shoot) { s.Planned = nil },
			WordComplete, VerdictUnplanned, 0, ShortBy{}, "at 24 fps: no plan to compare with", "", false},
		{"no plan, no times, but numbers that run on", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			s.Planned = nil
			seq.Timing = account.Shoot{Why: "no frame carries a time"}
		}, WordCompleteNotes, VerdictUnplanned, 0, ShortBy{}, "at 24 fps: no plan to compare with", "", false},
		{"no plan, no times, no numbers", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			s.Planned = nil
			seq.Timing = account.Shoot{Why: "no frame carries a time"}
			seq.Frames[3].Number = -1
		}, WordNotJudged, VerdictUnplanned, 0, ShortBy{}, "at 24 fps: no plan to compare with", KindNotJudged, false},
		{"no plan, missing inside", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			s.Planned = nil
			seq.Timing.Gaps = []account.Gap{gap(5, account.Unknown)}
		}, WordShort, VerdictUnplanned, 5, ShortBy{Unknown: 5}, "at 24 fps, short by 5: no plan to compare with", KindMissing, true},
		{"no plan, a frame late", func(_ *Input, seq *ingest.Sequence, s *shoot.Shoot) {
			s.Planned = nil
			seq.Timing.Irregular = []account.Irregular{{Index: 5, Kind: account.Late, OffsetS: 2}}
		}, WordFindings, VerdictUnplanned, 0, ShortBy{}, "at 24 fps: no plan to compare with", KindLate, false},
	} {
		in := sound(100)
		c.edit(&in, &in.Dump.Sequences[0], in.Shoots[0])
		r := Build(in)
		s := &r.Sequences[0]
		d := &s.Delivered
		if d.Word != c.word || d.Verdict != c.verdict || !strings.HasSuffix(s.Headline, c.headline) {
			t.Errorf("%s: %q, %q, %q; want %q, %q, ... %q", c.name, d.Word, d.Verdict, s.Headline, c.word, c.verdict, c.headline)
		}
		ok := map[Word]bool{WordDelivered: true, WordNotes: true, WordComplete: true, WordCompleteNotes: true}[d.Word]
		if r.HasFindings() == ok {
			t.Errorf("%s: %q with findings %+v", c.name, d.Word, s.Findings)
		}
		first := Kind("")
		for _, f := range s.Findings {
			if f.Kind != KindShort {
				first = f.Kind
				break
			}
		}
		if first != c.first || unaccounted(r) != c.card {
			t.Errorf("%s: found %+v, card %t; want %q first, card %t", c.name, s.Findings, unaccounted(r), c.first, c.card)
		}
		if d.ShortFrames != c.short || d.ShortBy != c.by {
			t.Errorf("%s: short by %d, %+v; want %d, %+v", c.name, d.ShortFrames, d.ShortBy, c.short, c.by)
		}
		addsUp(t, c.name, d)
		var b bytes.Buffer
		if err := WriteText(&b, r, TextOptions{}); err != nil || strings.Contains(b.String(), "%!") {
			t.Errorf("%s: %v\n%s", c.name, err, b.String())
		}
		if strings.Contains(b.String(), CautionWipe[:20]) != c.card {
			t.Errorf("%s: the caution must stand where files may lie on a card, and only there:\n%s", c.name, b.String())
		}
	}
}

// The counts add up for any dump, clip and plan, and the words never call a shoot
// delivered of which something was found.
func TestCountsAddUpAtRandom(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	causes := []account.Cause{account.NotFired, account.FileLost, account.Unknown, account.NumberSkip}
	for n := range 500 {
		in := sound(20 + rng.IntN(60))
		seq, s := &in.Dump.Sequences[0], in.Shoots[0]
		inside, bad := 0, map[int]bool{}
		for range rng.IntN(4) {
			g := account.Gap{After: rng.IntN(19), Count: 1 + rng.IntN(9), GapS: 20, Cause: causes[rng.IntN(4)]}
			seq.Timing.Gaps = append(seq.Timing.Gaps, g)
			if g.Cause != account.NumberSkip {
				inside += g.Count
			}
		}
		for range rng.IntN(3) {
			k := rng.IntN(len(seq.Frames))
			seq.Frames[k].Problem, bad[k] = &ingest.Problem{Kind: "empty", Text: "the file is empty"}, true
		}
		for k := range seq.Frames {
			if !bad[k] && rng.IntN(40) == 0 {
				seq.Apart, bad[k] = append(seq.Apart, k), true
			}
		}
		if rng.IntN(2) == 0 {
			clip := assemble.Clip{Frames: len(seq.Frames) - len(bad), Verified: true}
			if rng.IntN(2) == 0 {
				clip.Filled = inside + len(bad)
				clip.Frames += clip.Filled
			}
			s.Rendered = &shoot.Rendered{Clip: clip}
		}
		s.Planned.Frames = max(0, len(seq.Frames)+rng.IntN(41)-20)
		if rng.IntN(5) == 0 {
			s.Planned = nil
		}
		r := Build(in)
		d := &r.Sequences[0].Delivered
		addsUp(t, fmt.Sprint("draw ", n), d)
		ok := d.Word == WordDelivered || d.Word == WordNotes || d.Word == WordComplete || d.Word == WordCompleteNotes
		if ok == r.HasFindings() || d.Verdict == VerdictDelivered && !ok {
			t.Errorf("draw %d: %q, %q with %+v", n, d.Word, d.Verdict, r.Sequences[0].Findings)
		}
	}
}

// addsUp holds the counts to what Delivered promises.
func addsUp(t *testing.T, name string, d *Delivered) {
	t.Helper()
	by := d.ShortBy
	if sum := by.NotFired + by.Lost + by.Unknown + by.Damaged + by.LeftOut + by.Ended + by.Beyond; sum != d.ShortFrames {
		t.Errorf("%s: the causes sum to %d, short by %d", name, sum, d.ShortFrames)
	}
	if d.Planned > 0 && d.Planned+d.Over != d.InClip+d.MadeUp+d.Missing {
		t.Errorf("%s: %d planned + %d over = %d in the clip + %d made up + %d missing?", name, d.Planned, d.Over, d.InClip, d.MadeUp, d.Missing)
	}
	if d.OnDisk != d.Usable+by.Damaged || d.Usable != d.InClip+by.LeftOut || d.Fired != d.OnDisk+by.Lost || d.Frames != d.Usable {
		t.Errorf("%s: %+v does not add up", name, *d)
	}
}

// The shortfall is told with every cause, the largest first, and only what is
// sensible is offered.
func TestShortfallAndRemedies(t *testing.T) {
	in := sound(100)
	in.Shoots[0].Planned.Frames = 184
	seq := &in.Dump.Sequences[0]
	seq.Timing.Gaps = []account.Gap{{After: 9, Count: 3, GapS: 20, Cause: account.NotFired}, {After: 20, Count: 2, GapS: 15, Cause: account.FileLost}}
	s := Build(in).Sequences[0]
	if got, want := s.Findings[0].Text, "Short by 84 frames: 79 not shot at the end, 3 never fired, 2 lost after being shot"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := s.Findings[1].Text, "79 frames not shot at the end"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := countsText(&s.Delivered), "102 fired, 100 on disk; 184 planned = 100 in the clip as shot + 84 missing"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	for _, c := range []struct {
		planned, gap int
		want         []string
	}{
		// 100 of 184 frames: no rate and no edit makes a clip of that.
		{184, 2, []string{"find the lost", "shoot on", "fill the gaps"}},
		{102, 2, []string{"find the lost", "fill the gaps", "slow the clip to 98.0 %"}},
		// 24 to 23.976 wants 999 of 1000; 30 is no lower rate.
		{125, 2, []string{"find the lost", "shoot on", "fill the gaps"}},
		{140, 40, []string{"find the lost"}}, // a gap of 40 frames is no second that could be blended
		{100, 0, nil},
	} {
		in := sound(100)
		in.Shoots[0].Planned.Frames = c.planned
		if c.gap > 0 {
			in.Dump.Sequences[0].Timing.Gaps = []account.Gap{{After: 9, Count: c.gap, GapS: 20, Cause: account.FileLost}}
		}
		var got []string
		for _, r := range Build(in).Sequences[0].Remedies {
			got = append(got, r.Do)
		}
		ok := len(got) == len(c.want)
		for i := range got {
			ok = ok && strings.HasPrefix(got[i], c.want[i])
		}
		if !ok {
			t.Errorf("100 of %d: %q, want %q", c.planned, got, c.want)
		}
	}
}

func TestAlternatives(t *testing.T) {
	for _, c := range []struct {
		gaps  []account.Gap
		other account.Other
		want  string
	}{
		{[]account.Gap{{After: 9, Count: 2, Cause: account.NumberSkip}}, account.Other{First: 9, Last: 12, Missing: map[account.Cause]int{account.NumberSkip: -2, account.FileLost: 2}},
			"either 2 missing by number alone, or 2 lost after being shot, from RAIL0010.JPG to RAIL0013.JPG"},
		{[]account.Gap{{After: 30, Count: 2, Cause: account.FileLost}}, account.Other{First: 9, Last: 12, Missing: map[account.Cause]int{account.NotFired: 3}},
			"either nothing is missing, or 3 never fired, from RAIL0010.JPG to RAIL0013.JPG"},
		{nil, account.Other{First: 9, Last: 99, Shoots: 1}, "either this is one shoot, or a new one begins there, from RAIL0010.JPG to RAIL0100.JPG"},
		{[]account.Gap{{After: 9, Count: 5, Cause: account.NotFired}}, account.Other{First: 9, Last: 500, Shoots: 1, Missing: map[account.Cause]int{account.NotFired: -5}},
			"either 5 never fired, or nothing is missing and a new shoot begins there, from RAIL0010.JPG to RAIL0100.JPG"},
	} {
		in := sound(100)
		in.Dump.Sequences[0].Timing.Gaps, in.Dump.Sequences[0].Timing.Others = c.gaps, []account.Other{c.other}
		if got := Build(in).Sequences[0].Alternatives; len(got) != 1 || got[0].Text != c.want {
			t.Errorf("%+v, want %q", got, c.want)
		}
	}
}

func TestExposureText(t *testing.T) {
	b := &builder{seq: &ingest.Sequence{Frames: []ingest.Frame{{Name: "d/A.JPG"}, {Name: "d/B.JPG"}}}}
	iso := ingest.SettingChange{Field: "iso", From: "ISO 100", To: "ISO 200"}
	shutter := ingest.SettingChange{Field: "shutter", From: "1/60 s", To: "1/125 s"}
	for _, c := range []struct {
		move ingest.ExposureMove
		want string
	}{
		{ingest.ExposureMove{Steps: 1, NetEV: 1, Settings: []ingest.SettingChange{iso}, Mode: "manual"}, "ISO moved from 100 to 200 at A.JPG: net +1.0 EV"},
		{ingest.ExposureMove{Steps: 1, NetEV: -0.06, Settings: []ingest.SettingChange{shutter, iso}},
			"shutter moved from 1/60 s to 1/125 s and ISO from 100 to 200 at A.JPG: net 0 EV"},
		{ingest.ExposureMove{Last: 1, Steps: 16, NetEV: 5.33, RangeEV: 5.33, Ramp: true, Lasts: 95 * time.Minute, Settings: []ingest.SettingChange{shutter}, Mode: "manual"},
			"exposure ramp, net +5.3 EV over 1 h 35 min in 16 steps, A.JPG to B.JPG: shutter from 1/60 s to 1/125 s"},
		{ingest.ExposureMove{Last: 1, Steps: 19, NetEV: 0.1, RangeEV: 1.33, Lasts: 3 * time.Minute, Settings: []ingest.SettingChange{{Field: "shutter", From: "1/60 s", To: "1/60 s"}}, Mode: "aperture priority"},
			"exposure moved 19 times within 1.3 EV over 3 min, net 0 EV, A.JPG to B.JPG: shutter from 1/60 s to 1/60 s again; the camera set it by itself (aperture priority)"},
	} {
		if got := b.exposureText(&c.move); got != c.want {
			t.Errorf("got  %q\nwant %q", got, c.want)
		}
	}
}

func TestSpan(t *testing.T) {
	at := func(d, h, m int) Stamp { return Stamp{Time: time.Date(2026, 5, d, h, m, 0, 0, time.UTC)} }
	for want, s := range map[string]Sequence{
		"2026-05-01 05:00:00 to 06:30:00":                          {Start: at(1, 5, 0), End: at(1, 6, 30)},
		"2026-05-01 23:50:00 to 2026-05-02 00:10:00":               {Start: at(1, 23, 50), End: at(2, 0, 10)},
		"2026-05-01 06:00:00 to 2026-05-31 20:00:00, 30 days 14 h": {Start: at(1, 6, 0), End: at(31, 20, 0)},
	} {
		if got := span(&s); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// A dump in which nothing is a sequence, and one that looks like a planned
// shoot and is none, are never passed in silence.
func TestDumpFindings(t *testing.T) {
	in := sound(10)
	in.Shoots = nil
	if r := Build(in); len(r.Findings) != 1 || r.Findings[0].Kind != KindNone {
		t.Errorf("one still: %+v", r.Findings)
	}
	in = sound(10)
	missed := &shoot.Shoot{Planned: &plan.Shoot{Name: "dusk", Frames: 300, IntervalS: 5}, Rate: in.Shoots[0].Rate}
	in.NotFound, in.Shoots[0].Planned = []*shoot.Shoot{missed}, nil
	in.Plan = &plan.File{Shoots: []plan.Shoot{*missed.Planned}}
	in.Match = plan.Matching{Shoot: []int{-1}, How: []plan.How{""}, Reason: []string{""}, NotFound: []int{0},
		Refused: []plan.Refusal{{Looks: "it lies in the planned folder", Why: "it has 10 frames, planned 300"}}}
	r := Build(in)
	if want := `Planned shoot "dusk" was not found in this dump; sequence 2026-05-01-0512 is not it: it lies in the planned folder, but it has 10 frames, planned 300`; r.Findings[0].Text != want {
		t.Errorf("%q, want %q", r.Findings[0].Text, want)
	}
	if want := `Not the planned shoot "dusk": it lies in the planned folder, but it has 10 frames, planned 300`; len(r.Sequences[0].Findings) != 1 || r.Sequences[0].Findings[0].Text != want {
		t.Errorf("%+v, want %q", r.Sequences[0].Findings, want)
	}
	if !unaccounted(r) {
		t.Error("a planned shoot is not there: no card must be wiped")
	}
}

func TestFindings(t *testing.T) {
	r := Build(faulty(120))
	if !r.HasFindings() {
		t.Fatal("no findings")
	}
	got := map[Kind]bool{}
	for _, f := range r.Sequences[0].Findings {
		got[f.Kind] = true
	}
	for _, k := range []Kind{KindShort, KindLost, KindNotFired, KindLate, KindDamaged, KindDrift, KindSetting} {
		if !got[k] {
			t.Errorf("no finding %q in %v", k, r.Sequences[0].Findings)
		}
	}
	if got[KindEarly] || got[KindDouble] || got[KindNumberSkip] {
		t.Errorf("false findings: %v", got)
	}
	in := faulty(120)
	in.Dump.Sequences[0].Timing.Gaps = []account.Gap{{After: 20, Count: 3, GapS: 20, Cause: account.Unknown}}
	in.Dump.Unreadable, in.NotFound = nil, nil
	in.Dump.Sequences[0].Frames[33].Problem = nil
	r2 := Build(in)
	if by := r2.Sequences[0].Delivered.ShortBy; by.Unknown != 3 || by.Ended != 1 {
		t.Errorf("short by %+v, want 3 of unknown cause and 1 at the end", by)
	}
	if !unaccounted(r2) {
		t.Error("frames missing for no known cause may be on the card: it must not be wiped")
	}
	if len(r.NotFound) != 1 || r.NotFound[0].Name != "never shot" {
		t.Errorf("not found: %v", r.NotFound)
	}
}

func TestCSV(t *testing.T) {
	var b bytes.Buffer
	if err := WriteCSV(&b, Build(faulty(120))); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 1+120+12 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if strings.Contains(strings.Join(rows[34], ","), "NaN") || rows[34][len(rows[34])-1] != "truncated" {
		t.Errorf("row of the damaged frame: %v", rows[34])
	}
}

// The page is well-formed, carries no script but its own and asks for nothing
// from outside, and a hostile file name stays text.
func TestHTML(t *testing.T) {
	var b bytes.Buffer
	if err := WriteHTML(&b, Build(faulty(120)), Page{}); err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("STILLSPAN_PAGES"); dir != "" { // to look at
		os.WriteFile(dir+"/page.html", b.Bytes(), 0o644)
	}
	page := b.String()
	if strings.Count(page, "<script>") != 1 {
		t.Error("the page holds another script than its own")
	}
	page = strings.Replace(page, "<script>"+script+"</script>", "", 1)
	wellFormed(t, page)
	for _, bad := range []string{"<script>", "alert(\"x", "http://", "https://", "src=\"/", "NaN", "ZgotmplZ", "%!"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page has %q in it", bad)
		}
	}
	for _, want := range []string{
		"Do not wipe the card", "Planned 124 frames", "prefers-color-scheme:dark", "role=\"img\"", "scope=\"col\"",
		"photosensitive", "lost after being shot", "data:image/jpeg;base64,", "never shot",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func TestCameraName(t *testing.T) {
	for want, c := range map[string]Camera{
		"Acme Zoom 3":       {Make: "Acme", Model: "Acme Zoom 3"},
		"ACME Z1":           {Make: "Acme Corporation", Model: "ACME Z1"},
		"Acme Z1, no. 7":    {Make: "Acme", Model: "Z1", Serial: "7"},
		"camera not stated": {},
	} {
		if got := camera(c); got != want {
			t.Errorf("%+v is written %q, want %q", c, got, want)
		}
	}
}

// A clock is set beside the universal time of its GPS receiver where there is
// one; a fix that got old makes the clock look further ahead, never less.
func TestClockAgainstGPS(t *testing.T) {
	in := faulty(120)
	frames := in.Shoots[0].Sequence.Frames
	clock := func(f *ingest.Frame) time.Time { return wall(Stamp{Time: f.Facts.Taken}) }
	for k, old := range map[int]time.Duration{5: 40 * time.Second, 6: 0, 60: 9 * time.Minute} {
		frames[k].Facts.GPS = clock(&frames[k]).Add(-2*time.Hour - 43*time.Second - old)
	}
	frames[70].Facts.GPS = clock(&frames[70]).AddDate(-1, 0, 0)
	s := Build(in).Sequences[0]
	if s.ClockAheadOfUTCS != 7243 {
		t.Errorf("the clock is %v s ahead, want 7243", s.ClockAheadOfUTCS)
	}
	if got := clockText([]*Sequence{&s}); got != "clock at UTC+02:00:43 by GPS" {
		t.Error(got)
	}
}

func TestDayHTML(t *testing.T) {
	r := Build(faulty(120))
	var b bytes.Buffer
	err := WriteDayHTML(&b, Day{Report: r, Pages: map[string]string{r.Sequences[0].ID: "2026-05-01-0512.html"}, Clips: map[string]string{}})
	if err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("STILLSPAN_PAGES"); dir != "" {
		os.WriteFile(dir+"/day.html", b.Bytes(), 0o644)
	}
	wellFormed(t, b.String())
	if !strings.Contains(b.String(), `href="2026-05-01-0512.html"`) || !strings.Contains(b.String(), "Short by") {
		t.Error("the day's page lacks its link or verdict")
	}
}

// The day's page of twelve shoots can be mailed: at most 1 MB beside its clips.
func TestDayPageIsSmall(t *testing.T) {
	r := Build(faulty(120))
	one := r.Sequences[0]
	one.pictures.strip = nil
	noise := image.NewRGBA(image.Rect(0, 0, 240, 160))
	rng := rand.New(rand.NewPCG(3, 4))
	for i := range noise.Pix {
		noise.Pix[i] = uint8(rng.IntN(256)) // what makes a JPEG heaviest
	}
	for range 12 {
		one.pictures.strip = append(one.pictures.strip, noise)
	}
	r.Sequences = slices.Repeat([]Sequence{one}, 12)
	var b bytes.Buffer
	if err := WriteDayHTML(&b, Day{Report: r, Pages: map[string]string{}, Clips: map[string]string{}}); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d kB", b.Len()/1000)
	if b.Len() > 1_000_000 {
		t.Errorf("the day's page of 12 shoots has %d bytes", b.Len())
	}
}

// A small copy of a clip lies in the page up to a weight, and beside it beyond.
func TestProofLiesInThePageOrBeside(t *testing.T) {
	for size, beside := range map[int]bool{1000: false, ProofInPage + 1: true} {
		r := Build(faulty(120))
		path := t.TempDir() + "/proof"
		if err := os.WriteFile(path, make([]byte, size), 0o644); err != nil {
			t.Fatal(err)
		}
		r.Sequences[0].pictures.proof = &shoot.Proof{Path: path, W: 480, H: 270, Frames: make([]assemble.Shown, 119)}
		var b bytes.Buffer
		p := Page{Name: "report.html"}
		if err := WriteHTML(&b, r, p); err != nil {
			t.Fatal(err)
		}
		const name = "report-2026-05-01-0512-proof.mp4"
		asides := r.Asides(p)
		if got := strings.Contains(b.String(), `src="`+name+`"`); got != beside || (len(asides) == 1 && asides[0].Name == name) != beside {
			t.Errorf("%d bytes: beside %v, of %+v", size, got, asides)
		}
		if got := strings.Contains(b.String(), "data:video/mp4"); got == beside {
			t.Errorf("%d bytes: in the page %v", size, got)
		}
	}
}

// wellFormed reads the page as XML, which is stricter than HTML.
func wellFormed(t *testing.T, page string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Entity = xml.HTMLEntity
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// A page of 3,000 frames stays small enough to mail.
func TestPageSizeIsBounded(t *testing.T) {
	var b bytes.Buffer
	if err := WriteHTML(&b, Build(faulty(3000)), Page{}); err != nil {
		t.Fatal(err)
	}
	if b.Len() > 1<<20 {
		t.Errorf("the page of 3,000 frames has %d bytes", b.Len())
	}
}

func TestText(t *testing.T) {
	var b bytes.Buffer
	if err := WriteText(&b, Build(faulty(120)), TextOptions{}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	if first := strings.SplitN(text, "\n", 3)[1]; !strings.Contains(first, "Planned 124 frames / 5.17 s at 24 fps; shot 119 / 4.96 s: short by 5") {
		t.Errorf("the verdict does not stand first: %q", first)
	}
	for _, want := range []string{"never fired", "lost after being shot", "late by 2 s", "Do not wipe the card", `Planned shoot "never shot" was not found in this dump`} {
		if !strings.Contains(text, want) {
			t.Errorf("the summary lacks %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "NaN") || strings.Contains(text, "%!") {
		t.Errorf("the summary is broken:\n%s", text)
	}
}

// At any width lines break between words, and one is never called many.
func TestTextFitsItsTerminal(t *testing.T) {
	many := regexp.MustCompile(`\b1 (frames|files|file numbers|shoots|stills|passages|exposures|gaps|steps|clips|flashes|changes|times|findings)\b`)
	for _, width := range []int{60, 80} {
		var b bytes.Buffer
		if err := WriteText(&b, Build(faulty(120)), TextOptions{Width: width, Color: true}); err != nil {
			t.Fatal(err)
		}
		plain := strings.NewReplacer("\x1b[1m", "", "\x1b[0m", "").Replace(b.String())
		for line := range strings.Lines(plain) {
			line = strings.TrimRight(line, "\n")
			if utf8.RuneCountInString(line) > width && strings.Contains(strings.TrimSpace(line), " ") {
				t.Errorf("%d columns of %d: %q", utf8.RuneCountInString(line), width, line)
			}
		}
		if bad := many.FindString(plain); bad != "" {
			t.Errorf("it says %q", bad)
		}
		if strings.Join(strings.Fields(plain), " ") == "" || strings.Contains(plain, " at 24;") {
			t.Errorf("a rate stands without its unit:\n%s", plain)
		}
	}
}

// Each station of the way from the plan to the clip, less what stands under it,
// is the next.
func TestChainAddsUp(t *testing.T) {
	number := regexp.MustCompile(`^[+\x{2212}]\d+`)
	rng := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		in := faulty(120)
		if in.Shoots[0].Planned.Frames += rng.IntN(60) - 30; rng.IntN(4) == 0 {
			in.Shoots[0].Planned = nil
		}
		d := Build(in).Sequences[0].Delivered
		links := chainOf(&d)
		for i, l := range links[:len(links)-1] {
			left := l.Frames
			for _, less := range l.Less {
				n, err := strconv.Atoi(strings.Replace(number.FindString(less), "\u2212", "-", 1))
				if err != nil {
					t.Fatalf("%q: %v", less, err)
				}
				left += n
			}
			if left != links[i+1].Frames {
				t.Fatalf("%+v: %s %d %q comes to %d, not %d", d, l.Word, l.Frames, l.Less, left, links[i+1].Frames)
			}
		}
	}
}

// The ticks of a clock stand at round times of day, whatever the first frame.
func TestClockTicks(t *testing.T) {
	start := time.Date(2026, 5, 1, 23, 58, 30, 0, time.UTC)
	for _, c := range []struct {
		span float64
		want []string
	}{
		{20, []string{"23:58:30", "23:58:35", "23:58:40", "23:58:45", "23:58:50"}},
		{300, []string{"23:59", "2 May", "00:01", "00:02", "00:03"}},
		{5 * 3600, []string{"2 May", "01:00", "02:00", "03:00", "04:00"}},
		{3 * 86400, []string{"2 May", "12:00", "3 May", "12:00", "4 May", "12:00"}},
	} {
		var got []string
		for _, k := range clockTicks(start, c.span) {
			got = append(got, k.text)
			at := start.Add(time.Duration(k.x / wide * c.span * float64(time.Second))).Round(time.Millisecond)
			if text := at.Format("15:04:05"); !strings.HasPrefix(text, k.text) && !strings.HasPrefix(text, "00:00:00") {
				t.Errorf("%q stands at %s", k.text, text)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("over %g s %q, want %q", c.span, got, c.want)
		}
	}
}

// An outlier in the middle of more frames than columns must still be drawn.
func TestLineKeepsOutliers(t *testing.T) {
	v := make([]float64, 10*plotPoints)
	v[5003] = 7
	at := newTimeline(&Sequence{Rows: make([]Row, len(v))})
	p := newPlot(at, "t", "d", 0, 7)
	before := p.svg.Len()
	p.line("c", v)
	if !strings.Contains(p.svg.String()[before:], "V"+n(p.y(7))) {
		t.Error("the outlier is not in the line")
	}
}

func TestNiceStep(t *testing.T) {
	for _, c := range []struct {
		span  float64
		count int
		want  float64
	}{{10, 5, 2}, {0.37, 5, 0.1}, {300, 8, 50}, {0, 5, 1}} {
		if got := niceStep(c.span, c.count); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("niceStep(%g, %d) = %g, want %g", c.span, c.count, got, c.want)
		}
	}
}
