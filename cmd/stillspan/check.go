package main

import "context"

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
	fl.BoolVar(&o.noLook, "headers", false, "")
	rest, err := parse(fl, args)
	if err != nil {
		return err
	}
	if o.root, err = oneFolder(fl, rest); err != nil {
		return err
	}
	if err := o.validate(); err != nil {
		return err
	}
	if err := folderIsThere(o.root); err != nil {
		return err
	}
	if err := out.check(o.root); err != nil {
		return err
	}
	o.quiet = out.quiet
	s, err := c.survey(ctx, o)
	if err != nil {
		return err
	}
	if out.html != "" && !o.noLook {
		if err := s.strips(ctx); err != nil {
			return err
		}
	}
	r := s.report()
	if err := out.write(c, r); err != nil {
		return err
	}
	if r.HasFindings() {
		return errFindings
	}
	return nil
}
