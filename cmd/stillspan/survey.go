package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"stillspan/deflicker"
	"stillspan/deflicker/develop"
	"stillspan/deflicker/measure"
	"stillspan/ingest"
	"stillspan/ingest/plan"
	"stillspan/internal/playback"
	"stillspan/report"
)

// surveyOptions are what check, render and day share: how a dump is read,
// matched with its plan, measured and solved.
type surveyOptions struct {
	root     string
	planFile string
	rate     playback.Rate // zero: from the plan, else 24
	only     string        // ID, name or folder of what to work on; empty for all
	noLook   bool          // headers only: no luminance
	keep     bool          // keep the flicker: measure, but correct nothing
	develops bool          // raw files are developed: measure what becomes of them
	zone     deflicker.Zone
	ingest   ingest.Options
	measure  measure.Options
	solve    deflicker.Options
	noLocal  bool // never correct parts of the picture differently
	quiet    bool
}

const surveyHelp = `  --plan FILE       the plan, as 'stillspan plan -o FILE' writes it
  --rate R          playback rate: 24, 25, 29.97, 24000/1001; default: the
                    plan's, else 24
  --sequence WHICH  work on this only: an ID, a planned name or a folder
  --zone X,Y,W,H    measure this part of the picture, as fractions
  --smooth N        keep changes of light that take longer than N frames;
                    default chosen by the sequence
  --local MODE      flicker of the corners against the middle: auto (evened out
                    where there is any) or off; default auto
  --min-frames N    shorter runs are loose stills; default %d
  --break T         a pause longer than this, and than %g intervals, begins a
                    new sequence; default %s
  --workers N       stills read at once; default one per CPU
  --no-cache        neither read nor keep measurements
  --thorough        walk every picture to its end even where a preview would do
`

func surveyUsage() string {
	i := ingest.DefaultOptions()
	return fmt.Sprintf(surveyHelp, i.MinFrames, i.BreakIntervals, plan.FormatSeconds(i.BreakMin.Seconds()))
}

func (o *surveyOptions) add(fl *flag.FlagSet) {
	o.ingest, o.solve = ingest.DefaultOptions(), deflicker.DefaultOptions()
	fl.StringVar(&o.planFile, "plan", "", "")
	fl.Func("rate", "", func(s string) (err error) { o.rate, err = playback.ParseRate(s); return err })
	fl.StringVar(&o.only, "sequence", "", "")
	fl.Func("zone", "", func(s string) (err error) { o.zone, err = parseZone(s); return err })
	fl.IntVar(&o.solve.SmoothFrames, "smooth", o.solve.SmoothFrames, "")
	fl.Func("local", "", func(s string) error {
		if s != "auto" && s != "off" {
			return errors.New("want auto or off")
		}
		o.noLocal = s == "off"
		return nil
	})
	fl.IntVar(&o.ingest.MinFrames, "min-frames", o.ingest.MinFrames, "")
	fl.Func("break", "", func(s string) error {
		v, err := plan.ParseSeconds(s)
		o.ingest.BreakMin = time.Duration(v * float64(time.Second))
		return err
	})
	fl.Func("workers", "", func(s string) error {
		var n int
		if _, err := fmt.Sscan(s, &n); err != nil || n < 1 || n > 256 {
			return errors.New("want a number from 1 to 256")
		}
		o.ingest.Workers, o.measure.Workers = n, n
		return nil
	})
	fl.BoolVar(&o.measure.NoCache, "no-cache", false, "")
	fl.BoolVar(&o.measure.Verify, "thorough", false, "")
}

func (o *surveyOptions) validate() error {
	if err := errors.Join(o.ingest.Validate(), o.solve.Validate(), o.measure.Validate()); err != nil {
		return &usageError{oneLine(err.Error())}
	}
	return nil
}

// survey is a dump with all that was found out about it.
type survey struct {
	opt      surveyOptions
	dump     *ingest.Dump
	plan     *plan.File
	match    plan.Matching
	work     []report.Work // one a sequence
	local    []deflicker.Local
	develop  []*develop.Settings // how each sequence's raw files are developed; nil: not
	warnings []string
}

// survey reads the dump, measures and solves every sequence asked for.
func (c *cli) survey(ctx context.Context, o surveyOptions) (*survey, error) {
	s, err := c.scan(ctx, o)
	if err != nil {
		return nil, err
	}
	if o.noLook {
		return s, nil
	}
	for i := range s.dump.Sequences {
		if err := c.look(ctx, s, i); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// scan reads headers and matches the plan; nothing is measured yet.
func (c *cli) scan(ctx context.Context, o surveyOptions) (*survey, error) {
	s := &survey{opt: o}
	if o.planFile != "" {
		f, err := plan.Load(o.planFile)
		if err != nil {
			return nil, withHint(err, "'stillspan plan --help' shows how to have one written")
		}
		s.plan = f
	}
	o.ingest.Planned = s.plan.Hints()
	if err := folderIsThere(o.root); err != nil {
		return nil, err
	}
	bar := c.progress("reading headers", 1, o.quiet)
	dump, err := ingest.Scan(ctx, o.root, o.ingest, bar.set)
	bar.finish()
	if err != nil {
		return nil, err
	}
	if len(dump.Sequences)+len(dump.Loose)+len(dump.Unreadable) == 0 {
		return nil, withHint(fmt.Errorf("no stills in %q%s", o.root, ignoredText(dump.Ignored)),
			"the folder the card was copied to; JPEG, PNG, TIFF, HEIF and raw stills are read")
	}
	s.dump = dump
	s.match = plan.Match(s.plan, dump.Sequences)
	if o.only != "" {
		if err := s.keepOnly(o.only); err != nil {
			return nil, err
		}
	}
	s.work = make([]report.Work, len(dump.Sequences))
	s.local = make([]deflicker.Local, len(dump.Sequences))
	s.develop = make([]*develop.Settings, len(dump.Sequences))
	for i := range s.work {
		s.work[i].Rate = s.rate(i)
	}
	return s, nil
}

func folderIsThere(root string) error {
	info, err := os.Stat(root)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return withHint(fmt.Errorf("no such folder: %q", root), "is the drive plugged in, and the name spelled right?")
	case err != nil:
		return fmt.Errorf("cannot read folder: %w", err)
	case !info.IsDir():
		return withHint(fmt.Errorf("%q is a file, not a folder", root), "the folder that holds the stills")
	}
	return nil
}

func ignoredText(ig []ingest.Ignored) string {
	var parts []string
	for _, g := range ig {
		parts = append(parts, fmt.Sprintf("%d %s", g.Count, g.Kind))
	}
	if len(parts) == 0 {
		return ""
	}
	return " (left alone: " + strings.Join(parts, ", ") + ")"
}

// keepOnly drops all sequences but those that word names. The plan has been
// matched with all of them, so that what the others answer to is not reported
// as missing.
func (s *survey) keepOnly(word string) error {
	inside := strings.TrimPrefix(filepath.ToSlash(word), filepath.ToSlash(filepath.Clean(s.opt.root))+"/")
	found := plan.Find(inside, s.plan, s.match, s.dump.Sequences)
	if len(found) == 0 {
		var ids []string
		for i := range s.dump.Sequences {
			id := s.dump.Sequences[i].ID
			if shoot := s.shoot(i); shoot != nil {
				id += fmt.Sprintf(" (%q)", shoot.Name)
			}
			ids = append(ids, id)
		}
		if len(ids) == 0 {
			return fmt.Errorf("no sequence %q: there is none in this dump", word)
		}
		return withHint(fmt.Errorf("no sequence %q in this dump", word), "an ID, a planned name or a folder: %s", strings.Join(ids, ", "))
	}
	kept := make([]ingest.Sequence, len(found))
	for k, i := range found {
		kept[k] = s.dump.Sequences[i]
	}
	s.dump.Sequences, s.match = kept, s.match.Only(found)
	return nil
}

// shoot is the plan of sequence i; nil for none.
func (s *survey) shoot(i int) *plan.Shoot {
	if s.plan == nil || s.match.Shoot[i] < 0 {
		return nil
	}
	return &s.plan.Shoots[s.match.Shoot[i]]
}

// rate is the playback rate of sequence i: the command line's, the plan's, 24.
func (s *survey) rate(i int) playback.Rate {
	switch shoot := s.shoot(i); {
	case s.opt.rate.Num != 0:
		return s.opt.rate
	case shoot != nil && shoot.Rate.Num != 0:
		return shoot.Rate
	case s.plan != nil && s.plan.Rate.Num != 0:
		return s.plan.Rate
	}
	return playback.Rate{Num: 24, Den: 1}
}

// look measures sequence i and solves its light curve.
func (c *cli) look(ctx context.Context, s *survey, i int) error {
	var err error
	seq, w := &s.dump.Sequences[i], &s.work[i]
	zone, solve := s.opt.zone, s.opt.solve
	w.Uncorrected = s.opt.keep
	if shoot := s.shoot(i); shoot != nil {
		r := shoot.Render.Over(s.plan.Defaults)
		if r.Zone != "" && zone == (deflicker.Zone{}) {
			z, err := parseZone(r.Zone)
			if err != nil {
				return fmt.Errorf("plan %q, shoot %q: zone: %w", s.plan.Path, shoot.Name, err)
			}
			zone = z
		}
		if r.Smooth != 0 && solve.SmoothFrames == deflicker.DefaultOptions().SmoothFrames {
			solve.SmoothFrames = r.Smooth
			if err := solve.Validate(); err != nil {
				return fmt.Errorf("plan %q, shoot %q: %w", s.plan.Path, shoot.Name, err)
			}
		}
		if r.Deflicker != nil && !*r.Deflicker {
			w.Uncorrected = true
		}
	}
	if zone != (deflicker.Zone{}) {
		w.Zone = &report.Zone{X: zone.X, Y: zone.Y, W: zone.W, H: zone.H}
	}
	orientation := 1
	if len(seq.Frames) > 0 {
		_, _, orientation = seq.Frames[0].Facts.Decoded()
	}
	meter := deflicker.NewMeter(deflicker.MeterOptions{
		Zone: zone, Orientation: orientation, Local: !s.opt.noLocal && !w.Uncorrected,
	})
	n := len(seq.Frames)
	w.HighShare, w.LowShare = make([]float64, n), make([]float64, n)
	w.Damage = map[int]report.Damage{}
	labels := make([]float64, n)
	inputs := inputsOf(seq)
	how := s.opt.measure
	if s.develop[i], err = s.development(ctx, inputs); err != nil {
		return err
	}
	if s.develop[i] != nil {
		how.Source, how.Develop = measure.SourceDeveloped, s.develop[i]
	}
	bar := c.progress("measuring "+seq.ID, n, s.opt.quiet)
	defer bar.finish()
	err = measure.All(ctx, inputs, how, func(k int, g *measure.Grid, f *measure.Finding) error {
		bar.set(k+1, n)
		w.HighShare[k], w.LowShare[k] = math.NaN(), math.NaN()
		fr := &seq.Frames[k]
		labels[k] = deflicker.ExposureLabelEV(fr.Facts.ExposureS, fr.Facts.FNumber, fr.Facts.ISO)
		if f != nil && fr.Problem == nil {
			w.Damage[k] = report.Damage{File: fr.Name, Frame: k + 1, Kind: f.Kind, Problem: f.Text, Try: f.Try, Left: report.Float(f.Left)}
		}
		if g != nil {
			w.HighShare[k], w.LowShare[k] = g.HighShare, g.LowShare
			w.Source = g.Source
		}
		if f != nil || fr.Problem != nil {
			g = nil // a damaged picture says nothing sure about its light
		}
		meter.Add(g.Light())
		return nil
	})
	if err != nil {
		return err
	}
	w.Curve = meter.Curve()
	w.Result, err = deflicker.Solve(w.Curve, labels, solve)
	if err != nil {
		return fmt.Errorf("sequence %s: %w", seq.ID, err)
	}
	s.local[i] = meter.Local()
	w.Local = s.local[i].Use
	w.Measured = true
	return nil
}

// development is how a sequence's raw files are developed, by the first that
// LibRaw knows of its first few, as one may be damaged; nil where they are not
// developed, or LibRaw knows none.
func (s *survey) development(ctx context.Context, inputs []measure.Input) (*develop.Settings, error) {
	if !s.opt.develops {
		return nil, nil
	}
	const few = 3
	for tries, k := 0, 0; k < len(inputs) && tries < few; k++ {
		in := inputs[k]
		if !in.Facts.Raw {
			continue
		}
		tries++
		d, err := develop.Identify(ctx, in.Path)
		if !errors.Is(err, develop.ErrUnknown) {
			return &d, err
		}
	}
	return nil, nil
}

func inputsOf(seq *ingest.Sequence) []measure.Input {
	in := make([]measure.Input, len(seq.Frames))
	for k := range seq.Frames {
		f := &seq.Frames[k]
		in[k] = measure.Input{Path: f.Path, Facts: f.Facts, ModTime: f.ModTime, Size: f.Size}
	}
	return in
}

// sound tells whether frame k of sequence i can go into a clip.
func (s *survey) sound(i, k int) bool {
	_, damaged := s.work[i].Damage[k]
	return s.dump.Sequences[i].Frames[k].Problem == nil && !damaged
}

// report sets planned against shot, for all the faces.
func (s *survey) report() *report.Report {
	return report.Build(report.Input{
		Dump: s.dump, Plan: s.plan, Match: s.match, Made: time.Now(),
		Rate: s.opt.rate, Work: s.work, Warnings: s.warnings,
	})
}

// stripFrames is how many pictures a film strip has.
const stripFrames = 12

// strip makes the pictures of sequence i that a page shows: a film strip of
// frames evenly apart, and the frame the zone is drawn on.
func (s *survey) strip(ctx context.Context, i int) error {
	seq, w := &s.dump.Sequences[i], &s.work[i]
	var good []int
	for k := range seq.Frames {
		if s.sound(i, k) {
			good = append(good, k)
		}
	}
	in := inputsOf(seq)
	n := min(stripFrames, len(good))
	for j := range n {
		k := good[0]
		if n > 1 {
			k = good[j*(len(good)-1)/(n-1)]
		}
		img, err := measure.Thumb(ctx, in[k], 240)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			continue // the strip is an ornament; damage is reported elsewhere
		}
		w.Strip = append(w.Strip, img)
	}
	if len(w.Strip) > 0 {
		w.ZonePicture = w.Strip[len(w.Strip)/2]
	}
	return nil
}

// strips makes the pictures of all sequences.
func (s *survey) strips(ctx context.Context) error {
	for i := range s.dump.Sequences {
		if err := s.strip(ctx, i); err != nil {
			return err
		}
	}
	return nil
}
