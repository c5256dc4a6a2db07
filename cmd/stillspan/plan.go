package main

import (
	"context"
	"fmt"
	"io"

	"stillspan/ingest/plan"
	"stillspan/internal/files"
	"stillspan/internal/settings"
	"stillspan/report"
)

var planCommand = command{
	name: "plan", summary: "shooting arithmetic both ways; writes the plan that check reads",
	usage: "[OPTIONS]",
	about: `Any two of frames, interval and shooting time give the third; with a playback
rate they give the length of the clip, and a clip length gives the frames.
`,
	examples: `plan --frames 300 --interval 5 --rate 24
plan --time 3h --clip 10 --rate 30
plan --clip 12.5 --rate 24 --interval 5 --travel 1.2m --exposure 2
plan --frames 300 --interval 5 --start 2026-05-01T05:40:00 --place 51.48,-0.01 --utc +01:00 --sheet sheet.html
plan --frames 300 --interval 5 --rate 24 --name "harbour dawn" -o day.toml
`,
	run: runPlan,
}

func runPlan(_ context.Context, c *call) error {
	v := c.stated
	if err := c.checkPlan(); err != nil {
		return err
	}
	file, name := settings.PlanOut.Of(v), settings.Name.Of(v)
	err := c.mayWrite(nil, place{"-o", file, ""}, place{"--json", settings.JSON.Of(v), report.MarkJSON}, place{"--sheet", settings.Sheet.Of(v), report.MarkHTML})
	if err != nil {
		return err
	}
	answer, err := plan.Solve(plan.AskOf(v))
	if err != nil {
		return usage(err)
	}
	if file != "" {
		err := plan.Add(file, plan.Shoot{
			Name: name, Folder: settings.Folder.Of(v), From: settings.From.Of(v), To: settings.To.Of(v),
			Frames: answer.Frames, IntervalS: answer.IntervalS, ShootingS: answer.ShootingS,
			Rate: answer.Rate, ClipS: answer.ClipS, ExposureS: answer.ExposureS, Given: plan.Given(v),
		})
		if err != nil {
			return err
		}
	}
	json := settings.JSON.Of(v)
	if err := c.writeJSON(json, func(w io.Writer) error { return report.WritePlanJSON(w, answer) }); err != nil {
		return err
	}
	if to := settings.Sheet.Of(v); to != "" {
		fill := func(w io.Writer) error { return report.WriteFieldSheet(w, name, answer) }
		if err := c.write(files.Place{Path: to, Mark: report.MarkHTML}, fill); err != nil {
			return err
		}
	}
	if c.quiet() || json == "-" {
		return nil
	}
	if err := report.WritePlanText(c.stdout, answer, c.text()); err != nil {
		return err
	}
	if file != "" {
		fmt.Fprintf(c.stderr, "wrote %s: 'stillspan check DIR --plan %s' compares a dump with it\n", file, file)
	}
	return nil
}

func (c *call) checkPlan() error {
	v := c.stated
	place, utc, start := settings.Location.Stated(v), settings.UTC.Stated(v), settings.Start.Stated(v)
	switch {
	case len(c.args) > 0:
		return usagef("unexpected argument %q: plan takes options only", c.args[0])
	case (place || utc) && !(place && utc && start):
		return usagef("the sun needs --start, --place and --utc together")
	case settings.Sheet.Of(v) == "-":
		return usagef("--sheet wants a file name: it is a page to print")
	case settings.PlanOut.Of(v) != "" && settings.Name.Of(v) == "":
		return usagef("-o needs --name: what the shoot is called in the plan file")
	}
	return nil
}
