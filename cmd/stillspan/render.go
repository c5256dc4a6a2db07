package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"stillspan/assemble"
	"stillspan/assemble/shoot"
	"stillspan/internal/files"
	"stillspan/internal/process"
)

var renderCommand = command{
	name: "render", summary: "check, smooth the flicker out and assemble the clip",
	help: `usage: stillspan render DIR -o CLIP [OPTIONS]

Does what check does, then corrects each frame in linear light, assembles the
clip with ffmpeg, and verifies it with ffprobe. With several sequences in DIR
pick one with --sequence, or end CLIP in / to have a clip of each written there.

  -o CLIP           the clip: .mp4, .mov, .mkv, or a folder name for an image
                    sequence; must lie outside DIR
  --overwrite       replace a clip that is there
  --refuse-flashes  write no clip that flashes more than the guideline allows
  --dry-run         print the exact ffmpeg commands and write nothing
` + renderHelp + surveyUsage() + outputHelp + `
examples:
  stillspan render dump -o dawn.mp4
  stillspan render dump --sequence 2026-05-01-0540 -o dawn.mov --preset edit
  stillspan render dump -o clips/ --rate 25 --aspect source --gaps blend
  stillspan render dump -o dawn.mp4 --dry-run
`,
	run: runRender,
}

const renderHelp = `  --preset NAME     delivery (H.264 4:2:0, the default), edit (ProRes 422 HQ),
                    proof (small and quick)
  --codec NAME      h264, h265, h265-10bit, prores-hq, prores-4444, dnxhr-hq,
                    av1, png, tiff
  --size WxH        size of the clip; default as large as the stills allow, up
                    to 3840 wide
  --aspect W:H      shape of the clip, or "source"; default 16:9
  --crop-at X,Y     where the crop lies, 0,0 top left to 1,1; default 0.5,0.5
  --gaps MODE       missing frames: leave, hold or blend; default leave
  --quality N       constant quality of h264, h265 and av1, lower is better
  --raw MODE        raw stills: develop (LibRaw) or preview (the embedded
                    JPEG); default develop where LibRaw is installed, but
                    preview for proofs, and the JPEG of RAW+JPEG pairs, whose
                    raw file 'develop' takes
  --no-deflicker    measure and report, but leave the light as shot
`

// renderFlags are the options of a clip.
type renderFlags struct {
	assemble.Options
	keep, dryRun, noFlashes bool
	pictures                bool // is there a page to show them on?
}

func (r *renderFlags) add(fl *flag.FlagSet) {
	r.Options = assemble.DefaultOptions()
	fl.StringVar(&r.Preset, "preset", r.Preset, "")
	fl.StringVar(&r.Codec, "codec", r.Codec, "")
	fl.Func("size", "", func(s string) (err error) { r.Width, r.Height, err = shoot.ParseSize(s); return err })
	fl.StringVar(&r.Aspect, "aspect", r.Aspect, "")
	fl.Func("crop-at", "", func(s string) (err error) { r.CropX, r.CropY, err = parsePoint(s); return err })
	fl.Func("gaps", "", func(s string) error { r.GapMode = assemble.GapMode(s); return nil })
	fl.IntVar(&r.Quality, "quality", 0, "")
	fl.Func("raw", "", func(s string) error { r.Raw = assemble.RawMode(s); return nil })
	fl.BoolVar(&r.Overwrite, "overwrite", false, "")
	fl.BoolVar(&r.keep, "no-deflicker", false, "")
	fl.BoolVar(&r.noFlashes, "refuse-flashes", false, "")
	fl.BoolVar(&r.dryRun, "dry-run", false, "")
}

// tell hands on what the survey has to know of the render.
func (r *renderFlags) tell(o *surveyOptions) {
	o.Clip = r.Options
	o.KeepFlicker = r.keep
	o.Develops = r.Develops()
	o.Ingest.PreferRaw = r.Raw == assemble.RawDevelop
}

func parsePoint(s string) (x, y float64, err error) {
	a, b, ok := strings.Cut(s, ",")
	if ok {
		var e1, e2 error
		x, e1 = strconv.ParseFloat(a, 64)
		y, e2 = strconv.ParseFloat(b, 64)
		if errors.Join(e1, e2) == nil && x >= 0 && x <= 1 && y >= 0 && y <= 1 {
			return x, y, nil
		}
	}
	return 0, 0, fmt.Errorf("%q is no place: write two numbers from 0 to 1, such as 0.5,0.3", s)
}

func runRender(ctx context.Context, c *cli, args []string) error {
	fl := newFlags("render")
	var o surveyOptions
	var out outputs
	var rf renderFlags
	o.add(fl)
	out.add(fl)
	rf.add(fl)
	clip := fl.String("o", "", "")
	rest, err := parse(fl, args)
	if err != nil {
		return err
	}
	if o.Root, err = oneFolder(fl, rest); err != nil {
		return err
	}
	if *clip == "" {
		return usagef("render needs -o CLIP: where the clip is to be written")
	}
	if err := errors.Join(o.validate(), usage(rf.Validate())); err != nil {
		return err
	}
	if err := shoot.FolderIsThere(o.Root); err != nil {
		return err
	}
	if err := out.check(o.Root); err != nil {
		return err
	}
	if inside, err := files.Inside(*clip, o.Root); err != nil {
		return err
	} else if inside {
		return usagef("-o %q lies inside the folder of originals %q: choose a place outside it", *clip, o.Root)
	}
	o.quiet, rf.pictures = out.quiet, out.html != ""
	rf.tell(&o)
	f, err := c.find(ctx, o)
	if err != nil {
		return err
	}
	names, err := clipNames(f, *clip)
	if err != nil {
		return err
	}
	if err := refuseExisting(names, rf.Overwrite); err != nil && !rf.dryRun {
		return err
	}
	var failed []error
	for i, s := range f.Shoots {
		if err := c.look(ctx, s, o.quiet); err != nil {
			return err
		}
		if rf.dryRun {
			if err := c.printCommands(ctx, s, names[i]); err != nil {
				return err
			}
			continue
		}
		if err := c.renderOne(ctx, f, s, &rf, names[i], o.quiet); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if len(names) == 1 {
				return err
			}
			// One sequence's failure never stops another.
			err = fmt.Errorf("sequence %s: %w", s.Sequence.ID, err)
			s.Warnings = append(s.Warnings, oneLine(err.Error()))
			failed = append(failed, err)
		}
	}
	if rf.dryRun {
		return nil
	}
	if out.html != "" {
		if err := f.strips(ctx); err != nil {
			return err
		}
	}
	r := f.report()
	if err := out.write(c, r); err != nil {
		return err
	}
	if len(failed) > 0 {
		return errors.Join(failed...)
	}
	if r.HasFindings() {
		return errFindings
	}
	return nil
}

// usage makes an error of a call that cannot be meant.
func usage(err error) error {
	if err == nil {
		return nil
	}
	return &usageError{oneLine(err.Error())}
}

// clipNames says where each sequence's clip goes.
func clipNames(f *findings, out string) ([]string, error) {
	if len(f.Shoots) == 0 {
		return nil, f.NoShoots()
	}
	info, err := os.Stat(out)
	folder := strings.HasSuffix(out, "/") || strings.HasSuffix(out, string(filepath.Separator)) || err == nil && info.IsDir()
	if !folder {
		if n := len(f.Shoots); n > 1 {
			ids := make([]string, n)
			for i, s := range f.Shoots {
				ids[i] = s.Sequence.ID
			}
			return nil, withHint(usagef("%d sequences in %q, but one clip %q", n, f.Dump.Root, out),
				"--sequence with one of %s, or -o FOLDER/ for a clip of each", strings.Join(ids, ", "))
		}
		return []string{out}, nil
	}
	if err := os.MkdirAll(out, 0o777); err != nil {
		return nil, fmt.Errorf("cannot make folder for clips: %w", err)
	}
	names := make([]string, len(f.Shoots))
	for i, s := range f.Shoots {
		names[i] = filepath.Join(out, s.Sequence.ID+s.Options.Clip.Ext())
	}
	return names, nil
}

func refuseExisting(names []string, overwrite bool) error {
	for _, n := range names {
		if _, err := os.Lstat(n); err == nil && !overwrite {
			return withHint(fmt.Errorf("%q is there already", n), "another name with -o, or --overwrite to replace it")
		} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("cannot write clip: %w", err)
		}
	}
	return nil
}

func (c *cli) printCommands(ctx context.Context, s *shoot.Shoot, out string) error {
	job := s.Job(out)
	job.Overwrite = true // nothing is written
	p, err := assemble.Prepare(ctx, job)
	if err != nil {
		return err
	}
	for _, args := range p.Commands() {
		if _, err := fmt.Fprintln(c.stdout, process.Quote(args...)); err != nil {
			return err
		}
	}
	return nil
}

// renderOne writes and verifies the clip of a shoot.
func (c *cli) renderOne(ctx context.Context, f *findings, s *shoot.Shoot, rf *renderFlags, out string, quiet bool) error {
	id := s.Sequence.ID
	bar := c.progress("rendering "+id, len(s.Sequence.Frames), quiet)
	defer bar.finish()
	return s.Render(ctx, out, shoot.RenderOptions{
		Pictures: rf.pictures, Progress: bar.set,
		Note: func(text string) { f.note(c, text) },
		Accept: func(r shoot.Rendered) error {
			if len(r.Flashes) == 0 {
				return nil
			}
			first := r.Flashes[0].Start
			if rf.noFlashes {
				return withHint(fmt.Errorf("the clip flashes more than the guideline allows, first at %s, and was not written", first),
					"smoothing or darkening the passage, or leaving --refuse-flashes out")
			}
			fmt.Fprintf(c.stderr, "stillspan: careful: the clip of %s flashes more than the guideline allows, first at %s\n", id, first)
			return nil
		},
	})
}
