// Package copycheck tells whether everything on a card is in its copies, by the
// SHA-256 of the contents, and writes and verifies lists of checksums. It only
// ever reads the folders it is given.
package copycheck

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path"
	"slices"
	"strings"

	"golang.org/x/text/unicode/norm"

	"stillspan/internal/files"
)

// Options say what is read.
type Options struct {
	// AllSums hashes every file of the copies, so that Sums can list it; by
	// default those whose size no other file has are not read.
	AllSums bool
	// Litter compares what operating systems leave on cards as well.
	Litter bool
	// Progress, unless nil, is called from several goroutines, one at a
	// time, with the bytes read and to be read.
	Progress func(done, total int64)
}

// Pair is a file on the card and its counterpart in a copy, both
// slash-separated and relative to their roots.
type Pair struct {
	Card, Dump         string
	CardSize, DumpSize int64
}

// Problem is a file or folder that could not be judged.
type Problem struct {
	Name string // as in Pair; "." is the root
	Text string
}

// File is a file on the card and how many copies hold its content.
type File struct {
	Name   string // as in Pair
	Size   int64  // bytes
	Copies int
}

// Result is what became of each file on the card.
type Result struct {
	Card     string // the root, as given
	Files    []File // on the card
	Bytes    int64
	Problems []Problem // on the card
	// LeftOut counts what was not compared on the card: what operating systems
	// leave there, unless it is a picture; links, pipes and devices.
	LeftOut int
	Copies  []Copy // in the order given
	// Sums lists the hashed files of the first copy, and those of the others
	// with contents that no copy before them has, with the number of copies
	// that hold each.
	Sums []Sum
	// Shared are groups of copies that lie on one file system, so that a drive
	// that fails takes them all; indexes into Copies.
	Shared [][]int
}

// Copy is one copy set beside the card.
type Copy struct {
	Dump      string   // the root, as given
	Present   int      // files of the card that are there with the same content
	Moved     []Pair   // of those present, under another name or folder
	Missing   []string // on the card
	Different []Pair   // a file of that name is there, with other content
	// Extra are files with contents that are not on the card.
	Extra []string
	// Duplicates are groups of files in the copy with one content.
	Duplicates [][]string
	Problems   []Problem
}

// Complete tells whether there is anything on the card, and every file of it
// could be read and is in every copy.
func (r *Result) Complete() bool {
	if len(r.Files) == 0 || len(r.Problems) > 0 {
		return false
	}
	return !slices.ContainsFunc(r.Files, func(f File) bool { return f.Copies < len(r.Copies) })
}

// Held counts the files of the card that at least n copies hold.
func (r *Result) Held(n int) int {
	held := 0
	for _, f := range r.Files {
		if f.Copies >= n {
			held++
		}
	}
	return held
}

// ErrWentAway is wrapped by the error for a folder that vanished during the
// work, such as a drive that was unplugged.
var ErrWentAway = errors.New("the folder went away while it was read")

// Compare reads all folders, each file once, and sets each copy beside the
// card. A file counts as present when its content is in the copy, whatever its
// name.
func Compare(ctx context.Context, card string, copies []string, opt Options) (*Result, error) {
	trees := make([]*tree, 1+len(copies))
	for i, dir := range append([]string{card}, copies...) {
		t, err := openTree(dir)
		if err != nil {
			return nil, err
		}
		for _, other := range trees[:i] {
			if err := apart(other, t); err != nil {
				return nil, err
			}
		}
		trees[i] = t
	}
	for _, t := range trees {
		if err := t.list(ctx, opt.Litter); err != nil {
			return nil, err
		}
	}
	markForReading(trees[0], trees[1:], opt.AllSums)
	if err := readAll(ctx, opt.Progress, trees...); err != nil {
		return nil, err
	}
	for _, t := range trees {
		if err := t.stillThere(); err != nil {
			return nil, err
		}
	}
	return judge(trees[0], trees[1:]), nil
}

// apart refuses folders in which a file would be found to be its own copy.
func apart(a, b *tree) error {
	switch in, err := files.Inside(b.root, a.root); {
	case err != nil:
		return err
	case os.SameFile(a.info, b.info):
		return fmt.Errorf("%q and %q are the same folder: a copy has to lie elsewhere", a.given, b.given)
	case in:
		return fmt.Errorf("%q lies inside %q: its files would count as their own copies, and a copy has to lie elsewhere", b.given, a.given)
	}
	switch in, err := files.Inside(a.root, b.root); {
	case err != nil:
		return err
	case in:
		return fmt.Errorf("%q lies inside %q: its files would count as their own copies, and a copy has to lie elsewhere", a.given, b.given)
	}
	if shown := showsAgain(a.root, b.root); shown != "" {
		return fmt.Errorf("%q and %q show the same files (%s): a copy has to lie elsewhere", a.given, b.given, shown)
	}
	return nil
}

// markForReading leaves out files of the copies that by their size cannot be a
// copy of anything.
func markForReading(card *tree, copies []*tree, all bool) {
	onCard := map[int64]bool{}
	for i := range card.files {
		card.files[i].read = true
		onCard[card.files[i].size] = true
	}
	for _, d := range copies {
		seen := map[int64]int{}
		for i := range d.files {
			seen[d.files[i].size]++
		}
		for i := range d.files {
			size := d.files[i].size
			d.files[i].read = all || onCard[size] || seen[size] > 1
		}
	}
}

type hash = [sha256.Size]byte

// judge sets every copy beside the card.
func judge(card *tree, copies []*tree) *Result {
	r := &Result{Card: card.given, LeftOut: card.leftOut, Problems: card.problems, Shared: shared(copies)}
	for i := range card.files {
		f := &card.files[i]
		r.Files = append(r.Files, File{Name: f.name, Size: f.size})
		r.Bytes += f.size
	}
	onCard := map[hash]bool{}
	for i := range card.files {
		if f := &card.files[i]; f.hashed {
			onCard[f.sum] = true
		}
	}
	for _, d := range copies {
		r.Copies = append(r.Copies, r.match(card, d, onCard))
	}
	r.Sums = sumsOf(copies)
	return r
}

// match finds each card file's content in the copy d, and counts it in
// r.Files.
func (r *Result) match(card, d *tree, onCard map[hash]bool) Copy {
	c := Copy{Dump: d.given, Problems: d.problems}
	bySum := map[hash][]*file{}
	for i := range d.files {
		if f := &d.files[i]; f.hashed {
			bySum[f.sum] = append(bySum[f.sum], f)
		}
	}
	var lost []*file
	for i := range card.files {
		f := &card.files[i]
		if !f.hashed {
			continue // its Problem says why
		}
		twin := f.twinAmong(bySum[f.sum])
		if twin == nil {
			lost = append(lost, f)
			continue
		}
		c.Present++
		r.Files[i].Copies++
		if !sameName(path.Base(f.name), path.Base(twin.name)) || !endsAlike(f.name, twin.name) {
			c.Moved = append(c.Moved, f.pair(twin))
		}
	}
	for i := range d.files {
		if f := &d.files[i]; !f.hashed && !f.read || f.hashed && !onCard[f.sum] {
			c.Extra = append(c.Extra, f.name)
		}
	}
	c.matchByName(lost, d, onCard)
	for _, group := range bySum {
		if len(group) > 1 && group[0].size > 0 {
			names := make([]string, len(group))
			for i, f := range group {
				names[i] = f.name
			}
			slices.Sort(names)
			c.Duplicates = append(c.Duplicates, names)
		}
	}
	slices.SortFunc(c.Duplicates, func(a, b []string) int { return cmp.Compare(a[0], b[0]) })
	return c
}

// matchByName tells files that are altered from those that are not there: a
// copy's file of the same name which is no copy of another card file is taken
// for the altered copy.
func (c *Copy) matchByName(lost []*file, d *tree, onCard map[hash]bool) {
	byName := map[string][]*file{}
	for i := range d.files {
		if f := &d.files[i]; !f.hashed || !onCard[f.sum] {
			key := fold(path.Base(f.name))
			byName[key] = append(byName[key], f)
		}
	}
	altered := map[string]bool{}
	for _, f := range lost {
		var best *file
		for _, g := range byName[fold(path.Base(f.name))] {
			if !altered[g.name] && (best == nil || commonTail(f.name, g.name) > commonTail(f.name, best.name)) {
				best = g
			}
		}
		if best == nil {
			c.Missing = append(c.Missing, f.name)
			continue
		}
		altered[best.name] = true
		c.Different = append(c.Different, f.pair(best))
	}
	c.Extra = slices.DeleteFunc(c.Extra, func(name string) bool { return altered[name] })
}

// sumsOf lists the copies' contents as Result.Sums has them.
func sumsOf(copies []*tree) []Sum {
	holders := map[hash]int{}
	for _, d := range copies {
		seen := map[hash]bool{}
		for i := range d.files {
			if f := &d.files[i]; f.hashed && !seen[f.sum] {
				seen[f.sum] = true
				holders[f.sum]++
			}
		}
	}
	var sums []Sum
	listed := map[hash]bool{}
	for k, d := range copies {
		here := len(sums)
		for i := range d.files {
			if f := &d.files[i]; f.hashed && (k == 0 || !listed[f.sum]) {
				sums = append(sums, Sum{SHA256: f.sum, Name: f.name, Copies: holders[f.sum]})
			}
		}
		for _, s := range sums[here:] {
			listed[s.SHA256] = true
		}
	}
	slices.SortFunc(sums, func(a, b Sum) int { return cmp.Compare(a.Name, b.Name) })
	return sums
}

// twinAmong picks the copy whose path is most like f's. A second name of f
// itself, through a link, is no copy; neither is an empty file of another name,
// since all empty files are alike.
func (f *file) twinAmong(same []*file) *file {
	var best *file
	for _, g := range same {
		if os.SameFile(f.info, g.info) || f.size == 0 && !sameName(path.Base(f.name), path.Base(g.name)) {
			continue
		}
		if best == nil || commonTail(f.name, g.name) > commonTail(f.name, best.name) {
			best = g
		}
	}
	return best
}

func (f *file) pair(g *file) Pair {
	return Pair{Card: f.name, Dump: g.name, CardSize: f.size, DumpSize: g.size}
}

// fold makes names equal that are one name on a FAT or exFAT card, which keeps
// but does not heed case, whatever form of Unicode the copying system uses.
func fold(name string) string { return strings.ToLower(norm.NFC.String(name)) }

func sameName(a, b string) bool { return fold(a) == fold(b) }

// endsAlike tells whether one path is the tail of the other: a copy of DCIM
// into a folder of its own is in its place.
func endsAlike(a, b string) bool {
	n := min(strings.Count(a, "/"), strings.Count(b, "/")) + 1
	return commonTail(a, b) == n
}

// commonTail counts the path elements that are alike from the end.
func commonTail(a, b string) int {
	as, bs := strings.Split(fold(a), "/"), strings.Split(fold(b), "/")
	n := 0
	for n < len(as) && n < len(bs) && as[len(as)-1-n] == bs[len(bs)-1-n] {
		n++
	}
	return n
}
