package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"stillspan/assemble/day"
	"stillspan/assemble/handover"
	"stillspan/assemble/shoot"
	"stillspan/ingest/copycheck"
	"stillspan/internal/files"
)

// handOver makes the lists that lie beside clips for an editor, by file name.
// sums are those of the clips.
func (c *call) handOver(title string, clips []handover.Clip, sums []copycheck.Sum) (map[string][]byte, error) {
	timeline, err := handover.Timeline(title, clips)
	if err != nil {
		return nil, err
	}
	all := map[string][]byte{"clips.otio": timeline, "stills.csv": handover.Table(clips)}
	lists, left := handover.EditLists(title, clips)
	for _, l := range lists {
		all[l.Name] = l.Text
	}
	if len(left) > 0 {
		c.note("in no edit list, for want of a time code at their rate or of room: " + strings.Join(left, ", "))
	}
	for name, text := range all {
		sums = append(sums, copycheck.Sum{SHA256: sha256.Sum256(text), Name: name})
	}
	slices.SortFunc(sums, func(a, b copycheck.Sum) int { return strings.Compare(a.Name, b.Name) })
	var list bytes.Buffer
	err = copycheck.WriteSums(&list, sums)
	all["SHA256SUMS"] = list.Bytes()
	return all, err
}

// renderHandOver lays the lists into the folder of clips that were rendered.
func (c *call) renderHandOver(dir string, f *shoot.Found) error {
	var clips []handover.Clip
	var sums []copycheck.Sum
	for _, s := range f.Shoots {
		if s.Rendered == nil {
			continue
		}
		name := filepath.Base(s.Rendered.Clip.File)
		clips = append(clips, s.HandOver(s.Job(""), name))
		more, err := sumsOf(dir, name)
		if err != nil {
			return err
		}
		sums = append(sums, more...)
	}
	all, err := c.handOver(filepath.Base(f.Dump.Root), clips, sums)
	if err != nil {
		return err
	}
	for name, text := range all {
		err := writeFile(filepath.Join(dir, name), func(w io.Writer) error { _, err := w.Write(text); return err })
		if err != nil {
			return err
		}
	}
	return nil
}

// dayHandOver adds the lists of a day's clips to what is written into its
// folder.
func (c *call) dayHandOver(d *day.Day, fills map[string]func(io.Writer) error) error {
	var clips []handover.Clip
	var sums []copycheck.Sum
	for _, k := range d.Clips {
		if k.Shoot.Rendered == nil {
			continue
		}
		clips = append(clips, k.HandOver())
		if k.Shoot.Rendered.Clip.Timecode == "" { // may be an image sequence
			more, err := sumsOf(d.Out, k.Name)
			if err != nil {
				return err
			}
			sums = append(sums, more...)
			continue
		}
		sum := copycheck.Sum{Name: k.Name}
		if _, err := hex.Decode(sum.SHA256[:], []byte(k.SHA256)); err != nil {
			return fmt.Errorf("checksum of %q: %w", k.Name, err)
		}
		sums = append(sums, sum)
	}
	all, err := c.handOver(filepath.Base(d.Root), clips, sums)
	if err != nil {
		return err
	}
	for name, text := range all {
		fills[name] = func(w io.Writer) error { _, err := w.Write(text); return err }
	}
	return nil
}

// sumsOf reads a clip, or the images of one, to the end.
func sumsOf(dir, name string) (sums []copycheck.Sum, err error) {
	err = filepath.WalkDir(filepath.Join(dir, name), func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		f, _, err := files.Open(p)
		if err != nil {
			return err
		}
		defer f.Close()
		h := sha256.New()
		if _, err := io.Copy(h, f); err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, p)
		s := copycheck.Sum{Name: filepath.ToSlash(rel)}
		copy(s.SHA256[:], h.Sum(nil))
		sums = append(sums, s)
		return err
	})
	if os.IsNotExist(err) {
		return nil, fmt.Errorf("clip %q went away: %w", name, err)
	}
	return sums, err
}
