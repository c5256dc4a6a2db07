package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"stillspan/assemble"
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
	fl.Func("size", "", func(s string) (err error) { r.Width, r.Height, err = parseSize(s); return err })
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
	o.keep = r.keep
	o.develops = r.Develops()
	o.ingest.PreferRaw = r.Raw == assemble.RawDevelop
}

func parseSize(s string) (w, h int, err error) {
	a, b, ok := strings.Cut(strings.ToLower(s), "x")
	if ok {
		var e1, e2 error
		w, e1 = strconv.Atoi(a)
		h, e2 = strconv.Atoi(b)
		if errors.Join(e1, e2) == nil && w > 0 && h > 0 {
			return w, h, nil
		}
	}
	return 0, 0, fmt.Errorf("%q is no size: write 1920x1080", s)
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
	if o.root, err = oneFolder(fl, rest); err != nil {
		return err
	}
	if *clip == "" {
		return usagef("render needs -o CLIP: where the clip is to be written")
	}
	if err := errors.Join(o.validate(), usage(rf.Validate())); err != nil {
		return err
	}
	if err := folderIsThere(o.root); err != nil {
		return err
	}
	if err := out.check(o.root); err != nil {
		return err
	}
	if inside, err := files.Inside(*clip, o.root); err != nil {
		return err
	} else if inside {
		return usagef("-o %q lies inside the folder of originals %q: choose a place outside it", *clip, o.root)
	}
	o.quiet, rf.pictures = out.quiet, out.html != ""
	rf.tell(&o)
	s, err := c.scan(ctx, o)
	if err != nil {
		return err
	}
	names, err := s.clipNames(*clip, rf.Options)
	if err != nil {
		return err
	}
	if err := refuseExisting(names, rf.Overwrite); err != nil && !rf.dryRun {
		return err
	}
	var failed []error
	for i := range s.dump.Sequences {
		if err := c.look(ctx, s, i); err != nil {
			return err
		}
		opt := rf.Options
		opt.Out = names[i]
		if rf.dryRun {
			if err := c.printCommands(ctx, s, i, opt); err != nil {
				return err
			}
			continue
		}
		if err := c.renderOne(ctx, s, i, &rf, opt); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if len(names) == 1 {
				return err
			}
			// One sequence's failure never stops another.
			err = fmt.Errorf("sequence %s: %w", s.dump.Sequences[i].ID, err)
			s.work[i].Warnings = append(s.work[i].Warnings, oneLine(err.Error()))
			failed = append(failed, err)
		}
	}
	if rf.dryRun {
		return nil
	}
	if out.html != "" {
		if err := s.strips(ctx); err != nil {
			return err
		}
	}
	r := s.report()
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
func (s *survey) clipNames(out string, opt assemble.Options) ([]string, error) {
	seqs := s.dump.Sequences
	if len(seqs) == 0 {
		return nil, withHint(fmt.Errorf("no sequence in %q: only %d loose stills", s.opt.root, len(s.dump.Loose)+len(s.dump.Unreadable)),
			"--min-frames lowers what counts as a sequence")
	}
	info, err := os.Stat(out)
	folder := strings.HasSuffix(out, "/") || strings.HasSuffix(out, string(filepath.Separator)) || err == nil && info.IsDir()
	if !folder {
		if len(seqs) > 1 {
			ids := make([]string, len(seqs))
			for i := range seqs {
				ids[i] = seqs[i].ID
			}
			return nil, withHint(usagef("%d sequences in %q, but one clip %q", len(seqs), s.opt.root, out),
				"--sequence with one of %s, or -o FOLDER/ for a clip of each", strings.Join(ids, ", "))
		}
		return []string{out}, nil
	}
	if err := os.MkdirAll(out, 0o777); err != nil {
		return nil, fmt.Errorf("cannot make folder for clips: %w", err)
	}
	names := make([]string, len(seqs))
	for i := range seqs {
		names[i] = filepath.Join(out, seqs[i].ID+s.job(i, opt).Ext())
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

// job makes what assemble needs of a measured sequence: sound frames with
// their corrections, and the gaps where frames are missing.
func (s *survey) job(i int, opt assemble.Options) assemble.Job {
	seq, w := &s.dump.Sequences[i], &s.work[i]
	opt.SourceRoot, opt.Rate, opt.Develop = s.opt.root, s.rate(i), s.develop[i]
	if shoot := s.shoot(i); shoot != nil {
		// What the plan says holds where the command line is at its default.
		def, r := assemble.DefaultOptions(), shoot.Render.Over(s.plan.Defaults)
		if r.Aspect != "" && opt.Aspect == def.Aspect {
			opt.Aspect = r.Aspect
		}
		if r.Codec != "" && opt.Codec == def.Codec {
			opt.Codec = r.Codec
		}
		if r.Gaps != "" && opt.GapMode == def.GapMode {
			opt.GapMode = assemble.GapMode(r.Gaps)
		}
		if w, h, err := parseSize(r.Size); err == nil && opt.Width == 0 {
			opt.Width, opt.Height = w, h
		}
	}
	job := assemble.Job{Options: opt}
	missing := map[int]int{} // after frame index
	for _, g := range seq.Timing.Gaps {
		if g.Cause != "number-skip" {
			missing[g.After] += g.Count
		}
	}
	lost := 0 // frames missing since the last sound one
	for k := range seq.Frames {
		if s.sound(i, k) {
			if lost > 0 && len(job.Sources) > 0 {
				job.Gaps = append(job.Gaps, assemble.Gap{After: len(job.Sources) - 1, Count: lost})
			}
			lost = 0
			f := &seq.Frames[k]
			src := assemble.Source{Path: f.Path, Format: f.Facts.Format, Raw: f.Facts.Raw}
			src.Width, src.Height, src.Orientation = f.Facts.Decoded()
			if n := len(f.Facts.Previews); n > 0 {
				src.Preview = &f.Facts.Previews[n-1]
			}
			if w.Measured && !w.Uncorrected {
				src.CorrectionEV = w.Result.CorrectionEV[k]
				if l := &s.local[i]; l.Use && l.EV[k] != nil {
					src.Field = &assemble.Field{W: l.W, H: l.H, EV: l.EV[k]}
				}
			}
			job.Sources = append(job.Sources, src)
		} else {
			lost++
		}
		lost += missing[k]
	}
	return job
}

func (c *cli) printCommands(ctx context.Context, s *survey, i int, opt assemble.Options) error {
	opt.Overwrite = true // nothing is written
	p, err := assemble.Prepare(ctx, s.job(i, opt))
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

// renderOne writes and verifies the clip of sequence i.
func (c *cli) renderOne(ctx context.Context, s *survey, i int, rf *renderFlags, opt assemble.Options) error {
	seq, w := &s.dump.Sequences[i], &s.work[i]
	job := s.job(i, opt)
	p, err := assemble.Prepare(ctx, job)
	if err != nil {
		return err
	}
	for _, n := range p.Notes() {
		s.note(c, n)
	}
	v, err := s.watch(p, job)
	if err != nil {
		return err
	}
	p.Accept = func(_ context.Context, clip assemble.Clip) error {
		if w.Flashes = flashesOf(v.check, clip.Rate); len(w.Flashes) == 0 {
			return nil
		}
		first := w.Flashes[0]
		if rf.noFlashes {
			return withHint(fmt.Errorf("the clip flashes more than the guideline allows, first at %s, and was not written", first.From),
				"smoothing or darkening the passage, or leaving --refuse-flashes out")
		}
		fmt.Fprintf(c.stderr, "stillspan: careful: the clip of %s flashes more than the guideline allows, first at %s\n", seq.ID, first.From)
		return nil
	}
	bar := c.progress("rendering "+seq.ID, len(job.Sources), s.opt.quiet)
	clip, err := p.Run(ctx, bar.set)
	bar.finish()
	if err != nil {
		return err
	}
	w.Clip, w.Rate, w.Gaps = &clip, clip.Rate, job.GapMode
	if !rf.pictures {
		return nil
	}
	return s.pairs(ctx, i, v, job, &clip)
}

// note tells the user something about the run once, and keeps it for the
// report.
func (s *survey) note(c *cli, text string) {
	if slices.Contains(s.warnings, text) {
		return
	}
	s.warnings = append(s.warnings, text)
	fmt.Fprintf(c.stderr, "stillspan: %s\n", oneLine(text))
}
