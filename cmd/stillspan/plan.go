package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"time"

	"stillspan/ingest/plan"
	"stillspan/internal/playback"
	"stillspan/report"
)

var planCommand = command{
	name: "plan", summary: "shooting arithmetic both ways; writes the plan that check reads",
	help: `usage: stillspan plan [OPTIONS]

Any two of frames, interval and shooting time give the third; with a playback
rate they give the length of the clip, and a clip length gives the frames.

  --frames N        stills to shoot
  --interval T      from one still to the next: 5, 2.5, 1/2, 36s
  --time T          shooting time: 25m, 1h30m
  --rate R          playback rate: 24, 25, 29.97, 24000/1001
  --clip T          length of the clip
  --exposure T      exposure time: 1/60, 2.5
  --write-time T    how long the camera is busy after an exposure
  --travel L        travel of rail or slider over the shoot: 1200mm, 1.2m,
                    48in; or of a turning head: 90deg
  --frame-size B    size of one still: 25MB
  --card B          size of one card: 64GB
  --battery-shots N shots one battery gives
  --battery-hours H hours one battery gives
  --name NAME       name of the shoot in the plan file
  --folder DIR      where its frames will lie in the dump
  --from T, --to T  window for the first frame by the camera's clock:
                    2026-05-01T05:40:00
  -o FILE           write a plan file; a FILE that is there gains the shoot
  --json FILE|-     the answer as JSON
  --html FILE, --csv FILE  belong to check and render; plan has neither
  --quiet           print nothing but messages

examples:
  stillspan plan --frames 300 --interval 5 --rate 24
  stillspan plan --time 3h --clip 10 --rate 30
  stillspan plan --clip 12.5 --rate 24 --interval 5 --travel 1.2m --exposure 2
  stillspan plan --frames 300 --interval 5 --rate 24 --name "harbour dawn" -o day.toml
`,
	run: runPlan,
}

func runPlan(_ context.Context, c *cli, args []string) error {
	fl := newFlags("plan")
	var q plan.Ask
	var shoot plan.Shoot
	var out outputs
	out.add(fl)
	fl.IntVar(&q.Frames, "frames", 0, "")
	seconds := func(name string, into *float64) {
		fl.Func(name, "", func(s string) (err error) { *into, err = plan.ParseSeconds(s); return err })
	}
	seconds("interval", &q.IntervalS)
	seconds("time", &q.ShootingS)
	seconds("clip", &q.ClipS)
	seconds("exposure", &q.ExposureS)
	seconds("write-time", &q.WriteS)
	fl.Func("rate", "", func(s string) (err error) { q.Rate, err = playback.ParseRate(s); return err })
	fl.Func("travel", "", func(s string) (err error) { q.Travel, q.TravelUnit, err = parseTravel(s); return err })
	fl.Func("frame-size", "", func(s string) (err error) { q.BytesPerFrame, err = parseBytes(s); return err })
	fl.Func("card", "", func(s string) (err error) { q.CardBytes, err = parseBytes(s); return err })
	fl.Float64Var(&q.ShotsPerBattery, "battery-shots", 0, "")
	fl.Float64Var(&q.HoursPerBattery, "battery-hours", 0, "")
	fl.StringVar(&shoot.Name, "name", "", "")
	fl.StringVar(&shoot.Folder, "folder", "", "")
	moment := func(name string, into *time.Time) {
		fl.Func(name, "", func(s string) (err error) { *into, err = parseMoment(s); return err })
	}
	moment("from", &shoot.From)
	moment("to", &shoot.To)
	file := fl.String("o", "", "")
	rest, err := parse(fl, args)
	if err != nil {
		return err
	}
	switch {
	case len(rest) > 0:
		return usagef("unexpected argument %q: plan takes options only", rest[0])
	case out.html != "" || out.csv != "":
		return usagef("plan has no --html or --csv: those are faces of check and render")
	case *file != "" && shoot.Name == "":
		return usagef("-o needs --name: what the shoot is called in the plan file")
	}
	answer, err := plan.Solve(q)
	if err != nil {
		return &usageError{err.Error()}
	}
	if *file != "" {
		shoot.Frames, shoot.IntervalS, shoot.ShootingS = answer.Frames, answer.IntervalS, answer.ShootingS
		shoot.Rate, shoot.ClipS, shoot.ExposureS = answer.Rate, answer.ClipS, answer.ExposureS
		if err := addShoot(*file, shoot); err != nil {
			return err
		}
	}
	if out.json != "" {
		fill := func(w io.Writer) error { return report.WritePlanJSON(w, answer) }
		if out.json == "-" {
			return fill(c.stdout)
		}
		if err := writeFile(out.json, fill); err != nil {
			return err
		}
	}
	if out.quiet {
		return nil
	}
	if err := report.WritePlanText(c.stdout, answer, report.TextOptions{Width: c.width, Color: c.color}); err != nil {
		return err
	}
	if *file != "" {
		fmt.Fprintf(c.stderr, "wrote %s: 'stillspan check DIR --plan %s' compares a dump with it\n", *file, *file)
	}
	return nil
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

// parseTravel reads a length with its unit, in mm, or an angle in degrees.
func parseTravel(s string) (float64, string, error) {
	for _, u := range []struct {
		suffix string
		factor float64
		unit   string
	}{{"deg", 1, "deg"}, {"mm", 1, "mm"}, {"cm", 10, "mm"}, {"in", 25.4, "mm"}, {"ft", 304.8, "mm"}, {"m", 1000, "mm"}} {
		if n, ok := strings.CutSuffix(strings.ToLower(strings.TrimSpace(s)), u.suffix); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(n), 64)
			if err != nil || !(v > 0) || v > 1e9 {
				break
			}
			return v * u.factor, u.unit, nil
		}
	}
	return 0, "", fmt.Errorf("%q is no travel: write 1200mm, 1.2m, 48in or 90deg", s)
}

// parseBytes reads a size in decimal units, as cards are sold.
func parseBytes(s string) (float64, error) {
	t := strings.ToUpper(strings.TrimSpace(s))
	factor := 1.0
	for _, u := range []struct {
		suffix string
		factor float64
	}{{"TB", 1e12}, {"GB", 1e9}, {"MB", 1e6}, {"KB", 1e3}, {"B", 1}} {
		if n, ok := strings.CutSuffix(t, u.suffix); ok {
			t, factor = strings.TrimSpace(n), u.factor
			break
		}
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || !(v > 0) || v*factor > 1e18 {
		return 0, fmt.Errorf("%q is no size: write 25MB or 64GB", s)
	}
	return v * factor, nil
}

// parseMoment reads a moment by the camera's clock.
func parseMoment(s string) (time.Time, error) {
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02 15:04"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("%q is no moment: write 2026-05-01T05:40:00", s)
}
