package main

import (
	"context"
	"fmt"

	"stillspan/assemble/shoot"
	"stillspan/ingest/copycheck"
)

var checkCommand = command{
	name: "check", summary: "judge a dump against its plan: timing, settings, light, damage",
	help: `usage: stillspan check DIR [OPTIONS]

Finds the sequences in a folder tree of stills, judges their timing, settings
and light, and compares them with the plan. Originals are only read.

` + surveyUsage() + `  --headers         timing and settings only; decode nothing
  --copies LIST     read every still to its end and say in how many verified
                    copies it lies, by a list of 'compare --sums'
` + outputHelp + `
examples:
  stillspan check /media/dump
  stillspan check dump --plan day.toml --html day.html
  stillspan check dump --json - | jq '.sequences[].delivered'
`,
	run: runCheck,
}

func runCheck(ctx context.Context, c *cli, args []string) error {
	fl := newFlags("check")
	var o surveyOptions
	var out outputs
	o.add(fl)
	out.add(fl)
	headers := fl.Bool("headers", false, "")
	list := fl.String("copies", "", "")
	rest, err := parse(fl, args)
	if err != nil {
		return err
	}
	if o.Root, err = oneFolder(fl, rest); err != nil {
		return err
	}
	if err := o.validate(); err != nil {
		return err
	}
	if err := shoot.FolderIsThere(o.Root); err != nil {
		return err
	}
	if err := out.check(o.Root); err != nil {
		return err
	}
	o.quiet = out.quiet
	var sums []copycheck.Sum
	if *list != "" {
		if sums, err = readSums(*list); err != nil {
			return err
		}
	}
	f, err := c.find(ctx, o)
	if err != nil {
		return err
	}
	if *list != "" {
		if err := c.countCopies(ctx, f, *list, sums, o.quiet); err != nil {
			return err
		}
	}
	if !*headers {
		for _, s := range f.Shoots {
			if err := c.look(ctx, s, o.quiet); err != nil {
				return err
			}
		}
		if out.html != "" {
			if err := f.strips(ctx); err != nil {
				return err
			}
		}
	}
	r := f.report()
	if err := out.write(c, r); err != nil {
		return err
	}
	if r.HasFindings() {
		return errFindings
	}
	return nil
}

// countCopies looks every still up in a list of checksums.
func (c *cli) countCopies(ctx context.Context, f *findings, list string, sums []copycheck.Sum, quiet bool) error {
	for _, s := range f.Shoots {
		bar := c.progress("reading "+s.Sequence.ID, 1, quiet)
		err := s.CountCopies(ctx, sums, func(done, total int64) { bar.set(int(done), int(total)) })
		bar.finish()
		if err != nil {
			return withHint(fmt.Errorf("list %q: %w", list, err), "a list that 'stillspan compare CARD DUMP1 DUMP2 --sums LIST' wrote")
		}
	}
	return nil
}
