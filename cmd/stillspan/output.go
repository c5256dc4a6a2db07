package main

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"stillspan/report"
)

// outputs are the faces of a report that were asked for.
type outputs struct {
	json, html, csv string
	quiet           bool
}

const outputHelp = `  --html FILE       write the report as one self-contained page
  --json FILE|-     write the report as JSON, - for standard output
  --csv FILE|-      write one row a frame as CSV, - for standard output
  --quiet           no summary and no progress; messages only
`

func (o *outputs) add(fs *flag.FlagSet) {
	fs.StringVar(&o.json, "json", "", "")
	fs.StringVar(&o.html, "html", "", "")
	fs.StringVar(&o.csv, "csv", "", "")
	fs.BoolVar(&o.quiet, "quiet", false, "")
}

// check refuses combinations that cannot be meant and files that would lie
// among the originals, before any work is done.
func (o *outputs) check(root string) error {
	if o.json == "-" && o.csv == "-" {
		return usagef("--json - and --csv - cannot both go to standard output")
	}
	if o.html == "-" {
		return usagef("--html wants a file name: a page with pictures is no terminal output")
	}
	seen := map[string]string{}
	for _, f := range []struct{ flag, path string }{{"--json", o.json}, {"--html", o.html}, {"--csv", o.csv}} {
		if f.path == "" || f.path == "-" {
			continue
		}
		if other, twice := seen[filepath.Clean(f.path)]; twice {
			return usagef("%s and %s both name %q", other, f.flag, f.path)
		}
		seen[filepath.Clean(f.path)] = f.flag
		if root == "" {
			continue
		}
		if inside, err := isInside(f.path, root); err != nil {
			return fmt.Errorf("%s: %w", f.flag, err)
		} else if inside {
			return usagef("%s %q lies inside the folder of originals %q: choose a place outside it", f.flag, f.path, root)
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

// writeFile writes to a temporary name in the same folder and renames when
// the file is whole and on the disk.
func writeFile(path string, fill func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".stillspan-*")
	if err != nil {
		return withHint(fmt.Errorf("cannot write %q: %w", path, err), "a folder that exists and may be written to")
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
			err = fmt.Errorf("cannot write %q: %w", path, err)
		}
	}()
	w := bufio.NewWriterSize(f, 1<<16)
	if err := fill(w); err != nil {
		return err
	}
	if err := errors.Join(w.Flush(), f.Chmod(0o644), f.Sync()); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// isInside tells whether path lies in folder root, links resolved as far as
// the path exists.
func isInside(path, root string) (bool, error) {
	r, err := resolve(root)
	if err != nil {
		return false, err
	}
	p, err := resolve(path)
	if err != nil {
		return false, err
	}
	rel, err := filepath.Rel(r, p)
	if err != nil {
		return false, nil
	}
	return rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)), nil
}

// resolve makes path absolute and follows links in the part that exists.
func resolve(path string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if real, err := filepath.EvalSymlinks(abs); err == nil {
		return real, nil
	}
	dir := filepath.Dir(abs)
	if dir == abs {
		return abs, nil
	}
	real, err := resolve(dir)
	return filepath.Join(real, filepath.Base(abs)), err
}
