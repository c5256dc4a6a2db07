package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"stillspan/assemble/day"
	"stillspan/assemble/handover"
	"stillspan/assemble/shoot"
	"stillspan/internal/settings"
	"stillspan/report"
)

var dayCommand = command{
	name: "day", summary: "check and render every sequence of a day, unattended",
	usage: "DIR --out DIR [OPTIONS]",
	about: `Finds every sequence in a folder tree of stills, renders each to a clip in the
folder given with --out, and writes a page for each and one for the day. Run it
again after it was interrupted, the disk was full or the drive unplugged: clips
that are whole and still match their stills and settings are kept. Originals
are only read.
`,
	examples: `day /media/dump --out /media/clips --plan day.toml
day dump --out clips --preset edit --log-json day.log
day /shared/dump --out /shared/clips --on slurm --slurm --partition=night
`,
	exit: "0 all delivered as planned; 3 done, but a shoot has findings; 1 a\nclip could not be made; 2 bad usage; 130 interrupted.\n",
	run:  runDay,
}

var dayTaskCommand = command{
	name: "day-task", hidden: true, usage: "SPEC", about: "Runs one task of a day, as 'stillspan day' wrote it.\n",
	run: func(ctx context.Context, c *call) error {
		if len(c.args) != 1 {
			return usagef("day-task wants one file")
		}
		return day.RunTask(ctx, c.args[0], c.stdout)
	},
}

func runDay(ctx context.Context, c *call) error {
	root, err := c.folder("day")
	if err != nil {
		return err
	}
	out := outputsOf(c.stated)
	if err := c.checkDay(root, out); err != nil {
		return err
	}
	logTo := settings.LogJSON.Of(c.stated)
	out.quiet = out.quiet || logTo == "-" // standard output is for programs
	settings.Quiet.Set(c.stated, out.quiet)
	log, err := day.OpenLog(logTo, c.stdout, settings.Overwrite.Of(c.stated))
	if err != nil {
		return err
	}
	defer log.Close()
	o, err := c.dayOptions(root)
	if err != nil {
		return err
	}
	o.Log = log.Write
	err = c.day(ctx, o, out)
	text := ""
	if err != nil && !errors.Is(err, errFindings) {
		text = oneLine(err.Error())
	}
	log.Write("day-end", map[string]any{"exit": exitCode(ctx, err), "error": text})
	return err
}

// checkDay refuses what cannot be meant, before anything is opened.
func (c *call) checkDay(root string, out outputs) error {
	v := c.stated
	dir, logTo := settings.DayOut.Of(v), settings.LogJSON.Of(v)
	switch {
	case dir == "":
		return usagef("day needs --out DIR: where clips and pages go")
	case settings.Engine.Of(v) == "local" && forSlurm(v):
		return usagef("--slurm and --wait belong to --on slurm")
	case logTo == "-" && (out.json == "-" || out.csv == "-"):
		return usagef("--log-json - and a report cannot both go to standard output")
	}
	if err := c.checkOutputs(out, root, place{"--out", dir, ""}, place{"--log-json", logTo, ""}); err != nil {
		return err
	}
	if err := clipsApart(root, dir); err != nil {
		return err
	}
	return c.mayHandOver(dir, nil, dayPage, "day.json", "frames.csv")
}

func forSlurm(v settings.Values) bool {
	return settings.Slurm.Stated(v) || settings.Wait.Of(v) || settings.Collect.Of(v)
}

func (c *call) dayOptions(root string) (o day.Options, err error) {
	v := c.stated
	o = day.Options{
		Version: version(), Overwrite: settings.Overwrite.Of(v), Limits: day.Limits{Workers: settings.Jobs.Of(v)},
		Finish: append([]string{"day", "--collect"}, c.line...), Collect: settings.Collect.Of(v),
	}
	if o.Root, err = filepath.Abs(root); err != nil {
		return o, err
	}
	if o.Out, err = filepath.Abs(settings.DayOut.Of(v)); err != nil {
		return o, err
	}
	if o.Program, err = os.Executable(); err != nil {
		return o, fmt.Errorf("cannot find this program to start its tasks: %w", err)
	}
	if settings.Engine.Of(v) == "slurm" {
		o.Slurm = &day.Slurm{Options: settings.Slurm.Of(v)}
	}
	return o, nil
}

// day runs the day and writes its pages.
func (c *call) day(ctx context.Context, o day.Options, out outputs) error {
	d, err := day.Start(ctx, o)
	if err != nil {
		return err
	}
	defer d.Close()
	fail := func(err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return d.Explain(err)
	}
	o.Log("day-start", map[string]any{"dir": o.Root, "out": o.Out, "on": settings.Engine.Of(c.stated), "version": o.Version})
	f, err := c.find(ctx, o.Root)
	if err != nil {
		return fail(err)
	}
	if len(f.Shoots) == 0 {
		return f.NoShoots()
	}
	if err := c.readyDay(o, f); err != nil {
		return err
	}
	bar := c.course(f.Shoots, true)
	defer bar.finish()
	if err := d.Prepare(ctx, f.Shoots, func(ctx context.Context, s *shoot.Shoot) error { return measure(ctx, s, bar) }); err != nil {
		return fail(err)
	}
	err = d.Render(ctx, newDayBar(d, bar).event)
	bar.finish()
	switch {
	case err != nil:
		return fail(err)
	case d.Handed:
		return c.handedOver(ctx, d)
	}
	whole, err := c.writeDay(ctx, d, f)
	if err != nil {
		return fail(err)
	}
	if err := c.tell(out, whole); err != nil && !errors.Is(err, errFindings) || d.Err() == nil {
		return err
	}
	return d.Err()
}

// readyDay sees what is in the places of the pages before a day is rendered.
func (c *call) readyDay(o day.Options, f *shoot.Found) error {
	var pages []string
	frames := 0
	for _, s := range f.Shoots {
		pages = append(pages, s.Sequence.ID+".html")
		frames += len(s.Sequence.Frames)
	}
	if err := c.mayHandOver(o.Out, f.Shoots, pages...); err != nil {
		return err
	}
	o.Log("scanned", map[string]any{"sequences": len(f.Shoots), "frames": frames, "loose": len(f.Dump.Loose)})
	return nil
}

// handedOver tells where a cluster's work is to be found, and waits for it when
// that was asked for.
func (c *call) handedOver(ctx context.Context, d *day.Day) error {
	if !c.quiet() {
		fmt.Fprintf(c.stderr, "handed to the cluster; job %s collects the clips and writes %s\n", d.Job(), d.Path(dayPage))
	}
	if !settings.Wait.Of(c.stated) {
		return nil
	}
	code, err := d.Wait(ctx)
	if code == exitFindings {
		return errFindings
	}
	return err
}

// dayPage is the page of the whole day in the output folder.
const dayPage = "index.html"

// writeDay writes a page a sequence, the day's page, and the whole as data.
func (c *call) writeDay(ctx context.Context, d *day.Day, f *shoot.Found) (*report.Report, error) {
	for _, k := range d.Clips {
		if err := k.Shoot.TakeProof(ctx, d.Proof(k)); err != nil {
			return nil, err
		}
	}
	if err := takePictures(ctx, f); err != nil {
		return nil, err
	}
	whole := c.report(f)
	page := report.Day{Report: whole, Pages: map[string]string{}, Clips: map[string]string{}}
	fills := map[string]func(io.Writer) error{
		dayPage:      func(w io.Writer) error { return report.WriteDayHTML(w, page) },
		"day.json":   func(w io.Writer) error { return report.WriteJSON(w, whole) },
		"frames.csv": func(w io.Writer) error { return report.WriteCSV(w, whole) },
	}
	at := c.listPlaces(d.Out)
	for i, k := range d.Clips {
		id := k.Shoot.Sequence.ID
		page.Pages[id] = id + ".html"
		if k.Shoot.Rendered != nil {
			page.Clips[id] = k.Name
		}
		p := report.Page{Name: page.Pages[id], Day: dayPage}
		if err := c.writePage(d.Path(p.Name), whole.Only(i), p, at(p.Name)); err != nil {
			return nil, err
		}
	}
	for _, k := range d.Clips {
		if err := c.poster(ctx, k.Shoot, at(shoot.PosterName(k.Name))); err != nil {
			return nil, err
		}
	}
	lists, err := c.handOverDay(d)
	if err != nil {
		return nil, err
	}
	for name, text := range lists {
		fills[name] = func(w io.Writer) error { _, err := w.Write(text); return err }
	}
	for name, fill := range fills {
		if err := c.write(at(name), fill); err != nil {
			return nil, err
		}
	}
	return whole, nil
}

// dayMark is the mark of a page or a list of a day, where its form leaves room
// for one.
func dayMark(name string) string {
	switch {
	case strings.HasSuffix(name, ".jpg"):
		return shoot.PosterMark
	case strings.HasSuffix(name, ".html"):
		return report.MarkHTML
	case name == "day.json":
		return report.MarkJSON
	case name == "frames.csv":
		return report.MarkCSV
	case name == handover.Sums:
		return report.MarkSums
	}
	return ""
}

// handOverDay makes the lists that lie beside the clips.
func (c *call) handOverDay(d *day.Day) (map[string][]byte, error) {
	h := handover.Folder{Dir: d.Out, Title: filepath.Base(d.Root)}
	for _, k := range d.Clips {
		r := k.Shoot.Rendered
		if r == nil {
			continue
		}
		sum := k.SHA256
		if r.Clip.Timecode == "" { // may be an image sequence
			sum = ""
		}
		if err := handIn(&h, k.Shoot, k.HandOver(), sum); err != nil {
			return nil, err
		}
	}
	return c.lists(&h)
}
