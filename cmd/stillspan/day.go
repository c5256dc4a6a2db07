package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"stillspan/assemble/day"
	"stillspan/assemble/shoot"
	"stillspan/internal/files"
)

var dayCommand = command{
	name: "day", summary: "check and render every sequence of a day, unattended",
	help: `usage: stillspan day DIR --out DIR [OPTIONS]

Finds every sequence in a folder tree of stills, renders each to a clip in the
folder given with --out, and writes a page for each and one for the day. Run it
again after it was interrupted, the disk was full or the drive unplugged: clips
that are whole and still match their stills and settings are kept. Originals
are only read.

  --out DIR         where clips and pages go; made when it is not there
  --jobs N          renders at once; default chosen from cores and memory
  --on ENGINE       local (the default) or slurm: a cluster whose nodes see DIR
                    and --out under the same paths
  --slurm OPTION    pass OPTION to sbatch, such as --partition=night; may be
                    given more than once
  --wait            with slurm: stay until the day is done
  --log-json FILE|- write what happens as JSON, a line an event
` + renderHelp + surveyUsage() + outputHelp + `
examples:
  stillspan day /media/dump --out /media/clips --plan day.toml
  stillspan day dump --out clips --preset edit --log-json day.log
  stillspan day /shared/dump --out /shared/clips --on slurm --slurm --partition=night

Exit codes: 0 all delivered as planned; 3 done, but a shoot has findings; 1 a
clip could not be made; 2 bad usage; 130 interrupted.
`,
	run: runDay,
}

// dayFlags are the options of a day.
type dayFlags struct {
	survey surveyOptions
	render renderFlags
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

func (f *dayFlags) add(fl *flag.FlagSet) {
	f.survey.add(fl)
	f.render.add(fl)
	f.out.add(fl)
	fl.StringVar(&f.dir, "out", "", "")
	fl.StringVar(&f.on, "on", "local", "")
	fl.Func("slurm", "", func(s string) error {
		if !strings.HasPrefix(s, "-") {
			return errors.New("want an option of sbatch, such as --partition=night")
		}
		f.slurm = append(f.slurm, s)
		return nil
	})
	fl.BoolVar(&f.wait, "wait", false, "")
	fl.StringVar(&f.logTo, "log-json", "", "")
	fl.IntVar(&f.limits.Workers, "jobs", 0, "")
	fl.BoolVar(&f.collect, "collect", false, "")
}

// check refuses what cannot be meant, before anything is opened.
func (f *dayFlags) check() error {
	switch {
	case f.dir == "":
		return usagef("day needs --out DIR: where clips and pages go")
	case f.on != "local" && f.on != "slurm":
		return usagef("--on %q: must be local or slurm", f.on)
	case f.on == "local" && (len(f.slurm) > 0 || f.wait || f.collect):
		return usagef("--slurm and --wait belong to --on slurm")
	case f.survey.only != "":
		return usagef("--sequence belongs to check and render: a day is all its sequences")
	case f.render.dryRun || f.render.noFlashes:
		return usagef("--dry-run and --refuse-flashes belong to render")
	case f.logTo == "-" && (f.out.json == "-" || f.out.csv == "-"):
		return usagef("--log-json - and a report cannot both go to standard output")
	}
	if err := errors.Join(f.survey.validate(), usage(f.render.Validate()), usage(f.limits.Validate())); err != nil {
		return err
	}
	if err := shoot.FolderIsThere(f.survey.Root); err != nil {
		return err
	}
	if err := f.out.check(f.survey.Root); err != nil {
		return err
	}
	for _, p := range []struct{ flag, path string }{{"--out", f.dir}, {"--log-json", f.logTo}} {
		if p.path == "" || p.path == "-" {
			continue
		}
		if inside, err := files.Inside(p.path, f.survey.Root); err != nil {
			return fmt.Errorf("%s: %w", p.flag, err)
		} else if inside {
			return usagef("%s %q lies inside the folder of originals %q: choose a place outside it", p.flag, p.path, f.survey.Root)
		}
	}
	if inside, err := files.Inside(f.survey.Root, f.dir); err != nil {
		return err
	} else if inside {
		return usagef("the folder of originals %q lies inside --out %q: choose another place for the clips", f.survey.Root, f.dir)
	}
	return nil
}

func runDay(ctx context.Context, c *cli, args []string) error {
	fl := newFlags("day")
	var f dayFlags
	f.add(fl)
	rest, err := parse(fl, args)
	if err != nil {
		return err
	}
	if f.survey.Root, err = oneFolder(fl, rest); err != nil {
		return err
	}
	if err := f.check(); err != nil {
		return err
	}
	f.out.quiet = f.out.quiet || f.logTo == "-" // standard output is for programs
	f.survey.quiet = f.out.quiet
	f.render.tell(&f.survey)
	// Tasks run elsewhere: they are told whole paths.
	for _, p := range []*string{&f.survey.Root, &f.dir} {
		if *p, err = filepath.Abs(*p); err != nil {
			return err
		}
	}
	log, err := openEventLog(c, f.logTo)
	if err != nil {
		return err
	}
	defer log.close()
	d := &dayRun{cli: c, flags: f, log: log, args: args}
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
		Sees: []string{d.flags.survey.Root, d.flags.dir},
	}
}
