package assemble

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"stillspan/internal/files"
)

// beside claims the folder of work for the clip. Two runs that make one clip
// would take each other's parts.
func (p *Pipeline) beside() (*files.Work, error) {
	w, err := files.WorkBeside(p.job.Out)
	switch {
	case errors.Is(err, files.ErrLocked):
		return nil, &Error{Text: fmt.Sprintf("another run is making %q", p.job.Out), Try: "wait for it, or another name", Err: err}
	case err != nil:
		return nil, &Error{Text: fmt.Sprintf("cannot write in %q", filepath.Dir(p.job.Out)), Err: files.Cause(err)}
	}
	return w, nil
}

// unfinished is what the clip is called in the folder of work: a file, or a
// folder for an image sequence.
func (p *Pipeline) unfinished(w *files.Work) (string, error) {
	if p.codec.Image == "" {
		return w.Path("clip" + filepath.Ext(p.job.Out)), nil
	}
	dir := w.Path("frames")
	return dir, os.Mkdir(dir, 0o755)
}

// place is where the clip is to lie.
func (p *Pipeline) place() files.Place {
	return files.Place{Path: p.job.Out, Overwrite: p.job.Overwrite}
}

// MayPlace tells why a clip may not be put at the path: something is there that
// is not to be overwritten, or is no clip.
func MayPlace(path string, overwrite bool) error {
	info, err := os.Lstat(path)
	if err == nil && info.IsDir() {
		return mayReplaceImages(path, overwrite)
	}
	if err := (files.Place{Path: path, Overwrite: overwrite}).Check(); err != nil {
		return thereAlready(path, err)
	}
	if err == nil && !info.Mode().IsRegular() {
		return &Error{Text: fmt.Sprintf("%q is no file: a clip cannot be written to it", path), Try: "another name"}
	}
	return nil
}

func thereAlready(path string, err error) error {
	if errors.Is(err, files.ErrThere) {
		return &Error{Text: fmt.Sprintf("%q is there already", path), Try: "another name, or --overwrite to replace it"}
	}
	return &Error{Text: fmt.Sprintf("cannot write the clip %q", path), Try: "another name", Err: err}
}

// publish makes sure the clip is on the disk, then gives it its name.
func (p *Pipeline) publish(w *files.Work, tmp string) error {
	if err := files.Sync(tmp); err != nil {
		return &Error{Text: "cannot write the clip to the disk", Err: err}
	}
	var err error
	if p.codec.Image != "" {
		err = putImages(w, tmp, p.job.Out, p.job.Overwrite)
	} else if err = os.Chmod(tmp, 0o644); err == nil {
		err = p.place().Put(tmp)
	}
	if err != nil {
		return thereAlready(p.job.Out, err)
	}
	return files.Sync(filepath.Dir(p.job.Out))
}

// imageList is the file in the folder of an image sequence that names its
// images, so that no run ever removes what none has written.
const imageList = files.TempPrefix + "frames"

const imageListHead = "stillspan frames"

// images are the images of a sequence that was just written.
func images(dir string) ([]os.DirEntry, error) {
	entries, err := os.ReadDir(dir)
	if len(entries) > 0 && entries[0].Name() == imageList {
		entries = entries[1:]
	}
	return entries, err
}

// listImages names the images of a sequence in its folder.
func listImages(dir string) error {
	entries, err := images(dir)
	if err != nil {
		return err
	}
	var b strings.Builder
	b.WriteString(imageListHead + "\n")
	for _, e := range entries {
		b.WriteString(e.Name() + "\n")
	}
	return files.WriteLight(filepath.Join(dir, imageList), []byte(b.String()))
}

// listed are the images that an earlier run wrote into a folder; nil where none
// did.
func listed(dir string) map[string]bool {
	f, _, err := files.Open(filepath.Join(dir, imageList))
	if err != nil {
		return nil
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	if !lines.Scan() || lines.Text() != imageListHead {
		return nil
	}
	names := map[string]bool{imageList: true}
	for lines.Scan() {
		if name := lines.Text(); filepath.Base(name) == name {
			names[name] = true
		}
	}
	return names
}

// mayReplaceImages tells why a folder may not be replaced by an image sequence:
// it is not to be, or holds what no earlier run wrote.
func mayReplaceImages(dir string, overwrite bool) error {
	if !overwrite {
		return &Error{Text: fmt.Sprintf("%q is there already", dir), Try: "another name, or --overwrite to replace it"}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	ours := listed(dir)
	for _, e := range entries {
		if !ours[e.Name()] || !e.Type().IsRegular() {
			return &Error{Text: fmt.Sprintf("%q holds %q, which no earlier run wrote", dir, e.Name()), Try: "another folder"}
		}
	}
	return nil
}

// putImages gives a folder of images its name. An older one is set aside first
// and removed last; what is not of an earlier run is put back.
func putImages(w *files.Work, tmp, out string, overwrite bool) error {
	err := files.RenameNew(tmp, out)
	if !errors.Is(err, fs.ErrExist) {
		return err
	}
	if info, err := os.Lstat(out); err != nil || !info.IsDir() {
		return errors.Join(files.ErrThere, err)
	}
	if err := mayReplaceImages(out, overwrite); err != nil {
		return err
	}
	old := w.Path("old")
	if err := files.Rename(out, old); err != nil {
		return err
	}
	if err := files.RenameNew(tmp, out); err != nil {
		return errors.Join(err, files.RenameNew(old, out))
	}
	ours := listed(old)
	entries, err := os.ReadDir(old)
	for _, e := range entries {
		if !ours[e.Name()] || !e.Type().IsRegular() { // put there meanwhile
			err = errors.Join(err, files.RenameNew(filepath.Join(old, e.Name()), filepath.Join(out, e.Name())))
		}
	}
	return err
}

// RemoveImages removes an image sequence that an earlier run wrote, and nothing
// else: the error says what is in the way.
func RemoveImages(dir string) error {
	if err := mayReplaceImages(dir, true); err != nil {
		return err
	}
	for name := range listed(dir) {
		if err := os.Remove(filepath.Join(dir, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return os.Remove(dir)
}
