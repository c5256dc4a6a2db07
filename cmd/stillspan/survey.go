package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"slices"
	"time"

	"stillspan/assemble/shoot"
	"stillspan/ingest"
	"stillspan/ingest/plan"
	"stillspan/internal/playback"
	"stillspan/internal/words"
	"stillspan/report"
)

// surveyOptions are what check, render and day share.
type surveyOptions struct {
	shoot.Options
	only  string // ID, name or folder of what to work on; empty for all
	quiet bool
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
  --thorough        walk every picture to its end even where a preview would
                    do, and believe nothing that an earlier run saw
`

func surveyUsage() string {
	i := ingest.DefaultOptions()
	return fmt.Sprintf(surveyHelp, i.MinFrames, i.BreakIntervals, words.Seconds(i.BreakMin.Seconds()))
}

func (o *surveyOptions) add(fl *flag.FlagSet) {
	o.Options = shoot.DefaultOptions()
	fl.StringVar(&o.PlanFile, "plan", "", "")
	fl.Func("rate", "", func(s string) (err error) { o.Rate, err = playback.ParseRate(s); return err })
	fl.StringVar(&o.only, "sequence", "", "")
	fl.Func("zone", "", func(s string) (err error) { o.Zone, err = shoot.ParseZone(s); return err })
	fl.IntVar(&o.Solve.SmoothFrames, "smooth", o.Solve.SmoothFrames, "")
	fl.Func("local", "", func(s string) error {
		if s != "auto" && s != "off" {
			return errors.New("want auto or off")
		}
		o.NoLocal = s == "off"
		return nil
	})
	fl.IntVar(&o.Ingest.MinFrames, "min-frames", o.Ingest.MinFrames, "")
	fl.Func("break", "", func(s string) error {
		v, err := plan.ParseSeconds(s)
		o.Ingest.BreakMin = time.Duration(v * float64(time.Second))
		return err
	})
	fl.Func("workers", "", func(s string) error {
		var n int
		if _, err := fmt.Sscan(s, &n); err != nil || n < 1 || n > 256 {
			return errors.New("want a number from 1 to 256")
		}
		o.Ingest.Workers, o.Measure.Workers = n, n
		return nil
	})
	fl.BoolVar(&o.Measure.NoCache, "no-cache", false, "")
	fl.BoolVar(&o.Measure.Verify, "thorough", false, "")
}

func (o *surveyOptions) validate() error {
	if err := errors.Join(o.Ingest.Validate(), o.Solve.Validate(), o.Measure.Validate()); err != nil {
		return &usageError{oneLine(err.Error())}
	}
	return nil
}

// findings is a folder's shoots and what was remarked on the way.
type findings struct {
	*shoot.Found
	warnings []string
}

// find reads headers and matches the plan; nothing is measured yet.
func (c *cli) find(ctx context.Context, o surveyOptions) (*findings, error) {
	bar := c.progress("reading headers", 1, o.quiet)
	defer bar.finish()
	f, err := shoot.Find(ctx, o.Options, bar.set)
	if err != nil {
		return nil, err
	}
	if o.only != "" {
		if err := f.Only(o.only); err != nil {
			return nil, err
		}
	}
	return &findings{Found: f}, nil
}

// look measures a shoot and solves its light curve.
func (c *cli) look(ctx context.Context, s *shoot.Shoot, quiet bool) error {
	bar := c.progress("measuring "+s.Sequence.ID, len(s.Sequence.Frames), quiet)
	defer bar.finish()
	if err := s.Measure(ctx, bar.set); err != nil {
		return err
	}
	return s.Solve()
}

// report sets planned against shot, for all the faces.
func (f *findings) report() *report.Report {
	return report.Build(report.Input{Found: f.Found, Made: time.Now(), Warnings: f.warnings})
}

// strips makes the pictures of all shoots.
func (f *findings) strips(ctx context.Context) error {
	for _, s := range f.Shoots {
		if err := s.TakeStrip(ctx); err != nil {
			return err
		}
	}
	return nil
}

// note tells the user something about the run once, and keeps it for the
// report.
func (f *findings) note(c *cli, text string) {
	if slices.Contains(f.warnings, text) {
		return
	}
	f.warnings = append(f.warnings, text)
	fmt.Fprintf(c.stderr, "stillspan: %s\n", oneLine(text))
}
