package copycheck

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"stillspan/ingest/format"
	"stillspan/internal/files"
)

// bufferBytes is read at a time: large enough that the disk, not the number of
// calls, sets the pace.
const bufferBytes = 1 << 20

// tree is one folder and the regular files in it.
type tree struct {
	given, root string // as given, and with links resolved
	info        os.FileInfo
	files       []file
	problems    []Problem
	leftOut     int
}

type file struct {
	name   string // slash-separated, relative to the root
	size   int64
	info   os.FileInfo
	read   bool // to be hashed
	hashed bool
	sum    [sha256.Size]byte
}

func openTree(dir string) (*tree, error) {
	root, err := filepath.EvalSymlinks(dir)
	if err == nil {
		root, err = filepath.Abs(root)
	}
	if err != nil {
		return nil, fmt.Errorf("cannot open folder %q: %w", dir, files.Cause(err))
	}
	info, err := os.Stat(root)
	if err != nil {
		return nil, fmt.Errorf("cannot open folder %q: %w", dir, files.Cause(err))
	}
	if !info.IsDir() {
		return nil, fmt.Errorf("%q is no folder", dir)
	}
	return &tree{given: dir, root: root, info: info}, nil
}

// list finds the regular files. Links are not followed, so that none can lead
// in circles or off the card; pipes and devices hold nothing to copy. Litter is
// left out, but for what is a picture by its content: systems mend cards into
// such folders, and a name is no proof.
func (t *tree) list(ctx context.Context, litter bool) error {
	within := "" // the folder of litter that is being walked
	return filepath.WalkDir(t.root, func(p string, e fs.DirEntry, err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		name := t.relative(p)
		if within != "" && !strings.HasPrefix(name, within+"/") {
			within = ""
		}
		if within == "" && !litter && name != "." && e.IsDir() && isLitter(e) {
			within = name
		}
		switch {
		case err != nil && name == ".":
			return fmt.Errorf("cannot read folder %q: %w", t.given, files.Cause(err))
		case err != nil && within != "" && path.Base(within) != "lost+found":
			t.leftOut++ // systems keep these to themselves
			return nil
		case err != nil:
			t.problem(name, "cannot be read: %v", files.Cause(err))
			return nil
		case e.IsDir():
			return nil
		case !e.Type().IsRegular(), !litter && (within != "" || isLitter(e)) && !isPicture(p):
			t.leftOut++
			return nil
		}
		// What a folder of Windows tells of a file does not identify it everywhere.
		info, err := os.Lstat(p)
		if err != nil {
			t.problem(name, "cannot be read: %v", files.Cause(err))
			return nil
		}
		t.files = append(t.files, file{name: name, size: info.Size(), info: info})
		return nil
	})
}

// isPicture tells whether a file is a picture or a film by its content, or may
// be one, since it cannot be read.
func isPicture(name string) bool {
	f, info, err := files.Open(name)
	if err != nil {
		return !errors.Is(err, files.ErrNotRegular)
	}
	defer f.Close()
	facts, _ := format.Read(f, info.Size())
	if facts.Format != "" {
		return true
	}
	var head [8]byte
	_, err = f.ReadAt(head[:], 0)
	return err == nil && string(head[4:]) == "ftyp" // ISO/IEC 14496-12
}

// isLitter tells what desktop systems write on every card put into them: index
// and trash folders, window positions, AppleDouble companions (RFC 1740).
func isLitter(e fs.DirEntry) bool {
	if e.IsDir() {
		switch e.Name() {
		case ".Spotlight-V100", ".fseventsd", ".TemporaryItems", ".DocumentRevisions-V100",
			"System Volume Information", "$RECYCLE.BIN", "lost+found":
			return true
		}
		return false
	}
	switch strings.ToLower(e.Name()) {
	case ".ds_store", "thumbs.db", "desktop.ini", ".metadata_never_index":
		return true
	}
	return strings.HasPrefix(e.Name(), "._")
}

func (t *tree) relative(p string) string {
	rel, err := filepath.Rel(t.root, p)
	if err != nil {
		return filepath.ToSlash(p)
	}
	return filepath.ToSlash(rel)
}

func (t *tree) problem(name, format string, args ...any) {
	t.problems = append(t.problems, Problem{Name: name, Text: fmt.Sprintf(format, args...)})
}

// hash reads the marked files one after another, in the order of the folders.
func (t *tree) hash(ctx context.Context, m *meter) error {
	buf := make([]byte, bufferBytes)
	for i := range t.files {
		f := &t.files[i]
		if !f.read {
			continue
		}
		sum, err := sumFile(ctx, filepath.Join(t.root, filepath.FromSlash(f.name)), f.info, buf, m)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil {
			f.sum, f.hashed = sum, true
			continue
		}
		if gone := t.stillThere(); gone != nil {
			return gone
		}
		t.problem(f.name, "%v", err)
	}
	return nil
}

// stillThere tells whether the root is the folder it was at the start.
func (t *tree) stillThere() error {
	info, err := os.Stat(t.root)
	if err != nil || !os.SameFile(info, t.info) {
		return fmt.Errorf("%q: %w", t.given, ErrWentAway)
	}
	if _, err := os.ReadDir(t.root); err != nil {
		return fmt.Errorf("%q: %w: %w", t.given, ErrWentAway, files.Cause(err))
	}
	return nil
}

// sumFile hashes the file that want describes.
func sumFile(ctx context.Context, p string, want os.FileInfo, buf []byte, m *meter) (sum [sha256.Size]byte, err error) {
	replaced := errors.New("was replaced while the work went on: compare again")
	f, info, err := files.Open(p)
	if err == files.ErrNotRegular {
		return sum, replaced
	}
	if err != nil {
		return sum, fmt.Errorf("cannot be read: %w", files.Cause(err))
	}
	defer f.Close()
	if !os.SameFile(info, want) {
		return sum, replaced
	}
	h := sha256.New()
	var n int64
	for {
		if ctx.Err() != nil {
			return sum, ctx.Err()
		}
		k, err := f.Read(buf)
		h.Write(buf[:k])
		n += int64(k)
		m.add(int64(k))
		if err == io.EOF || n > want.Size() {
			break
		}
		if err != nil {
			return sum, fmt.Errorf("cannot be read past byte %d of %d: %w", n, want.Size(), files.Cause(err))
		}
	}
	after, err := f.Stat()
	if err != nil || n != want.Size() || after.Size() != want.Size() || !after.ModTime().Equal(want.ModTime()) {
		return sum, errors.New("changed while it was read: compare again when nothing writes to it")
	}
	h.Sum(sum[:0])
	return sum, nil
}

// readAll hashes what is marked: trees on different devices side by side, those
// on one after the other, so that a spinning disk does not have to seek between
// them.
func readAll(ctx context.Context, progress func(done, total int64), trees ...*tree) error {
	m := newMeter(progress, trees)
	group, ctx := errgroup.WithContext(ctx)
	for _, same := range byDevice(trees) {
		group.Go(func() error {
			for _, i := range same {
				if err := trees[i].hash(ctx, m); err != nil {
					return err
				}
			}
			return nil
		})
	}
	return group.Wait()
}

// meter adds up what several readers have read.
type meter struct {
	mu          sync.Mutex
	report      func(done, total int64)
	done, total int64
}

func newMeter(report func(done, total int64), trees []*tree) *meter {
	m := &meter{report: report}
	for _, t := range trees {
		for i := range t.files {
			if t.files[i].read {
				m.total += t.files[i].size
			}
		}
	}
	return m
}

func (m *meter) add(n int64) {
	if m == nil || m.report == nil {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.done += n
	m.report(m.done, m.total)
}
