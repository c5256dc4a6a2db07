package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"

	"stillspan/ingest/format"
	"stillspan/internal/files"
	"stillspan/internal/settings"
	"stillspan/report"
)

// outputs are the faces of a report that were asked for.
type outputs struct {
	json, html, csv string
	quiet           bool
}

func outputsOf(v settings.Values) outputs {
	return outputs{json: settings.JSON.Of(v), html: settings.HTML.Of(v), csv: settings.CSV.Of(v), quiet: settings.Quiet.Of(v)}
}

// check refuses combinations that cannot be meant and places, more of them
// beside the faces, where nothing may be written, before any work is done.
func (c *call) checkOutputs(o outputs, root string, more ...place) error {
	if o.json == "-" && o.csv == "-" {
		return usagef("--json - and --csv - cannot both go to standard output")
	}
	if o.html == "-" {
		return usagef("--html wants a file name: a page with pictures is no terminal output")
	}
	faces := []place{{"--json", o.json, report.MarkJSON}, {"--html", o.html, report.MarkHTML}, {"--csv", o.csv, report.MarkCSV}}
	return c.mayWrite([]string{root}, append(faces, more...)...)
}

// place is a path that an option names to be written to. mark is that of what
// is written there; place of clips and folders, which are asked for elsewhere,
// have none.
type place struct{ flag, path, mark string }

// isStill tells whether a file is a still by its first bytes.
func isStill(path string) bool {
	if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() {
		return false
	}
	f, info, err := files.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	facts, _ := format.Read(f, info.Size())
	return facts.Format != ""
}

// mayWrite refuses places within folders that are only read, one named twice,
// one that the command reads, photographs, and what the rule of package files leaves alone.
// What is not named and standard output lie nowhere.
func (c *call) mayWrite(roots []string, places ...place) error {
	var seen []place
	for _, p := range places {
		if p.path == "" || p.path == "-" {
			continue
		}
		for _, other := range seen {
			if files.OnePlace(other.path, p.path) {
				return usagef("%s and %s both name %q", other.flag, p.flag, p.path)
			}
		}
		seen = append(seen, p)
		if err := c.mayTake(roots, p); err != nil {
			return err
		}
		if p.mark != "" {
			if err := hinted(c.mayLie(p, places)); err != nil {
				return err
			}
		}
	}
	return nil
}

// mayLie refuses a place where something of others lies, or in a folder that
// is not there, unless it is one of places and is made.
func (c *call) mayLie(p place, places []place) error {
	if err := (files.Place{Path: p.path, Mark: p.mark, Overwrite: settings.Overwrite.Of(c.stated)}).Check(); err != nil {
		return err
	}
	dir := filepath.Dir(p.path)
	_, err := os.Stat(dir)
	if err == nil || slices.ContainsFunc(places, func(o place) bool { return o.mark == "" && o.path != "" && files.OnePlace(dir, o.path) }) {
		return nil
	}
	return fmt.Errorf("%s: cannot write %q: %w", p.flag, p.path, files.Cause(err))
}

// mayTake refuses a place that is only read, whatever lies there.
func (c *call) mayTake(roots []string, p place) error {
	for _, root := range roots {
		if err := p.outside(root); err != nil {
			return err
		}
	}
	for _, read := range []string{settings.PlanFile.Of(c.stated), settings.Copies.Of(c.stated), settings.Verify.Of(c.stated)} {
		if read != "" && files.OnePlace(read, p.path) {
			return usagef("%s %q is what the command reads: choose another place", p.flag, p.path)
		}
	}
	if settings.Overwrite.Of(c.stated) && isStill(p.path) {
		return usagef("%s %q is a photograph, which nothing is written over: choose another place", p.flag, p.path)
	}
	return nil
}

// outside refuses a place within the folder of originals.
func (p place) outside(root string) error {
	inside, err := files.Inside(p.path, root)
	switch {
	case err != nil:
		return fmt.Errorf("%s: %w", p.flag, err)
	case inside:
		return usagef("%s %q lies inside the folder of originals %q: choose a place outside it", p.flag, p.path, root)
	}
	return nil
}

// clipsApart refuses a folder for clips that holds the originals.
func clipsApart(root, out string) error {
	inside, err := files.Inside(root, out)
	if err == nil && inside {
		err = usagef("the folder of originals %q lies inside --out %q: choose another place for the clips", root, out)
	}
	return err
}

// write gives the report its faces. The summary goes to stdout unless another
// face takes it.
func (o *outputs) write(c *call, r *report.Report) error {
	if !o.quiet && o.json != "-" && o.csv != "-" {
		if err := report.WriteText(c.stdout, r, c.text()); err != nil {
			return fmt.Errorf("cannot print the summary: %w", err)
		}
	}
	for _, f := range []struct {
		path, mark string
		write      func(io.Writer, *report.Report) error
	}{{o.json, report.MarkJSON, report.WriteJSON}, {o.csv, report.MarkCSV, report.WriteCSV}, {o.html, report.MarkHTML, nil}} {
		if f.path == "" {
			continue
		}
		if f.write == nil {
			if err := c.writePage(f.path, r, report.Page{Name: filepath.Base(f.path)}, files.Place{}); err != nil {
				return err
			}
			if !o.quiet {
				fmt.Fprintf(c.stderr, "wrote %s\n", f.path)
			}
			continue
		}
		fill := func(w io.Writer) error { return f.write(w, r) }
		if f.path == "-" {
			if err := fill(c.stdout); err != nil {
				return fmt.Errorf("cannot write to standard output: %w", err)
			}
			continue
		}
		if err := c.write(files.Place{Path: f.path, Mark: f.mark}, fill); err != nil {
			return err
		}
		if !o.quiet {
			fmt.Fprintf(c.stderr, "wrote %s\n", f.path)
		}
	}
	return nil
}

// writePage writes a page and what has to lie beside it. What lies there is
// replaced where the page that is there named it.
func (c *call) writePage(path string, r *report.Report, p report.Page, like files.Place) error {
	var old []byte
	if f, _, err := files.Open(path); err == nil { // and no pipe, which nobody may write to
		old, _ = io.ReadAll(f)
		f.Close()
	}
	if !bytes.Contains(old[:min(len(old), 1<<10)], []byte(report.MarkHTML)) {
		old = nil
	}
	for _, a := range r.Asides(p) {
		place := like
		place.Path = filepath.Join(filepath.Dir(path), a.Name)
		place.Ours = func(string) bool { return bytes.Contains(old, []byte(url.PathEscape(a.Name))) }
		if err := c.write(place, func(w io.Writer) error { return a.Fill(w) }); err != nil {
			return err
		}
	}
	like.Path, like.Mark = path, report.MarkHTML
	return c.write(like, func(w io.Writer) error { return report.WriteHTML(w, r, p) })
}

// write writes to a place by the one rule of package files, and to none twice.
func (c *call) write(p files.Place, fill func(io.Writer) error) error {
	for _, other := range c.written {
		if files.OnePlace(other, p.Path) {
			return fmt.Errorf("cannot write %q: it was just written", p.Path)
		}
	}
	p.Overwrite = p.Overwrite || settings.Overwrite.Of(c.stated)
	if err := p.Write(fill); err != nil {
		return hinted(err)
	}
	c.written = append(c.written, p.Path)
	return nil
}

// hinted adds what to try where a place cannot be written to.
func hinted(err error) error {
	switch {
	case errors.Is(err, files.ErrThere):
		return withHint(err, "another name, or --overwrite to replace it")
	case errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission):
		return withHint(err, "a folder that exists and may be written to")
	}
	return err
}
