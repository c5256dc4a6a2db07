package ingest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"stillspan/ingest/format"
	"stillspan/internal/files"
	"stillspan/internal/problem"
)

var (
	videoExt = set("mov", "mp4", "m4v", "avi", "mts", "m2ts", "mpg", "mpeg", "3gp", "mkv", "mxf", "webm")
	sideExt  = set("xmp", "thm", "dop", "pp3", "aae", "lrv", "ctg", "cos", "on1", "wav", "xml", "gpx")
)

// kept are folders that storage devices keep for themselves: thumbnails and what
// was thrown away (common practice, no published source).
var kept = set("@eadir", "@recycle", "#recycle", "$recycle.bin", "recycler", "__macosx", "system volume information", "lost+found")

func set(words ...string) map[string]bool {
	m := make(map[string]bool, len(words))
	for _, w := range words {
		m[w] = true
	}
	return m
}

// tree is what the walk found.
type tree struct {
	files   []Frame // stills and raw files, in name order, not yet read
	movies  []Frame // their numbers are of the same counter
	broken  []Frame // folders and files that cannot be opened, things that are no files
	links   []Frame // linked files, taken last
	ignored map[string]int

	preferRaw bool // as Options.PreferRaw
}

// walk lists the stills under root without opening any. Linked folders are
// not followed, so a loop of links cannot hold it; a linked file counts once,
// unless the file itself lies in the tree too.
func walk(ctx context.Context, root string) (*tree, error) {
	info, err := os.Stat(root)
	if err != nil {
		return nil, fmt.Errorf("cannot read the folder %q: %w", root, files.Cause(err))
	}
	if !info.IsDir() {
		return nil, fmt.Errorf("%q is a file, not a folder of stills", root)
	}
	// The root itself may be a link; its target is walked.
	start, err := filepath.EvalSymlinks(root)
	if err != nil {
		return nil, fmt.Errorf("cannot read the folder %q: %w", root, files.Cause(err))
	}
	t := &tree{ignored: make(map[string]int)}
	err = filepath.WalkDir(start, func(path string, entry fs.DirEntry, err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		rel, relErr := filepath.Rel(start, path)
		if relErr != nil {
			return relErr
		}
		f := Frame{Path: filepath.Join(root, rel), Name: filepath.ToSlash(rel), Number: -1}
		if err != nil {
			if path == start {
				return fmt.Errorf("cannot read the folder %q: %w", root, files.Cause(err))
			}
			f.Problem = problem.Unread(err)
			t.broken = append(t.broken, f)
			return nil
		}
		if path == start {
			return nil
		}
		return t.take(f, entry)
	})
	if err != nil {
		return nil, err
	}
	t.addLinks(start)
	return t, nil
}

// take lists what the walk comes upon, or counts it under why it is left alone.
func (t *tree) take(f Frame, entry fs.DirEntry) error {
	kind := ignoredKind(entry.Name())
	switch {
	case strings.HasPrefix(entry.Name(), "."), entry.IsDir() && kept[strings.ToLower(entry.Name())]:
		t.ignored["hidden"]++
		if entry.IsDir() {
			return filepath.SkipDir
		}
	case entry.IsDir():
	case kind != "":
		t.ignored[kind]++
		if kind == "video" {
			t.movies = append(t.movies, f)
		}
	case entry.Type()&fs.ModeSymlink != 0:
		t.links = append(t.links, f)
	default:
		t.add(f, entry.Info)
	}
	return nil
}

// ignoredKind is the kind under which a file is counted and left alone, or
// empty for a still.
func ignoredKind(name string) string {
	if _, still := format.BySuffix(name); still {
		return ""
	}
	switch ext := extension(name); {
	case videoExt[ext]:
		return "video"
	case sideExt[ext]:
		return "sidecar"
	}
	return "other"
}

func extension(name string) string {
	return strings.ToLower(strings.TrimPrefix(filepath.Ext(name), "."))
}

func isRaw(name string) bool {
	f, _ := format.BySuffix(name)
	return f.Raw
}

// add lists a file, or as broken what is no regular file: a pipe or a device
// is never opened, since that could block for ever.
func (t *tree) add(f Frame, stat func() (fs.FileInfo, error)) {
	info, err := stat()
	switch {
	case err != nil:
		f.Problem = problem.Unread(err)
		t.broken = append(t.broken, f)
	case !info.Mode().IsRegular():
		f.Problem = problem.Unread(files.ErrNotRegular)
		t.broken = append(t.broken, f)
	default:
		f.Size, f.ModTime = info.Size(), info.ModTime()
		t.files = append(t.files, f)
	}
}

// addLinks lists linked files. start is the folder walked, free of links.
func (t *tree) addLinks(start string) {
	if len(t.links) == 0 {
		return
	}
	seen := make(map[string]bool, len(t.files)+len(t.links))
	for i := range t.files {
		seen[filepath.Join(start, filepath.FromSlash(t.files[i].Name))] = true
	}
	for _, f := range t.links {
		target, err := filepath.EvalSymlinks(f.Path)
		var info fs.FileInfo
		if err == nil {
			info, err = os.Stat(target)
		}
		switch {
		case errors.Is(err, fs.ErrNotExist):
			f.Problem = &Problem{Kind: "unreadable", Text: "it is a link that leads nowhere", Try: "copy the file itself into the folder"}
			t.broken = append(t.broken, f)
		case err == nil && info.IsDir():
			t.ignored["other"]++
		case err == nil && seen[target]:
			t.ignored["copy"]++
		default:
			t.add(f, func() (fs.FileInfo, error) { return info, err })
			seen[target] = true
		}
	}
}

// pair joins raw and picture of one shot (same folder and base name) into one
// frame. The JPEG is opened where there is one, unless raw is preferred.
func (t *tree) pair() []Frame {
	at := make(map[string]int, len(t.files))
	var frames []Frame
	for _, f := range t.files {
		key := strings.ToLower(strings.TrimSuffix(f.Name, filepath.Ext(f.Name)))
		i, found := at[key]
		if !found {
			at[key] = len(frames)
			frames = append(frames, f)
			continue
		}
		have := &frames[i]
		switch {
		case t.pairUp(have, f):
		case isRaw(f.Name) == isRaw(have.Name) && extension(f.Name) != extension(have.Name):
			t.ignored["copy"]++ // JPEG beside HEIF: one shot written twice
			if is, _ := format.BySuffix(f.Name); is.Decoder == format.JPEG {
				f.Raw = have.Raw
				frames[i] = f
			}
		default:
			frames = append(frames, f)
		}
	}
	return frames
}

// pairUp makes one frame of a raw file and a picture of one shot. It reports
// whether f and have are such a pair, and neither had its other half before.
func (t *tree) pairUp(have *Frame, f Frame) bool {
	newRaw, haveRaw := isRaw(f.Name), isRaw(have.Name)
	companion := "raw companion"
	switch {
	case newRaw == haveRaw:
		return false
	case t.preferRaw:
		companion = "picture companion"
		if newRaw {
			f.Picture = have.Path
			*have = f
		} else {
			have.Picture = f.Path
		}
	case newRaw && have.Raw == "":
		have.Raw = f.Path
	case haveRaw && f.Raw == "":
		f.Raw = have.Path
		*have = f
	default:
		return false
	}
	t.ignored[companion]++
	return true
}
