package shoot

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"stillspan/assemble"
	"stillspan/assemble/flash"
	"stillspan/deflicker"
	"stillspan/ingest"
	"stillspan/ingest/account"
	"stillspan/ingest/format"
	"stillspan/ingest/meta"
	"stillspan/internal/icc"
	"stillspan/internal/settings"
	"stillspan/internal/timecode"
)

// Job is what assemble needs of a measured and solved shoot: its frames with
// their corrections, and the gaps where frames are missing. It writes to out.
func (s *Shoot) Job(out string) assemble.Job {
	o := ClipOptions(s.Settings)
	o.Out, o.SourceRoot, o.Rate = out, s.Root, s.Rate
	if s.Measured != nil {
		o.Develop = s.Measured.Develop
	}
	job := assemble.Job{Options: o}
	if s.Solved != nil && s.Solved.Corrects {
		job.Response = s.Measured.Response
	}
	lost := 0 // frames missing since the last source
	for _, frame := range s.picked() {
		if len(frame) == 0 {
			lost++
			continue
		}
		if lost > 0 && len(job.Sources) > 0 {
			job.Gaps = append(job.Gaps, assemble.Gap{After: len(job.Sources) - 1, Count: lost})
		}
		lost = 0
		for i, k := range frame {
			src := s.source(k)
			src.Joins = i > 0
			job.Sources = append(job.Sources, src)
		}
	}
	s.profiles(&job)
	s.steady(&job)
	hold := settings.Hold.Of(s.Settings)
	job.HoldFirst = int(math.Round(hold.First * s.Rate.FPS()))
	job.HoldLast = int(math.Round(hold.Last * s.Rate.FPS()))
	s.stampClip(&job)
	s.slate(&job)
	return job
}

// stampClip says when the first frame of the clip was taken. Where the camera
// does not state its zone its clock is taken for UTC.
func (s *Shoot) stampClip(job *assemble.Job) {
	word := settings.Timecode.Of(s.Settings)
	if word != "clock" && word != "off" {
		job.Timecode = word
	}
	taken := s.firstTaken()
	if taken.IsZero() {
		return
	}
	job.Created = taken.UTC().Truncate(time.Second)
	if c, ok := timecode.AtClock(taken, s.Rate); ok && word == "clock" {
		job.Timecode = c.String()
	}
}

// picked lists the frames of the clip in order by the stills they are made of, none
// for one that is missing or to be left out: all from the first to the last that was
// asked for, or every Nth of them, or every N of them as one. Of gaps that are left as
// they are nothing is counted.
func (s *Shoot) picked() [][]int {
	missing := map[int]int{} // after frame index
	for _, g := range s.Sequence.Timing.Gaps {
		if g.Cause != account.NumberSkip && !g.Spare {
			missing[g.After] += g.Count
		}
	}
	last := len(s.Sequence.Frames)
	if settings.Last.Stated(s.Settings) {
		last = min(last, settings.Last.Of(s.Settings))
	}
	var all []int
	out, spoilt := settings.LeaveOut.Of(s.Settings), s.spoilt()
	for k := max(1, settings.First.Of(s.Settings)) - 1; k < last; k++ {
		if s.InClip(k) && !out.Hold(k+1) && !spoilt.Hold(k+1) {
			all = append(all, k)
		} else {
			all = append(all, -1)
		}
		all = append(all, slices.Repeat([]int{-1}, missing[k])...)
	}
	isMissing := func(k int) bool { return k < 0 }
	speed := settings.Speed.Of(s.Settings)
	if settings.Gaps.Of(s.Settings) == string(assemble.GapLeave) && speed > 1 {
		all = slices.DeleteFunc(all, isMissing)
	}
	var picked [][]int
	for some := range slices.Chunk(all, speed) {
		if !settings.Blend.Of(s.Settings) {
			some = some[:1]
		}
		picked = append(picked, slices.DeleteFunc(some, isMissing))
	}
	return picked
}

// Chosen says which frames the clip shows, where by request it does not show
// all; else it is empty.
func (s *Shoot) Chosen() string {
	var parts []string
	if settings.First.Stated(s.Settings) {
		parts = append(parts, fmt.Sprintf("from frame %d", settings.First.Of(s.Settings)))
	}
	if settings.Last.Stated(s.Settings) {
		parts = append(parts, fmt.Sprintf("to frame %d", settings.Last.Of(s.Settings)))
	}
	if settings.LeaveOut.Stated(s.Settings) {
		parts = append(parts, "without "+settings.LeaveOut.Of(s.Settings).String())
	}
	if spoilt := s.spoilt(); len(spoilt) > 0 {
		parts = append(parts, "without the spoilt "+spoilt.String())
	}
	if n := settings.Speed.Of(s.Settings); n > 1 {
		word := "one in %d"
		if settings.Blend.Of(s.Settings) {
			word = "%d blended into one"
		}
		parts = append(parts, fmt.Sprintf(word, n))
	}
	return strings.Join(parts, ", ")
}

// firstTaken is when the first frame of the clip was taken; zero when unknown.
func (s *Shoot) firstTaken() time.Time {
	for _, frame := range s.picked() {
		if len(frame) > 0 {
			return s.Sequence.Frames[frame[0]].Facts.Taken
		}
	}
	return time.Time{}
}

// source is frame k with its correction.
func (s *Shoot) source(k int) assemble.Source {
	src := sourceOf(&s.Sequence.Frames[k])
	if s.Solved == nil || !s.Solved.Corrects {
		return src
	}
	src.CorrectionEV = s.Solved.CorrectionEV[k]
	if r := s.Solved.RedEV; r != nil {
		src.ColourEV[0] = r[k]
	}
	if b := s.Solved.BlueEV; b != nil {
		src.ColourEV[1] = b[k]
	}
	if l := &s.Measured.Local; l.Use {
		src.Fields = append(src.Fields, field(&l.Fields, k)...)
	}
	if b := &s.Measured.Bands; b.Use {
		src.Fields = append(src.Fields, field(&b.Fields, k)...)
	}
	return src
}

// field is that of frame k; none where nothing is to be done.
func field(f *deflicker.Fields, k int) []assemble.Field {
	if f.EV[k] == nil {
		return nil
	}
	return []assemble.Field{{W: f.W, H: f.H, EV: f.EV[k]}}
}

// profiles lists those that the job's stills are converted by. LibRaw
// develops to sRGB, or for a wide clip to ProPhoto.
func (s *Shoot) profiles(job *assemble.Job) {
	of := map[string]meta.Colour{}
	for k := range s.Sequence.Frames {
		of[s.Sequence.Frames[k].Path] = s.Sequence.Frames[k].Facts.Colour
	}
	number := map[meta.Colour]int{}
	developed := 0
	if job.Develop != nil && job.Develop.Wide {
		job.Profiles = append(job.Profiles, icc.ProPhoto)
		developed = len(job.Profiles)
	}
	for i := range job.Sources {
		src := &job.Sources[i]
		if src.Raw && job.Develop != nil {
			src.Profile = developed
			continue
		}
		c := of[src.Path]
		n, known := number[c]
		if !known {
			if _, p, _ := c.Read(); p != nil {
				job.Profiles = append(job.Profiles, *p)
				n = len(job.Profiles)
			}
			number[c] = n
		}
		src.Profile = n
	}
}

func sourceOf(f *ingest.Frame) assemble.Source {
	src := assemble.Source{Path: f.Path, Format: f.Facts.Format, Raw: f.Facts.Raw, Was: f.Was}
	src.Was.Device = 0 // another node of a cluster numbers devices otherwise
	src.Width, src.Height, src.Orientation = format.Decoded(&f.Facts)
	if n := len(f.Facts.Previews); n > 0 {
		src.Preview = &f.Facts.Previews[n-1]
	}
	return src
}

// RenderOptions say what else a render does.
type RenderOptions struct {
	// Accept sees the verified clip and the passages that flash before the
	// clip takes its name; an error keeps it from being published.
	Accept func(Rendered) error
	// Note is told of remarks on how the clip is made.
	Note func(string)
	// Proof, unless empty, is where a proof is written and left; see
	// assemble.Pipeline.Proof.
	Proof    string
	Progress func(done, total int)

	ahead *assemble.Ahead
}

// DecodeAhead has Measure decode stills for the clip out, too, where it reads them
// whole; done, after Render, lets go of them.
func (s *Shoot) DecodeAhead(ctx context.Context, out string) (done func()) {
	assemble.AskEncoders()
	if settings.Steady.Of(s.Settings) {
		return func() {} // how frames are to be scaled is known too late
	}
	s.ahead = assemble.NewAhead(ctx, s.Job(out))
	return func() {
		s.ahead.Close()
		s.ahead = nil
	}
}

// Render writes and verifies the clip, and looks at every frame of it on its
// way to the encoder.
func (s *Shoot) Render(ctx context.Context, out string, o RenderOptions) error {
	job := s.Job(out)
	o.ahead = s.ahead
	done, _, err := render(ctx, job, o)
	if err != nil {
		return err
	}
	s.Rendered = &done
	s.Warnings = append(s.Warnings, done.Clip.Problems...)
	return nil
}

// RenderPart is Render of a job that may be one part of a clip: the flash check
// of the whole is flash.Join of all of them, its proof that of
// assemble.JoinProofs.
func RenderPart(ctx context.Context, job assemble.Job, proof string, progress func(done, total int)) (Rendered, *flash.Part, error) {
	done, v, err := render(ctx, job, RenderOptions{Proof: proof, Progress: progress})
	if err != nil {
		return done, nil, err
	}
	return done, v.check, nil
}

// render runs a job and watches it.
func render(ctx context.Context, job assemble.Job, o RenderOptions) (Rendered, *watcher, error) {
	done := Rendered{Gaps: job.GapMode}
	p, err := assemble.Prepare(ctx, job)
	if err != nil {
		return done, nil, err
	}
	if o.Note != nil {
		for _, n := range p.Notes() {
			o.Note(n)
		}
	}
	if o.Proof != "" {
		p.Proof(o.Proof)
	}
	p.UseAhead(o.ahead)
	v, err := watch(p, job)
	if err != nil {
		return done, nil, err
	}
	p.Accept = func(_ context.Context, clip assemble.Clip) error {
		done.Clip, done.Flashes, done.Light = clip, v.check.End().Found, v.light.Figures()
		if o.Accept == nil {
			return nil
		}
		return o.Accept(done)
	}
	done.Clip, err = p.Run(ctx, o.Progress)
	return done, v, err
}
