package report

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"stillspan/ingest/copycheck"
	"stillspan/internal/words"
)

// WriteComparison writes what a photographer has to act on first, and ends in
// the one line that matters.
func WriteComparison(w io.Writer, r *copycheck.Result, o TextOptions) error {
	p := &copyPrinter{newTextWriter(w, o)}
	p.line("card %q: %s, %s", r.Card, words.Count(len(r.Files), "file"), words.Bytes(r.Bytes))
	for _, c := range r.Copies {
		p.line("dump %q: %d of them there with the same SHA-256", c.Dump, c.Present)
	}
	if len(r.Copies) > 1 {
		p.held(r)
	}
	p.list("could not be judged on the card", problemLines(r.Problems), allOf)
	for i := range r.Copies {
		p.copy(r, i)
	}
	if r.LeftOut > 0 {
		p.say("not compared: %s (left by desktop systems, links, pipes)", words.Count(r.LeftOut, "entry"))
	}
	for _, group := range r.Shared {
		var dumps []string
		for _, i := range group {
			dumps = append(dumps, fmt.Sprintf("%q", r.Copies[i].Dump))
		}
		p.say("on one file system, so that one drive's failure takes them all: %s", strings.Join(dumps, ", "))
	}
	p.say("%s", comparisonVerdict(r))
	return p.Flush()
}

// copyPrinter prints what came of a comparison.
type copyPrinter struct{ *textWriter }

// say prints a sentence, behind an empty line.
func (p *copyPrinter) say(format string, args ...any) {
	p.line("")
	if p.o.Piped {
		p.line(format, args...)
		return
	}
	p.wrap("", format, args...)
}

// How many lines of a list are printed: all where each calls for action.
const (
	allOf   = 1 << 30
	someOf  = 10
	seeJSON = "  and %d more; --json lists all"
)

// list prints names under a heading.
func (p *copyPrinter) list(heading string, names []string, most int) {
	if len(names) == 0 {
		return
	}
	p.say("%s: %d", heading, len(names))
	for _, n := range names[:min(len(names), most)] {
		p.line("  %s", n)
	}
	if n := len(names) - most; n > 0 {
		p.line(seeJSON, n)
	}
}

// held says how many copies hold how many files, and which lie in fewer than
// all.
func (p *copyPrinter) held(r *copycheck.Result) {
	p.line("")
	for n := len(r.Copies); n >= 0; n-- {
		var names []string
		for _, f := range r.Files {
			if f.Copies == n {
				names = append(names, f.Name)
			}
		}
		if n == len(r.Copies) {
			p.line("in %d of %s: %s", n, words.Count(len(r.Copies), "copy"), words.Count(len(names), "file"))
			continue
		}
		if len(names) > 0 {
			p.line("in %d of %s: %s", n, words.Count(len(r.Copies), "copy"), words.Count(len(names), "file"))
		}
		for _, name := range names {
			p.line("  %s", name)
		}
	}
}

// copy says what is wrong or otherwise in one copy.
func (p *copyPrinter) copy(r *copycheck.Result, i int) {
	c := &r.Copies[i]
	in := "the dump"
	if len(r.Copies) > 1 {
		in = fmt.Sprintf("dump %q", c.Dump)
	}
	p.list("not in "+in, c.Missing, allOf)
	if n := len(c.Different); n > 0 {
		p.say("in %s with other content: %d", in, n)
		for _, d := range c.Different {
			size := "has the same size"
			if d.CardSize != d.DumpSize {
				size = fmt.Sprintf("has %d bytes, not %d", d.DumpSize, d.CardSize)
			}
			p.line("  %s: %s %s", d.Card, d.Dump, size)
		}
	}
	p.list("could not be read in "+in, problemLines(c.Problems), allOf)
	if n := len(c.Moved); n > 0 {
		p.say("in %s under another name or folder: %d, such as %s as %s", in, n, c.Moved[0].Card, c.Moved[0].Dump)
	}
	p.list("in "+in+" but not on the card", c.Extra, someOf)
	var same []string
	for _, g := range c.Duplicates {
		same = append(same, strings.Join(g, " = "))
	}
	p.list("in "+in+" more than once", same, someOf)
}

func problemLines(ps []copycheck.Problem) []string {
	var lines []string
	for _, p := range ps {
		lines = append(lines, p.Name+": "+p.Text)
	}
	return lines
}

func comparisonVerdict(r *copycheck.Result) string {
	files, copies := words.Count(len(r.Files), "file"), len(r.Copies)
	unproven := max(1, len(r.Files)-r.Held(copies))
	switch {
	case r.Complete() && copies == 1:
		return fmt.Sprintf("COMPLETE: all %s on the card are in the dump. One copy is no backup: make a second before the card is wiped.", files)
	case r.Complete():
		return fmt.Sprintf("COMPLETE: all %s on the card are in all %d copies.", files, copies)
	case copies == 1:
		return fmt.Sprintf("NOT COMPLETE: %d of %s on the card are not proven to be in the dump. Do not wipe the card.", unproven, files)
	}
	return fmt.Sprintf("NOT COMPLETE: %d of %s on the card are not proven to be in all %d copies, %d of them in none. Do not wipe the card.",
		unproven, files, copies, len(r.Files)-r.Held(1))
}

// WriteComparisonSums writes the copies' list of checksums and what it was made
// from. Those that most copies hold come first.
func WriteComparisonSums(w io.Writer, r *copycheck.Result, made time.Time) error {
	from := fmt.Sprintf("stillspan compare, %s: card %q, copies", made.Format(time.RFC3339), r.Card)
	for _, c := range r.Copies {
		from += fmt.Sprintf(" %q", c.Dump)
	}
	sums := slices.Clone(r.Sums)
	slices.SortStableFunc(sums, func(a, b copycheck.Sum) int { return cmp.Compare(b.Copies, a.Copies) })
	return copycheck.WriteSums(w, sums, from)
}

// copyPair, copyProblem, copyJSON and cardFile are the JSON of what copycheck
// found.
type copyPair struct {
	Card      string `json:"card"`
	Dump      string `json:"dump"`
	CardBytes int64  `json:"card_bytes"`
	DumpBytes int64  `json:"dump_bytes"`
}

type copyProblem struct {
	File    string `json:"file"`
	Problem string `json:"problem"`
	OnCard  bool   `json:"on_card"`
}

type copyJSON struct {
	Dump       string        `json:"dump"`
	Complete   bool          `json:"complete"`
	Present    int           `json:"present"`
	Missing    []string      `json:"missing"`
	Different  []copyPair    `json:"different"`
	Moved      []copyPair    `json:"moved"`
	Extra      []string      `json:"extra"`
	Duplicates [][]string    `json:"duplicates"`
	Problems   []copyProblem `json:"problems"`
}

type cardFile struct {
	File   string `json:"file"`
	Bytes  int64  `json:"bytes"`
	Copies int    `json:"copies"`
}

// WriteComparisonJSON writes a comparison as data. The names at the top are
// those of the first copy, but for "complete", which is true when every copy
// is.
func WriteComparisonJSON(w io.Writer, r *copycheck.Result) error {
	var copies []copyJSON
	for i := range r.Copies {
		c := &r.Copies[i]
		copies = append(copies, copyJSON{
			c.Dump, len(r.Files) > 0 && len(r.Problems) == 0 && c.Present == len(r.Files), c.Present, listOf(c.Missing), copyPairs(c.Different),
			copyPairs(c.Moved), listOf(c.Extra), listOf(c.Duplicates), copyProblems(c.Problems, false),
		})
	}
	files := []cardFile{}
	for _, f := range r.Files {
		files = append(files, cardFile{f.Name, f.Size, f.Copies})
	}
	first := copies[0]
	first.Complete = r.Complete()
	first.Problems = append(copyProblems(r.Problems, true), first.Problems...)
	return writeJSON(w, struct {
		Version int    `json:"version"`
		Card    string `json:"card"`
		copyJSON
		Files     int        `json:"files"`
		Bytes     int64      `json:"bytes"`
		LeftOut   int        `json:"left_out"`
		Copies    []copyJSON `json:"copies"`
		CardFiles []cardFile `json:"card_files"`
	}{1, r.Card, first, len(r.Files), r.Bytes, r.LeftOut, copies, files})
}

func copyPairs(ps []copycheck.Pair) []copyPair {
	out := []copyPair{}
	for _, p := range ps {
		out = append(out, copyPair{p.Card, p.Dump, p.CardSize, p.DumpSize})
	}
	return out
}

func copyProblems(ps []copycheck.Problem, onCard bool) []copyProblem {
	out := []copyProblem{}
	for _, p := range ps {
		out = append(out, copyProblem{p.Name, p.Text, onCard})
	}
	return out
}

// listOf makes an empty JSON list of a nil one.
func listOf[T any](v []T) []T {
	if v == nil {
		return []T{}
	}
	return v
}

// WriteVerification writes what became of a list of checksums.
func WriteVerification(w io.Writer, list string, v *copycheck.Verification, o TextOptions) error {
	p := &copyPrinter{newTextWriter(w, o)}
	p.line("list %q: %s", list, words.Count(v.Listed, "file"))
	p.list("not there", v.Missing, allOf)
	p.list("there with other content", v.Different, allOf)
	p.list("could not be read", problemLines(v.Problems), allOf)
	p.list("in the dump but not in the list", v.Unlisted, someOf)
	if v.Complete() {
		p.say("COMPLETE: all %s are as listed. One copy is no backup.", words.Count(v.Listed, "file"))
	} else {
		p.say("NOT COMPLETE: %d of %s are not as listed.", v.Listed-v.Good, words.Count(v.Listed, "file"))
	}
	return p.Flush()
}

// WriteVerificationJSON writes the same as data.
func WriteVerificationJSON(w io.Writer, v *copycheck.Verification) error {
	return writeJSON(w, struct {
		Version   int           `json:"version"`
		Complete  bool          `json:"complete"`
		Listed    int           `json:"listed"`
		Good      int           `json:"good"`
		Missing   []string      `json:"missing"`
		Different []string      `json:"different"`
		Unlisted  []string      `json:"unlisted"`
		Problems  []copyProblem `json:"problems"`
	}{1, v.Complete(), v.Listed, v.Good, listOf(v.Missing), listOf(v.Different), listOf(v.Unlisted), copyProblems(v.Problems, false)})
}
