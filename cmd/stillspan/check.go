package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"stillspan/assemble"
	"stillspan/assemble/shoot"
	"stillspan/ingest/copycheck"
	"stillspan/internal/settings"
	"stillspan/report"
)

var checkCommand = command{
	name: "check", summary: "judge a dump against its plan: timing, settings, light, damage",
	usage: "DIR [OPTIONS]",
	about: `Finds the sequences in a folder tree of stills, judges their timing, settings
and light, and compares them with the plan. Originals are only read.
`,
	examples: `check /media/dump
check dump --plan day.toml --html day.html
check dump --json - | jq '.sequences[].delivered'
`,
	run: runCheck,
}

func runCheck(ctx context.Context, c *call) error {
	root, err := c.folder("check")
	if err != nil {
		return err
	}
	out := outputsOf(c.stated)
	if err := c.checkOutputs(out, root); err != nil {
		return err
	}
	// No clip is made, so raw files are judged by what they hold ready.
	settings.Raw.Set(c.stated, string(assemble.RawPreview))
	var sums []copycheck.Sum
	list := settings.Copies.Of(c.stated)
	if list != "" {
		if sums, err = readSums(list); err != nil {
			return err
		}
	}
	f, err := c.find(ctx, root)
	if err != nil {
		return err
	}
	if list != "" {
		if err := c.countCopies(ctx, f, list, sums); err != nil {
			return err
		}
	}
	if !settings.Headers.Of(c.stated) {
		if err := c.measureAll(ctx, f); err != nil {
			return err
		}
		if settings.Thorough.Of(c.stated) {
			if err := f.CheckLoose(ctx, c.stated); err != nil {
				return err
			}
		}
		if out.html != "" {
			if err := takePictures(ctx, f); err != nil {
				return err
			}
		}
	}
	return c.tell(out, c.report(f))
}

// countCopies looks every still up in a list of checksums.
func (c *call) countCopies(ctx context.Context, f *shoot.Found, list string, sums []copycheck.Sum) error {
	for _, s := range f.Shoots {
		bar := c.progress("reading "+s.Sequence.ID, 1, inBytes...)
		err := s.CountCopies(ctx, sums, func(done, total int64) { bar.set(int(done), int(total)) })
		bar.finish()
		if err != nil {
			return withHint(fmt.Errorf("list %q: %w", list, err), "a list that 'stillspan compare CARD DUMP1 DUMP2 --sums LIST' wrote")
		}
	}
	return nil
}

// find reads headers and matches the plan; nothing is measured yet.
func (c *call) find(ctx context.Context, root string) (*shoot.Found, error) {
	bar := c.progress("reading headers", 1, counted)
	defer bar.finish()
	f, err := shoot.Find(ctx, root, c.stated, bar.set)
	if err != nil {
		return nil, err
	}
	if word := settings.Sequence.Of(c.stated); word != "" {
		return f, f.Only(word)
	}
	return f, nil
}

// measureAll measures all shoots and solves their light curves.
func (c *call) measureAll(ctx context.Context, f *shoot.Found) error {
	bar := c.course(f.Shoots, false)
	defer bar.finish()
	for _, s := range f.Shoots {
		if err := measure(ctx, s, bar); err != nil {
			return err
		}
	}
	return nil
}

// measure measures a shoot and solves its light curve.
func measure(ctx context.Context, s *shoot.Shoot, bar *course) error {
	if err := s.Measure(ctx, bar.counting("measuring "+s.Sequence.ID, len(s.Sequence.Frames))); err != nil {
		return err
	}
	return s.Solve()
}

// takePictures makes the pictures of all shoots.
func takePictures(ctx context.Context, f *shoot.Found) error {
	for _, s := range f.Shoots {
		if err := s.TakeStrip(ctx); err != nil {
			return err
		}
		if err := s.TakeGallery(ctx); err != nil {
			return err
		}
		s.TakeForecast()
	}
	return nil
}

// note tells the user something about the run once, and keeps it for the
// report.
func (c *call) note(text string) {
	if slices.Contains(c.warnings, text) {
		return
	}
	c.warnings = append(c.warnings, text)
	fmt.Fprintf(c.stderr, "stillspan: %s\n", oneLine(text))
}

// report sets planned against shot, for all the faces.
func (c *call) report(f *shoot.Found) *report.Report {
	return report.Build(report.Input{Found: f, Made: time.Now(), Warnings: c.warnings})
}

// tell gives the report its faces; its findings set the exit code.
func (c *call) tell(out outputs, r *report.Report) error {
	if err := out.write(c, r); err != nil {
		return err
	}
	if r.HasFindings() {
		return errFindings
	}
	return nil
}
