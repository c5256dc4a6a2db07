package ingest

import (
	"bytes"
	"cmp"
	"io"
	"maps"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
)

// Marks that computers put on the names of copies and programs on those of edited
// ones (common practice, no published source).
var (
	copyMark = regexp.MustCompile(`(?i)( ?\(\d+\)| - copy| copy( \d+)?|_copy)$`)
	editMark = regexp.MustCompile(`(?i)(_e|~\d+|[-_ ]edit(ed)?)$`)
	// secondMark may be a copy's or a counter.
	secondMark = regexp.MustCompile(`[-_ ]\d$`)
	editName   = regexp.MustCompile(`(?i)^(img_)e(\d{4})$`)
)

// unedited is the name of the file that an edited one was made from, or "".
func unedited(base string) string {
	if m := editMark.FindString(base); m != "" {
		return strings.TrimSuffix(base, m)
	}
	if m := editName.FindStringSubmatch(base); m != nil {
		return m[1] + m[2]
	}
	return ""
}

// dropEdits leaves out edited copies of pictures that lie beside them.
func (t *tree) dropEdits(frames []Frame) []Frame {
	have := make(map[string]bool, len(frames))
	key := func(f *Frame, base string) string { return strings.ToLower(path.Dir(f.Name) + "/" + base) }
	for i := range frames {
		have[key(&frames[i], baseName(&frames[i]))] = true
	}
	return slices.DeleteFunc(frames, func(f Frame) bool {
		from := unedited(baseName(&f))
		if from == "" || !have[key(&f, from)] {
			return false
		}
		t.ignored["edited copy"]++
		return true
	})
}

var digits = regexp.MustCompile(`\d+`)

// dropBackups leaves out files that lie in another place too, byte for byte, under
// whatever name, where most of those that are named like them in their folder do:
// the backup of a folder, or an import under new names beside the old ones. Files
// of one such set are shots apart, however alike.
func (t *tree) dropBackups(frames []Frame) []Frame {
	type like struct {
		size         int64
		taken        time.Time
		camera, name string
	}
	of := func(f *Frame) like {
		k := like{f.Size, f.Facts.Taken, cameraKey(f), ""}
		if k.taken.IsZero() {
			k.name = baseName(f) // other pictures may be alike byte for byte
		}
		return k
	}
	at := make(map[like][]int)
	for i := range frames {
		k := of(&frames[i])
		at[k] = append(at[k], i)
	}
	if len(at) == len(frames) {
		return frames
	}
	sets := make(map[string][]int)
	set := make([]string, len(frames)) // of each frame
	for i := range frames {
		set[i] = path.Dir(frames[i].Name) + "/" + digits.ReplaceAllString(baseName(&frames[i]), "0")
		sets[set[i]] = append(sets[set[i]], i)
	}
	gone := make([]bool, len(frames))
	for _, name := range slices.SortedFunc(maps.Keys(sets), func(a, b string) int {
		return cmp.Or(cmp.Compare(len(sets[a]), len(sets[b])), cmp.Compare(b, a))
	}) {
		var copies []int
		for _, i := range sets[name] {
			f := &frames[i]
			if slices.ContainsFunc(at[of(f)], func(k int) bool {
				return set[k] != name && !gone[k] && sameContent(f, &frames[k])
			}) {
				copies = append(copies, i)
			}
		}
		if 2*len(copies) > len(sets[name]) {
			for _, i := range copies {
				gone[i] = true
			}
			t.ignored["copy"] += len(copies)
		}
	}
	kept := frames[:0]
	for i := range frames {
		if !gone[i] {
			kept = append(kept, frames[i])
		}
	}
	return kept
}

// joinShots leaves one frame for each shot, once the headers are read. A file
// copied twice, under its own name in another folder or marked as a copy in
// the same, is counted as such; of a damaged and a sound copy the sound one
// stays. A raw file on one card and its JPEG on another become a pair.
//
// again holds the frames of shots that are there already as another picture,
// such as small exports in a folder of their own.
func (t *tree) joinShots(frames []Frame) (kept, again []Frame) {
	frames = t.dropBackups(t.dropEdits(frames))
	marks := func(f *Frame) int {
		return len(copyMark.FindString(baseName(f))) + len(secondMark.FindString(baseName(f)))
	}
	slices.SortStableFunc(frames, func(a, b Frame) int { // those not marked as copies first
		return cmp.Compare(marks(&a), marks(&b))
	})
	at := make(map[string]int, len(frames))
	copies := sync.OnceValue(func() func(a, b string) bool { return copyFolders(frames) }) // seldom asked
	kept = make([]Frame, 0, len(frames))
	for _, f := range frames {
		key := shotKey(&f, copyMark)
		if i, found := at[shotKey(&f, secondMark)]; found && path.Dir(kept[i].Name) == path.Dir(f.Name) && sameContent(&f, &kept[i]) {
			t.ignored["copy"]++
			continue
		}
		i, found := at[key]
		if !found {
			at[key] = len(kept)
			kept = append(kept, f)
			continue
		}
		have := &kept[i]
		alike := isRaw(f.Name) == isRaw(have.Name)
		switch dir, other := path.Dir(f.Name), path.Dir(have.Name); {
		case dir != other && !copies()(dir, other) && !sameContent(&f, have):
			kept = append(kept, f) // another body's
		case t.pairUp(have, f):
		case alike && (f.Problem == nil) != (have.Problem == nil) && samePixels(&f, have):
			if f.Problem == nil {
				*have = f
			}
			t.ignored["copy"]++
		case alike && sameContent(&f, have):
			t.ignored["copy"]++
		case dir == other:
			kept = append(kept, f) // copyNotes speaks of it
		default:
			again = append(again, f)
		}
	}
	return kept, again
}

// copyFolders tells whether two folders hold shots of the same names, cameras and
// times, at least half of those in the smaller one. Two bodies of one model may by
// chance name a few alike.
func copyFolders(frames []Frame) func(a, b string) bool {
	files := make(map[string]int)
	shots := make(map[string][]string)
	for i := range frames {
		dir, key := path.Dir(frames[i].Name), shotKey(&frames[i], copyMark)
		files[dir]++
		if !slices.Contains(shots[key], dir) {
			shots[key] = append(shots[key], dir)
		}
	}
	type pair struct{ a, b string }
	both := make(map[pair]int)
	for _, dirs := range shots {
		for i, a := range dirs {
			for _, b := range dirs[:i] {
				both[pair{a, b}]++
				both[pair{b, a}]++
			}
		}
	}
	return func(a, b string) bool { return 2*both[pair{a, b}] >= min(files[a], files[b]) }
}

// shotKey is the same for files that hold one shot: name less the mark of a copy,
// camera and time.
// Without a time only files of one folder can be told to be the same.
func shotKey(f *Frame, mark *regexp.Regexp) string {
	key := strings.ToLower(mark.ReplaceAllString(baseName(f), "")) + "\x00" + cameraKey(f)
	if f.Facts.Taken.IsZero() {
		return key + "\x00" + path.Dir(f.Name)
	}
	return key + "\x00" + f.Facts.Taken.String()
}

func samePixels(a, b *Frame) bool {
	return a.Facts.Width == b.Facts.Width && a.Facts.Height == b.Facts.Height
}

// sampleBytes are compared at the head, the middle and the tail of files that
// should be copies; whole files of a card would take minutes.
const sampleBytes = 64 << 10

// sameContent reports whether two files are of one size and alike where they
// are sampled.
func sameContent(a, b *Frame) bool {
	if a.Size != b.Size {
		return false
	}
	for _, at := range []int64{0, a.Size/2 - sampleBytes/2, a.Size - sampleBytes} {
		x, okX := sample(a.Path, max(0, at))
		y, okY := sample(b.Path, max(0, at))
		if !okX || !okY || !bytes.Equal(x, y) {
			return false
		}
	}
	return true
}

func sample(name string, at int64) ([]byte, bool) {
	file, err := os.Open(name)
	if err != nil {
		return nil, false
	}
	defer file.Close()
	p := make([]byte, sampleBytes)
	n, err := file.ReadAt(p, at)
	return p[:n], err == nil || err == io.EOF
}

// copyNotes speaks of frames that are named as a copy of another in their
// folder and are not.
func (s *Sequence) copyNotes() {
	names := make(map[string]bool, len(s.Frames))
	for i := range s.Frames {
		names[strings.ToLower(s.Frames[i].Name)] = true
	}
	var first *Frame
	count := 0
	for i := range s.Frames {
		f := &s.Frames[i]
		if original := originalName(f.Name); original != "" && names[strings.ToLower(original)] {
			if count++; first == nil {
				first = f
			}
		}
	}
	switch {
	case count == 1:
		s.note("%s is named as a copy of %s but differs from it; both are kept", path.Base(first.Name), path.Base(originalName(first.Name)))
	case count > 1:
		s.note("%d frames are named as copies of others but differ from them, the first %s; all are kept", count, path.Base(first.Name))
	}
}

// originalName is the name without the mark of a copy, or empty if it has none.
func originalName(name string) string {
	ext := filepath.Ext(name)
	base := strings.TrimSuffix(name, ext)
	if mark := copyMark.FindString(base); mark != "" {
		return strings.TrimSuffix(base, mark) + ext
	}
	return ""
}
