// Package copycheck tells whether everything on a card is in a dump, by the
// SHA-256 of the contents, and writes and verifies lists of checksums. It only
// ever reads the folders it is given.
package copycheck

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"slices"
	"strings"

	"stillspan/internal/files"

	"golang.org/x/sync/errgroup"
	"golang.org/x/text/unicode/norm"
)

// Options say what is read.
type Options struct {
	// AllSums hashes every file of the dump, so that Sums can list it; by
	// default those whose size no other file has are not read.
	AllSums bool
	// Litter compares what operating systems leave on cards as well.
	Litter bool
	// Progress, unless nil, is called from several goroutines, one at a
	// time, with the bytes read and to be read.
	Progress func(done, total int64)
}

// Pair is a file on the card and its counterpart in the dump, both
// slash-separated and relative to their roots.
type Pair struct {
	Card, Dump         string
	CardSize, DumpSize int64
}

// Problem is a file or folder that could not be judged.
type Problem struct {
	Name   string // as in Pair; "." is the root
	OnCard bool
	Text   string
}

// Result is what became of each file on the card.
type Result struct {
	Card, Dump string // the roots, as given
	Files      int    // files on the card
	Bytes      int64
	Present    int    // of these, in the dump with the same content
	Moved      []Pair // of those present, under another name or folder
	Missing    []string
	Different  []Pair // a file of that name is there, with other content
	// Extra are files of the dump with contents that are not on the card.
	Extra []string
	// Duplicates are groups of files in the dump with one content.
	Duplicates [][]string
	Problems   []Problem
	// LeftOut counts what was not compared on the card: files that operating
	// systems leave there, links, pipes and devices.
	LeftOut int
	// Sums lists the dump's files that were hashed, by name.
	Sums []Sum
}

// Complete tells whether every file on the card could be read and is in the
// dump.
func (r *Result) Complete() bool {
	if len(r.Missing) > 0 || len(r.Different) > 0 || r.Present != r.Files {
		return false
	}
	return !slices.ContainsFunc(r.Problems, func(p Problem) bool { return p.OnCard })
}

// ErrWentAway is wrapped by the error for a folder that vanished during the
// work, such as a drive that was unplugged.
var ErrWentAway = errors.New("the folder went away while it was read")

// Compare reads both folders, each file once, and sets them side by side. A
// file counts as present when its content is in the dump, whatever its name.
func Compare(ctx context.Context, card, dump string, opt Options) (*Result, error) {
	c, err := openTree(card)
	if err != nil {
		return nil, err
	}
	d, err := openTree(dump)
	if err != nil {
		return nil, err
	}
	if err := apart(c, d); err != nil {
		return nil, err
	}
	r := &Result{Card: card, Dump: dump}
	for _, t := range []*tree{c, d} {
		if err := t.list(ctx, opt.Litter); err != nil {
			return nil, err
		}
	}
	markForReading(c, d, opt.AllSums)
	if err := readAll(ctx, opt.Progress, c, d); err != nil {
		return nil, err
	}
	for _, t := range []*tree{c, d} {
		if err := t.stillThere(); err != nil {
			return nil, err
		}
	}
	r.match(c, d)
	return r, nil
}

// apart refuses folders in which a file would be found to be its own copy.
func apart(c, d *tree) error {
	if os.SameFile(c.info, d.info) {
		return fmt.Errorf("%q and %q are the same folder: a copy has to lie elsewhere", c.given, d.given)
	}
	if inside, err := files.Inside(d.root, c.root); err != nil || inside {
		return cmp.Or(err, fmt.Errorf("the dump %q lies on the card %q: a copy has to lie elsewhere", d.given, c.given))
	}
	if inside, err := files.Inside(c.root, d.root); err != nil || inside {
		return cmp.Or(err, fmt.Errorf("the card %q lies inside the dump %q: its files would count as their own copies", c.given, d.given))
	}
	return nil
}

// markForReading leaves out files of the dump that by their size cannot be a
// copy of anything.
func markForReading(c, d *tree, all bool) {
	seen := map[int64]int{}
	for i := range c.files {
		c.files[i].read = true
		seen[c.files[i].size]++
	}
	for i := range d.files {
		seen[d.files[i].size]++
	}
	for i := range d.files {
		d.files[i].read = all || seen[d.files[i].size] > 1
	}
}

// readAll hashes what is marked: side by side when card and dump lie on
// different devices, else one after the other, so that a spinning disk does
// not have to seek between the two.
func readAll(ctx context.Context, progress func(done, total int64), trees ...*tree) error {
	m := newMeter(progress, trees)
	group, ctx := errgroup.WithContext(ctx)
	if sameDevice(trees[0].info, trees[len(trees)-1].info) {
		group.SetLimit(1)
	}
	for _, t := range trees {
		group.Go(func() error { return t.hash(ctx, m) })
	}
	return group.Wait()
}

// match finds each card file's content in the dump.
func (r *Result) match(c, d *tree) {
	bySum := map[[32]byte][]*file{}
	for i := range d.files {
		if f := &d.files[i]; f.hashed {
			bySum[f.sum] = append(bySum[f.sum], f)
			r.Sums = append(r.Sums, Sum{f.sum, f.name})
		}
	}
	r.LeftOut = c.leftOut
	r.Files = len(c.files)
	var lost []*file
	onCard := map[[32]byte]bool{}
	for i := range c.files {
		f := &c.files[i]
		r.Bytes += f.size
		if !f.hashed {
			continue // its Problem says why
		}
		onCard[f.sum] = true
		twin := f.twinAmong(bySum[f.sum])
		if twin == nil {
			lost = append(lost, f)
			continue
		}
		r.Present++
		if !sameName(path.Base(f.name), path.Base(twin.name)) || !endsAlike(f.name, twin.name) {
			r.Moved = append(r.Moved, f.pair(twin))
		}
	}
	for i := range d.files {
		if f := &d.files[i]; !f.hashed && !f.read || f.hashed && !onCard[f.sum] {
			r.Extra = append(r.Extra, f.name)
		}
	}
	r.matchByName(lost, d, onCard)
	for _, group := range bySum {
		if len(group) > 1 && group[0].size > 0 {
			names := make([]string, len(group))
			for i, f := range group {
				names[i] = f.name
			}
			slices.Sort(names)
			r.Duplicates = append(r.Duplicates, names)
		}
	}
	slices.SortFunc(r.Duplicates, func(a, b []string) int { return cmp.Compare(a[0], b[0]) })
	slices.SortFunc(r.Sums, func(a, b Sum) int { return cmp.Compare(a.Name, b.Name) })
	for _, t := range []*tree{c, d} {
		for _, p := range t.problems {
			p.OnCard = t == c
			r.Problems = append(r.Problems, p)
		}
	}
}

// matchByName tells files that are altered from those that are not there: a
// dump file of the same name which is no copy of another card file is taken
// for the altered copy.
func (r *Result) matchByName(lost []*file, d *tree, onCard map[[32]byte]bool) {
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
			r.Missing = append(r.Missing, f.name)
			continue
		}
		altered[best.name] = true
		r.Different = append(r.Different, f.pair(best))
	}
	r.Extra = slices.DeleteFunc(r.Extra, func(name string) bool { return altered[name] })
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
