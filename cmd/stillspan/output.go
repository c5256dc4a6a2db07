package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"

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

// check refuses combinations that cannot be meant and files, more of them
// beside the faces, that would lie among the originals, before any work is done.
func (o *outputs) check(root string, more ...place) error {
	if o.json == "-" && o.csv == "-" {
		return usagef("--json - and --csv - cannot both go to standard output")
	}
	if o.html == "-" {
		return usagef("--html wants a file name: a page with pictures is no terminal output")
	}
	return outside(root, append([]place{{"--json", o.json}, {"--html", o.html}, {"--csv", o.csv}}, more...)...)
}

// place is a path that an option names to be written to.
type place struct{ flag, path string }

// outside refuses places within a folder of originals, and one named twice.
// What is not named and standard output lie nowhere.
func outside(root string, places ...place) error {
	seen := map[string]string{}
	for _, p := range places {
		if p.path == "" || p.path == "-" {
			continue
		}
		if other, twice := seen[filepath.Clean(p.path)]; twice {
			return usagef("%s and %s both name %q", other, p.flag, p.path)
		}
		seen[filepath.Clean(p.path)] = p.flag
		if inside, err := files.Inside(p.path, root); err != nil {
			return fmt.Errorf("%s: %w", p.flag, err)
		} else if inside {
			return usagef("%s %q lies inside the folder of originals %q: choose a place outside it", p.flag, p.path, root)
		}
	}
	return nil
}

// write gives the report its faces. The summary goes to stdout unless another
// face takes it.
func (o *outputs) write(c *cli, r *report.Report) error {
	if !o.quiet && o.json != "-" && o.csv != "-" {
		if err := report.WriteText(c.stdout, r, report.TextOptions{Width: c.width, Color: c.color}); err != nil {
			return fmt.Errorf("cannot print the summary: %w", err)
		}
	}
	for _, f := range []struct {
		path  string
		write func(io.Writer, *report.Report) error
	}{{o.json, report.WriteJSON}, {o.csv, report.WriteCSV}, {o.html, report.WriteHTML}} {
		if f.path == "" {
			continue
		}
		fill := func(w io.Writer) error { return f.write(w, r) }
		if f.path == "-" {
			if err := fill(c.stdout); err != nil {
				return fmt.Errorf("cannot write to standard output: %w", err)
			}
			continue
		}
		if err := writeFile(f.path, fill); err != nil {
			return err
		}
		if !o.quiet {
			fmt.Fprintf(c.stderr, "wrote %s\n", f.path)
		}
	}
	return nil
}

// writeFile writes a file whole or not at all.
func writeFile(path string, fill func(io.Writer) error) error {
	err := files.Write(path, fill)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission) {
		return withHint(err, "a folder that exists and may be written to")
	}
	return err
}
