package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"stillspan/internal/demo"
	"stillspan/internal/process"
	"stillspan/internal/scene"
	"stillspan/internal/settings"
)

var demoCommand = command{
	name: "demo", summary: "make a day of invented shoots with known faults; check and render it",
	usage: "[DIR] [OPTIONS]",
	about: `Draws the stills of an invented day into DIR/card (default ./stillspan-demo),
with faults that are named as they are planted, writes its plan, then runs
check and render on it. DIR must not be there yet.
`,
	examples: `demo
demo /tmp/try --size 480x320
`,
	run: runDemo,
}

func runDemo(ctx context.Context, c *call) error {
	// The pictures are small so that a day of them is drawn, checked and
	// rendered in under a minute on two cores.
	size := settings.StillSize.Of(c.stated)
	dir := "stillspan-demo"
	switch {
	case len(c.args) > 1:
		return usagef("unexpected argument %q: one folder at a time", c.args[1])
	case len(c.args) == 1:
		dir = c.args[0]
	}
	if err := (scene.Options{Width: size.W, Height: size.H, Frames: 1}).Validate(); err != nil {
		return usage(err)
	}
	if _, err := os.Lstat(dir); err == nil {
		return withHint(fmt.Errorf("%q is there already", dir), "another folder: stillspan demo DIR")
	} else if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("cannot make the demo: %w", err)
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	shoots := demo.Day()
	bar := c.progress("drawing stills", 1, counted)
	err := demo.DrawDay(ctx, in("card"), shoots, size.W, size.H, bar.set)
	bar.finish()
	if err != nil {
		return err
	}
	if err := demo.WritePlan(in("plan.toml"), shoots); err != nil {
		return err
	}
	if !c.quiet() {
		fmt.Fprintf(c.stdout, "An invented day lies in %s. Planted faults:\n", in("card"))
		for _, s := range shoots {
			for _, f := range s.Faults {
				fmt.Fprintf(c.stdout, "  %-13s %s\n", s.Name, f)
			}
		}
	}
	return c.tryDemo(ctx, in)
}

// tryDemo checks and renders the demo's day.
func (c *call) tryDemo(ctx context.Context, in func(string) string) error {
	for _, run := range []struct {
		command
		line []string
	}{
		{checkCommand, []string{in("card"), "--plan", in("plan.toml"), "--html", in("check.html")}},
		{renderCommand, []string{in("card"), "--plan", in("plan.toml"), "-o", in("clips") + "/", "--html", in("report.html"),
			"--json", in("report.json"), "--csv", in("frames.csv"), "--quiet"}},
	} {
		if c.quiet() {
			run.line = append(run.line, "--quiet")
		} else {
			fmt.Fprintf(c.stdout, "\n$ stillspan %s %s\n\n", run.name, process.Quote(run.line...))
		}
		// The planted faults are findings, and meant to be.
		if err := c.call(ctx, run.command, run.line); err != nil && !errors.Is(err, errFindings) {
			return err
		}
	}
	if !c.quiet() {
		fmt.Fprintf(c.stdout, "clips are in %s, the report is %s\n", in("clips"), in("report.html"))
	}
	return nil
}
