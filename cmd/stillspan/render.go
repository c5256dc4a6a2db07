package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"stillspan/assemble"
	"stillspan/assemble/handover"
	"stillspan/assemble/shoot"
	"stillspan/internal/files"
	"stillspan/internal/playback"
	"stillspan/internal/process"
	"stillspan/internal/settings"
)

var renderCommand = command{
	name: "render", summary: "check, smooth the flicker out and assemble the clip",
	usage: "DIR -o CLIP [OPTIONS]",
	about: `Does what check does, then corrects each frame in linear light, assembles the
clip with ffmpeg, and verifies it with ffprobe. With several sequences in DIR
pick one with --sequence, or end CLIP in / to have a clip of each written there.
`,
	examples: `render dump -o dawn.mp4
render dump --sequence 2026-05-01-0540 -o dawn.mov --preset edit
render dump -o clips/ --rate 25 --aspect source --gaps blend
render dump -o dawn.mp4 --dry-run
`,
	run: runRender,
}

func runRender(ctx context.Context, c *call) error {
	root, err := c.folder("render")
	if err != nil {
		return err
	}
	clip, out := settings.ClipOut.Of(c.stated), outputsOf(c.stated)
	if err := c.checkRender(root, clip, out); err != nil {
		return err
	}
	f, err := c.find(ctx, root)
	if err != nil {
		return err
	}
	names, err := clipNames(f, clip)
	if err != nil {
		return err
	}
	if settings.DryRun.Of(c.stated) {
		return c.printCommands(ctx, f, names)
	}
	if err := c.readyFor(f, names); err != nil {
		return err
	}
	if settings.HandOver.Of(c.stated) {
		if err := c.mayHandOver(clip, f.Shoots); err != nil {
			return err
		}
	}
	return c.renderAndTell(ctx, f, names, clip, out)
}

// renderAndTell makes the clips and what goes with them, then the report.
func (c *call) renderAndTell(ctx context.Context, f *shoot.Found, names []string, clip string, out outputs) error {
	proofs, err := c.proofs(out)
	if err != nil {
		return err
	}
	defer proofs.Close()
	failed, err := c.renderAll(ctx, f, names, proofs)
	if err != nil {
		return err
	}
	for i, s := range f.Shoots {
		path := shoot.PosterName(names[i])
		if err := c.poster(ctx, s, files.Place{Path: path, Mark: dayMark(path)}); err != nil {
			return err
		}
	}
	if settings.HandOver.Of(c.stated) {
		if err := c.handOver(clip, f); err != nil {
			return err
		}
	}
	if out.html != "" {
		for _, s := range f.Shoots {
			if err := s.TakeProof(ctx, proofs.of(s)); err != nil {
				return err
			}
		}
		if err := takePictures(ctx, f); err != nil {
			return err
		}
	}
	if err := c.tell(out, c.report(f)); err != nil && !errors.Is(err, errFindings) || failed == nil {
		return err
	}
	return failed
}

// checkRender refuses what cannot be meant, before anything is opened.
func (c *call) checkRender(root, clip string, out outputs) error {
	if clip == "" {
		return usagef("render needs -o CLIP: where the clip is to be written")
	}
	if settings.HandOver.Of(c.stated) && !intoFolder(clip) {
		return usagef("--hand-over lays its lists beside the clips: end -o in / to have a folder of them")
	}
	return c.checkOutputs(out, root, place{"-o", clip, ""})
}

// proofs is where the proofs of a page lie until it is written.
type proofs struct{ *files.Work }

// proofs makes room for the proofs of a page, where one was asked for.
func (c *call) proofs(out outputs) (proofs, error) {
	if out.html == "" {
		return proofs{}, nil
	}
	w, err := files.WorkInTemp()
	if err != nil {
		return proofs{}, fmt.Errorf("cannot make a folder for proofs: %w", err)
	}
	return proofs{w}, nil
}

// of is the place of a shoot's proof; empty where none is wanted.
func (p proofs) of(s *shoot.Shoot) string {
	if p.Work == nil {
		return ""
	}
	return p.Path(s.Sequence.ID + ".mp4")
}

func (p proofs) Close() {
	if p.Work != nil {
		p.Work.Close()
	}
}

// renderAll makes the clips one after the other. One that fails stops no
// other, and is failed beside those that were made.
func (c *call) renderAll(ctx context.Context, f *shoot.Found, names []string, proofs proofs) (failed, err error) {
	bar := c.course(f.Shoots, true)
	defer bar.finish()
	for i, s := range f.Shoots {
		done := s.DecodeAhead(ctx, names[i])
		err := measure(ctx, s, bar)
		if err == nil {
			err = c.renderOne(ctx, s, names[i], proofs.of(s), bar)
		}
		done()
		switch {
		case err == nil:
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case len(names) == 1:
			return nil, err
		default:
			err = fmt.Errorf("sequence %s: %w", s.Sequence.ID, err)
			s.Warnings = append(s.Warnings, oneLine(err.Error()))
			failed = errors.Join(failed, err)
		}
	}
	return failed, nil
}

// clipNames says where each sequence's clip goes.
func clipNames(f *shoot.Found, out string) ([]string, error) {
	if len(f.Shoots) == 0 {
		return nil, f.NoShoots()
	}
	var ids, names []string
	for i, name := range shoot.ClipNames(f.Shoots) {
		ids = append(ids, f.Shoots[i].Sequence.ID)
		names = append(names, filepath.Join(out, name))
	}
	if intoFolder(out) {
		return names, nil
	}
	if len(ids) > 1 {
		return nil, withHint(usagef("%d sequences in %q, but one clip %q", len(ids), f.Dump.Root, out),
			"--sequence with one of %s, or -o FOLDER/ for a clip of each", strings.Join(ids, ", "))
	}
	return []string{out}, nil
}

// intoFolder tells whether -o names a folder for clips: it is one, or says so.
func intoFolder(out string) bool {
	info, err := os.Stat(out)
	return strings.HasSuffix(out, "/") || strings.HasSuffix(out, string(filepath.Separator)) || err == nil && info.IsDir()
}

// readyFor makes the folder of several clips, and refuses what no clip can be
// written to, before anything is measured.
func (c *call) readyFor(f *shoot.Found, names []string) error {
	if strings.HasSuffix(settings.ClipOut.Of(c.stated), "/") {
		if err := os.MkdirAll(filepath.Dir(names[0]), 0o777); err != nil {
			return withHint(fmt.Errorf("cannot make a folder for the clips: %w", err), "a place that may be written to")
		}
	}
	for i, n := range names {
		dir := filepath.Dir(n)
		if info, err := os.Stat(dir); err != nil || !info.IsDir() {
			return withHint(fmt.Errorf("no folder %q for the clip %q", dir, n), "make it first, or name another")
		}
		if err := assemble.MayPlace(n, settings.Overwrite.Of(c.stated)); err != nil {
			return err
		}
		if err := f.Shoots[i].Job(n).Validate(); err != nil {
			return err
		}
		if settings.Poster.Stated(f.Shoots[i].Settings) {
			p := files.Place{Path: shoot.PosterName(n), Mark: shoot.PosterMark, Overwrite: settings.Overwrite.Of(c.stated)}
			if err := hinted(p.Check()); err != nil {
				return err
			}
		}
	}
	return nil
}

// printCommands prints what would be run, and writes nothing.
func (c *call) printCommands(ctx context.Context, f *shoot.Found, names []string) error {
	if err := c.measureAll(ctx, f); err != nil {
		return err
	}
	for i, s := range f.Shoots {
		commands, err := assemble.Commands(ctx, s.Job(names[i]))
		if err != nil {
			return err
		}
		for _, args := range commands {
			if _, err := fmt.Fprintln(c.stdout, process.Quote(args...)); err != nil {
				return err
			}
		}
	}
	return nil
}

// renderOne writes and verifies the clip of a shoot.
func (c *call) renderOne(ctx context.Context, s *shoot.Shoot, out, proof string, bar *course) error {
	id := s.Sequence.ID
	return s.Render(ctx, out, shoot.RenderOptions{
		Proof: proof, Progress: bar.counting("rendering "+id, renderUnits(s)), Note: c.note,
		Accept: func(r shoot.Rendered) error {
			if len(r.Flashes) == 0 {
				return nil
			}
			first := r.Flashes[0].Start
			if settings.Refuse.Of(c.stated) {
				return withHint(fmt.Errorf("the clip flashes more than the guideline allows, first at %s, and was not written", first),
					"smoothing or darkening the passage, or leaving --refuse-flashes out")
			}
			fmt.Fprintf(c.stderr, "stillspan: careful: the clip of %s flashes more than the guideline allows, first at %s\n", id, first)
			return nil
		},
	})
}

// poster writes a shoot's poster, if one was asked for and there is a clip.
func (c *call) poster(ctx context.Context, s *shoot.Shoot, at files.Place) error {
	data, err := s.Poster(ctx)
	if err != nil || data == nil {
		return err
	}
	return c.write(at, func(w io.Writer) error { _, err := w.Write(data); return err })
}

// handIn adds a shoot's clip to what is handed over, of that SHA-256 or empty to
// have it read, and its poster.
func handIn(h *handover.Folder, s *shoot.Shoot, clip handover.Clip, sum string) error {
	if err := h.Add(clip, sum); err != nil || !settings.Poster.Stated(s.Settings) {
		return err
	}
	return h.AddSums(shoot.PosterName(clip.File))
}

// handOver lays the lists into the folder of clips that were rendered.
func (c *call) handOver(dir string, f *shoot.Found) error {
	h := handover.Folder{Dir: dir, Title: filepath.Base(f.Dump.Root)}
	for _, s := range f.Shoots {
		if s.Rendered == nil {
			continue
		}
		name := filepath.Base(s.Rendered.Clip.File)
		if err := handIn(&h, s, s.HandOver(s.Job(""), name), ""); err != nil {
			return err
		}
	}
	lists, err := c.lists(&h)
	if err != nil {
		return err
	}
	at := c.listPlaces(dir)
	for name, text := range lists {
		p := at(name)
		if err := c.write(p, func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
			return err
		}
	}
	return nil
}

// listPlaces are the places of lists in a folder. Those of an earlier hand-over
// are known again by its list of checksums.
func (c *call) listPlaces(dir string) func(name string) files.Place {
	wrote := handover.Listed(dir)
	ours := func(path string) bool { return wrote[filepath.Base(path)] }
	return func(name string) files.Place {
		return files.Place{Path: filepath.Join(dir, name), Mark: dayMark(name), Ours: ours, Overwrite: settings.Overwrite.Of(c.stated)}
	}
}

// mayHandOver refuses what lies in the places of the lists of shoots, as far as
// these are known, and of what is named more, before a clip is made.
func (c *call) mayHandOver(dir string, shoots []*shoot.Shoot, more ...string) error {
	var rates []playback.Rate
	for _, s := range shoots {
		rates = append(rates, s.Rate)
	}
	at := c.listPlaces(dir)
	for _, name := range append(more, handover.Names(rates)...) {
		if err := hinted(at(name).Check()); err != nil {
			return err
		}
	}
	return nil
}

// lists are what lies beside clips that are handed over.
func (c *call) lists(h *handover.Folder) (map[string][]byte, error) {
	lists, notes, err := h.Lists()
	for _, n := range notes {
		c.note(n)
	}
	return lists, err
}
