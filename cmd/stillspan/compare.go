package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"stillspan/assemble/shoot"
	"stillspan/ingest/copycheck"
	"stillspan/internal/files"
	"stillspan/internal/words"
)

var compareCommand = command{
	name: "compare", summary: "is every file on the card in the dump? by SHA-256, before a wipe",
	help: `usage: stillspan compare CARD DUMP [OPTIONS]
       stillspan compare --verify LIST DIR [OPTIONS]

Reads both folders, each file once, and finds every file of CARD in DUMP by its
content; a copy under another name or in another folder counts. Nothing is ever
changed or deleted. To have the bytes come from the drive and not from memory,
unplug the drive after copying and plug it in again before comparing.

  --sums LIST     write the dump's checksums as a list that sha256sum reads
                  too: (cd DUMP && sha256sum --check LIST)
  --verify LIST   set DIR against a list written earlier
  --litter        compare what desktop systems leave on cards as well
  --json FILE|-   write what was found as JSON, - for standard output
  --quiet         print nothing but messages

examples:
  stillspan compare /media/card /media/dump
  stillspan compare /media/card /media/dump --sums monday.sha256
  stillspan compare --verify monday.sha256 /media/dump

Exit codes: 0 the copy is complete; 3 it is not; 1 the work failed.
`,
	run: runCompare,
}

type compareFlags struct {
	sums, verify, json string
	quiet              bool
	opt                copycheck.Options
}

func runCompare(ctx context.Context, c *cli, args []string) error {
	fl := newFlags("compare")
	var f compareFlags
	fl.StringVar(&f.sums, "sums", "", "")
	fl.StringVar(&f.verify, "verify", "", "")
	fl.StringVar(&f.json, "json", "", "")
	fl.BoolVar(&f.quiet, "quiet", false, "")
	fl.BoolVar(&f.opt.Litter, "litter", false, "")
	dirs, err := parse(fl, args)
	if err != nil {
		return err
	}
	switch {
	case f.verify != "" && f.sums != "":
		return usagef("--verify reads a list and --sums writes one: one at a time")
	case f.verify != "" && len(dirs) != 1:
		return usagef("--verify wants one folder, not %d", len(dirs))
	case f.verify == "" && len(dirs) != 2:
		return usagef("compare wants two folders, CARD and DUMP, not %d", len(dirs))
	}
	for _, dir := range dirs {
		if err := shoot.FolderIsThere(dir); err != nil {
			return err
		}
		for _, out := range []struct{ flag, path string }{{"--sums", f.sums}, {"--json", f.json}} {
			if out.path == "" || out.path == "-" {
				continue
			}
			if inside, err := files.Inside(out.path, dir); err != nil {
				return fmt.Errorf("%s: %w", out.flag, err)
			} else if inside {
				return usagef("%s %q lies inside %q, which is only read: choose a place outside it", out.flag, out.path, dir)
			}
		}
	}
	bar := c.progress("reading", 1, f.quiet)
	f.opt.Progress = func(done, total int64) { bar.set(int(done), int(total)) }
	if f.verify != "" {
		err = c.verifyList(ctx, f, dirs[0], bar)
	} else {
		err = c.compare(ctx, f, dirs[0], dirs[1], bar)
	}
	if errors.Is(err, copycheck.ErrWentAway) {
		return withHint(err, "plug it in again and compare from the start")
	}
	return err
}

func (c *cli) compare(ctx context.Context, f compareFlags, card, dump string, bar *progress) error {
	f.opt.AllSums = f.sums != ""
	r, err := copycheck.Compare(ctx, card, dump, f.opt)
	bar.finish()
	if err != nil {
		return err
	}
	if f.sums != "" {
		if err := writeFile(f.sums, func(w io.Writer) error { return copycheck.WriteSums(w, r.Sums) }); err != nil {
			return err
		}
		fmt.Fprintf(c.stderr, "wrote %s\n", f.sums)
	}
	if err := c.writeJSON(f.json, compareJSON(r)); err != nil {
		return err
	}
	if !f.quiet && f.json != "-" {
		if err := printComparison(c.stdout, r); err != nil {
			return err
		}
	}
	if !r.Complete() {
		return errFindings
	}
	return nil
}

// printComparison lists what a photographer has to act on first, and ends in
// the one line that matters.
func printComparison(w io.Writer, r *copycheck.Result) error {
	var b strings.Builder
	fmt.Fprintf(&b, "card %q: %s, %s\n", r.Card, words.Count(r.Files, "file"), words.Bytes(r.Bytes))
	fmt.Fprintf(&b, "dump %q: %d of them there with the same SHA-256\n", r.Dump, r.Present)
	list(&b, "not in the dump", r.Missing)
	if n := len(r.Different); n > 0 {
		fmt.Fprintf(&b, "\nin the dump with other content: %d\n", n)
		for _, p := range r.Different {
			fmt.Fprintf(&b, "  %s: %s", oneLine(p.Card), oneLine(p.Dump))
			if p.CardSize != p.DumpSize {
				fmt.Fprintf(&b, " has %d bytes, not %d\n", p.DumpSize, p.CardSize)
			} else {
				fmt.Fprint(&b, " has the same size\n")
			}
		}
	}
	var onCard, inDump []string
	for _, p := range r.Problems {
		line := p.Name + ": " + p.Text
		if p.OnCard {
			onCard = append(onCard, line)
		} else {
			inDump = append(inDump, line)
		}
	}
	list(&b, "could not be judged on the card", onCard)
	list(&b, "could not be read in the dump", inDump)
	if n := len(r.Moved); n > 0 {
		fmt.Fprintf(&b, "\nthere under another name or folder: %d, such as %s as %s\n", n, oneLine(r.Moved[0].Card), oneLine(r.Moved[0].Dump))
	}
	list(&b, "in the dump but not on the card", r.Extra)
	if n := len(r.Duplicates); n > 0 {
		fmt.Fprintf(&b, "\nthere more than once: %d\n", n)
		for _, g := range r.Duplicates[:min(n, listed)] {
			fmt.Fprintf(&b, "  %s\n", oneLine(strings.Join(g, " = ")))
		}
		more(&b, n)
	}
	if r.LeftOut > 0 {
		fmt.Fprintf(&b, "\nnot compared: %s (left by desktop systems, links, pipes)\n", words.Count(r.LeftOut, "entry"))
	}
	b.WriteString("\n" + verdict(r) + "\n")
	_, err := io.WriteString(w, b.String())
	return err
}

func verdict(r *copycheck.Result) string {
	switch {
	case r.Files == 0 && r.Complete():
		return "NOTHING TO COMPARE: there is no file on the card."
	case r.Complete():
		return fmt.Sprintf("COMPLETE: all %s on the card are in the dump. One copy is no backup: make a second before the card is wiped.", words.Count(r.Files, "file"))
	}
	return fmt.Sprintf("NOT COMPLETE: %d of %s on the card are not proven to be in the dump. Do not wipe the card.", max(1, r.Files-r.Present), words.Count(r.Files, "file"))
}

// listed is how many lines of lists that call for no action are printed.
const listed = 10

// list prints names under a heading, all of those that call for action.
func list(b *strings.Builder, heading string, names []string) {
	if len(names) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s: %d\n", heading, len(names))
	show := names
	if strings.HasPrefix(heading, "in the dump") {
		show = names[:min(len(names), listed)]
	}
	for _, n := range show {
		fmt.Fprintf(b, "  %s\n", oneLine(n))
	}
	if len(show) < len(names) {
		more(b, len(names))
	}
}

func more(b *strings.Builder, n int) {
	if n > listed {
		fmt.Fprintf(b, "  and %d more; --json lists all\n", n-listed)
	}
}

// copyPair and copyProblem are the JSON of what copycheck found.
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

func compareJSON(r *copycheck.Result) any {
	return struct {
		Version    int           `json:"version"`
		Card       string        `json:"card"`
		Dump       string        `json:"dump"`
		Complete   bool          `json:"complete"`
		Files      int           `json:"files"`
		Bytes      int64         `json:"bytes"`
		Present    int           `json:"present"`
		Missing    []string      `json:"missing"`
		Different  []copyPair    `json:"different"`
		Moved      []copyPair    `json:"moved"`
		Extra      []string      `json:"extra"`
		Duplicates [][]string    `json:"duplicates"`
		Problems   []copyProblem `json:"problems"`
		LeftOut    int           `json:"left_out"`
	}{
		1, r.Card, r.Dump, r.Complete(), r.Files, r.Bytes, r.Present, some(r.Missing), copyPairs(r.Different),
		copyPairs(r.Moved), some(r.Extra), some(r.Duplicates), copyProblems(r.Problems), r.LeftOut,
	}
}

func copyPairs(ps []copycheck.Pair) []copyPair {
	out := []copyPair{}
	for _, p := range ps {
		out = append(out, copyPair{p.Card, p.Dump, p.CardSize, p.DumpSize})
	}
	return out
}

func copyProblems(ps []copycheck.Problem) []copyProblem {
	out := []copyProblem{}
	for _, p := range ps {
		out = append(out, copyProblem{p.Name, p.Text, p.OnCard})
	}
	return out
}

// some makes an empty JSON list of a nil one.
func some[T any](v []T) []T {
	if v == nil {
		return []T{}
	}
	return v
}

// writeJSON writes v to a file or, for "-", to stdout; "" writes nothing.
func (c *cli) writeJSON(path string, v any) error {
	if path == "" {
		return nil
	}
	fill := func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		e.SetEscapeHTML(false)
		return e.Encode(v)
	}
	if path == "-" {
		return fill(c.stdout)
	}
	return writeFile(path, fill)
}

func (c *cli) verifyList(ctx context.Context, f compareFlags, dir string, bar *progress) error {
	file, err := os.Open(f.verify)
	if err != nil {
		return fmt.Errorf("cannot read list: %w", err)
	}
	defer file.Close()
	sums, err := copycheck.ReadSums(file)
	if err != nil {
		return withHint(fmt.Errorf("list %q: %w", f.verify, err), "a list that 'stillspan compare --sums' or sha256sum wrote")
	}
	if len(sums) == 0 {
		return withHint(fmt.Errorf("list %q names no file", f.verify), "a list that 'stillspan compare --sums' or sha256sum wrote")
	}
	v, err := copycheck.Verify(ctx, dir, sums, f.opt)
	bar.finish()
	if err != nil {
		return err
	}
	var problems []string
	for _, p := range v.Problems {
		problems = append(problems, p.Name+": "+p.Text)
	}
	if err := c.writeJSON(f.json, struct {
		Version   int           `json:"version"`
		Complete  bool          `json:"complete"`
		Listed    int           `json:"listed"`
		Good      int           `json:"good"`
		Missing   []string      `json:"missing"`
		Different []string      `json:"different"`
		Unlisted  []string      `json:"unlisted"`
		Problems  []copyProblem `json:"problems"`
	}{1, v.Complete(), v.Listed, v.Good, some(v.Missing), some(v.Different), some(v.Unlisted), copyProblems(v.Problems)}); err != nil {
		return err
	}
	if !f.quiet && f.json != "-" {
		var b strings.Builder
		fmt.Fprintf(&b, "list %q: %s\n", f.verify, words.Count(v.Listed, "file"))
		list(&b, "not there", v.Missing)
		list(&b, "there with other content", v.Different)
		list(&b, "could not be read", problems)
		list(&b, "in the dump but not in the list", v.Unlisted)
		if v.Complete() {
			fmt.Fprintf(&b, "\nCOMPLETE: all %s are as listed. One copy is no backup.\n", words.Count(v.Listed, "file"))
		} else {
			fmt.Fprintf(&b, "\nNOT COMPLETE: %d of %s are not as listed.\n", v.Listed-v.Good, words.Count(v.Listed, "file"))
		}
		if _, err := io.WriteString(c.stdout, b.String()); err != nil {
			return err
		}
	}
	if !v.Complete() {
		return errFindings
	}
	return nil
}
