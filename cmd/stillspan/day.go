package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"stillspan/assemble/day"
	"stillspan/internal/files"
	"stillspan/internal/settings"
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

// dayFlags are the options of a day.
type dayFlags struct {
	root   string // folder of originals
	out    outputs
	dir    string // --out
	on     string
	slurm  []string
	wait   bool
	logTo  string
	limits day.Limits
	// collect is set in the run that a cluster starts when its tasks have
	// ended: nothing is rendered any more.
	collect bool
}

func dayFlagsOf(root string, v settings.Values) dayFlags {
	return dayFlags{
		root: root, out: outputsOf(v), dir: settings.DayOut.Of(v), on: settings.Engine.Of(v), slurm: settings.Slurm.Of(v),
		wait: settings.Wait.Of(v), logTo: settings.LogJSON.Of(v), limits: day.Limits{Workers: settings.Jobs.Of(v)}, collect: settings.Collect.Of(v),
	}
}

// check refuses what cannot be meant, before anything is opened.
func (f *dayFlags) check() error {
	switch {
	case f.dir == "":
		return usagef("day needs --out DIR: where clips and pages go")
	case f.on == "local" && (len(f.slurm) > 0 || f.wait || f.collect):
		return usagef("--slurm and --wait belong to --on slurm")
	case f.logTo == "-" && (f.out.json == "-" || f.out.csv == "-"):
		return usagef("--log-json - and a report cannot both go to standard output")
	}
	if err := f.out.check(f.root); err != nil {
		return err
	}
	for _, p := range []struct{ flag, path string }{{"--out", f.dir}, {"--log-json", f.logTo}} {
		if p.path == "" || p.path == "-" {
			continue
		}
		if inside, err := files.Inside(p.path, f.root); err != nil {
			return fmt.Errorf("%s: %w", p.flag, err)
		} else if inside {
			return usagef("%s %q lies inside the folder of originals %q: choose a place outside it", p.flag, p.path, f.root)
		}
	}
	if inside, err := files.Inside(f.root, f.dir); err != nil {
		return err
	} else if inside {
		return usagef("the folder of originals %q lies inside --out %q: choose another place for the clips", f.root, f.dir)
	}
	return nil
}

func runDay(ctx context.Context, c *call) error {
	root, err := c.folder("day")
	if err != nil {
		return err
	}
	f := dayFlagsOf(root, c.stated)
	if err := f.check(); err != nil {
		return err
	}
	f.out.quiet = f.out.quiet || f.logTo == "-" // standard output is for programs
	settings.Quiet.Set(c.stated, f.out.quiet)
	// Tasks run elsewhere: they are told whole paths.
	for _, p := range []*string{&f.root, &f.dir} {
		if *p, err = filepath.Abs(*p); err != nil {
			return err
		}
	}
	log, err := openEventLog(c.cli, f.logTo)
	if err != nil {
		return err
	}
	defer log.close()
	d := &dayRun{call: c, flags: f, log: log}
	err = d.run(ctx)
	log.write("day-end", fields{"exit": exitOf(ctx, err), "error": textOf(err)})
	return err
}

// exitOf is the exit code the error is going to give.
func exitOf(ctx context.Context, err error) int {
	quiet := &cli{stdout: noWriter{}, stderr: noWriter{}}
	return quiet.exitCode(ctx, err)
}

type noWriter struct{}

func (noWriter) Write(p []byte) (int, error) { return len(p), nil }

func textOf(err error) string {
	if err == nil || errors.Is(err, errFindings) {
		return ""
	}
	return oneLine(err.Error())
}

// engine is where the tasks run.
func (d *dayRun) engine() (day.Engine, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("cannot find this program to start its tasks: %w", err)
	}
	if d.flags.on == "slurm" {
		return d.cluster(program), nil
	}
	return &day.Local{Program: program, Limits: d.flags.limits, Store: d.store, TempDir: d.store.TempDir()}, nil
}

func (d *dayRun) cluster(program string) *day.Slurm {
	return &day.Slurm{
		Program: program, Dir: d.store.ScriptDir(), Options: d.flags.slurm, AtOnce: d.flags.limits.Workers,
		Sees: []string{d.flags.root, d.flags.dir},
	}
}
