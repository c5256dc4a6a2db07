package main

import (
	"context"

	"stillspan/assemble/shoot"
)

var checkCommand = command{
	name: "check", summary: "judge a dump against its plan: timing, settings, light, damage",
	help: `usage: stillspan check DIR [OPTIONS]

Finds the sequences in a folder tree of stills, judges their timing, settings
and light, and compares them with the plan. Originals are only read.

` + surveyUsage() + `  --headers         timing and settings only; decode nothing
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
	f, err := c.find(ctx, o)
	if err != nil {
		return err
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
