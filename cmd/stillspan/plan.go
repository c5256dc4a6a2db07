package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"stillspan/ingest/plan"
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
	file, name := settings.PlanOut.Of(v), settings.Name.Of(v)
	switch {
	case len(c.args) > 0:
		return usagef("unexpected argument %q: plan takes options only", c.args[0])
	case (settings.Location.Stated(v) || settings.UTC.Stated(v)) && !(settings.Location.Stated(v) && settings.UTC.Stated(v) && settings.Start.Stated(v)):
		return usagef("the sun needs --start, --place and --utc together")
	case settings.Sheet.Of(v) == "-":
		return usagef("--sheet wants a file name: it is a page to print")
	case file != "" && name == "":
		return usagef("-o needs --name: what the shoot is called in the plan file")
	}
	answer, err := plan.Solve(ask(v))
	if err != nil {
		return usage(err)
	}
	if file != "" {
		err := addShoot(file, plan.Shoot{
			Name: name, Folder: settings.Folder.Of(v), From: settings.From.Of(v), To: settings.To.Of(v),
			Frames: answer.Frames, IntervalS: answer.IntervalS, ShootingS: answer.ShootingS,
			Rate: answer.Rate, ClipS: answer.ClipS, ExposureS: answer.ExposureS, Given: plan.Given(v),
		})
		if err != nil {
			return err
		}
	}
	if to := settings.JSON.Of(v); to != "" {
		fill := func(w io.Writer) error { return report.WritePlanJSON(w, answer) }
		if to == "-" {
			return fill(c.stdout)
		}
		if err := writeFile(to, fill); err != nil {
			return err
		}
	}
	if to := settings.Sheet.Of(v); to != "" {
		fill := func(w io.Writer) error { return report.WriteFieldSheet(w, name, answer) }
		if err := writeFile(to, fill); err != nil {
			return err
		}
	}
	if c.quiet() {
		return nil
	}
	if err := report.WritePlanText(c.stdout, answer, report.TextOptions{Width: c.width, Color: c.color}); err != nil {
		return err
	}
	if file != "" {
		fmt.Fprintf(c.stderr, "wrote %s: 'stillspan check DIR --plan %s' compares a dump with it\n", file, file)
	}
	return nil
}

// ask is the question that the options put.
func ask(v settings.Values) plan.Ask {
	move := settings.Move.Of(v)
	q := plan.Ask{
		Start: settings.Start.Of(v), MoveS: settings.MoveTime.Of(v), SettleS: settings.Settle.Of(v),
		CardsAtHand: settings.Cards.Of(v), BatteriesAtHand: settings.Batteries.Of(v),
		Frames: settings.Frames.Of(v), IntervalS: settings.Interval.Of(v), ShootingS: settings.Time.Of(v),
		Rate: settings.PlanRate.Of(v), ClipS: settings.Length.Of(v),
		ExposureS: settings.Exposure.Of(v), WriteS: settings.WriteTime.Of(v),
		Travel: move.Amount, TravelUnit: move.Unit,
		BytesPerFrame: settings.FrameSize.Of(v), CardBytes: settings.Card.Of(v),
		ShotsPerBattery: settings.Shots.Of(v), HoursPerBattery: settings.Hours.Of(v),
	}
	if settings.Location.Stated(v) {
		at := plan.Place(settings.Location.Of(v))
		q.Place = &at
	}
	if t, err := time.Parse("-07:00", settings.UTC.Of(v)); err == nil {
		_, s := t.Zone()
		d := time.Duration(s) * time.Second
		q.UTCOffset = &d
	}
	return q
}

// addShoot writes a new plan file, or adds the shoot to one that is there and
// leaves its other lines, comments too, as they are.
func addShoot(file string, s plan.Shoot) error {
	var entry bytes.Buffer
	old, err := os.ReadFile(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		err = plan.Write(&entry, &plan.File{Shoots: []plan.Shoot{s}})
	case err != nil:
		return fmt.Errorf("cannot read plan: %w", err)
	default:
		if _, err := plan.Load(file); err != nil {
			return withHint(err, "mend the file, or name another with -o")
		}
		entry.Write(bytes.TrimRight(old, "\n"))
		entry.WriteString("\n\n")
		err = plan.WriteShoot(&entry, s)
	}
	if err != nil {
		return err
	}
	if _, err := plan.Parse(entry.Bytes()); err != nil {
		return withHint(fmt.Errorf("cannot add the shoot to %q: %w", file, err), "another --name, or another file with -o")
	}
	return writeFile(file, func(w io.Writer) error { _, err := w.Write(entry.Bytes()); return err })
}
