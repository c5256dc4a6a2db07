package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"stillspan/assemble/shoot"
	"stillspan/ingest/copycheck"
	"stillspan/internal/files"
	"stillspan/internal/settings"
	"stillspan/internal/words"
	"stillspan/report"
)

var compareCommand = command{
	name: "compare", summary: "is every file on the card in its copies? by SHA-256, before a wipe",
	usage: "CARD DUMP [DUMP ...] [OPTIONS]\n--verify LIST DIR [OPTIONS]",
	about: `Reads all folders, each file once, and finds every file of CARD in each DUMP by
its content; a copy under another name or in another folder counts. Nothing is
ever changed or deleted. To have the bytes come from the drive and not from
memory, unplug the drive after copying and plug it in again before comparing.
`,
	examples: `compare /media/card /media/dump
compare /media/card /media/dump /media/second --sums monday.sha256
compare --verify monday.sha256 /media/dump
`,
	exit: "0 every copy is complete; 3 one is not; 1 the work failed, or there\nis nothing on the card.\n",
	run:  runCompare,
}

type compareFlags struct {
	sums, verify, json string
	quiet              bool
	opt                copycheck.Options
}

func runCompare(ctx context.Context, c *call) error {
	v, dirs := c.stated, c.args
	f := compareFlags{sums: settings.Sums.Of(v), verify: settings.Verify.Of(v), json: settings.JSON.Of(v), quiet: c.quiet()}
	f.opt.Litter = settings.Litter.Of(v)
	switch {
	case f.verify != "" && f.sums != "":
		return usagef("--verify reads a list and --sums writes one: one at a time")
	case f.verify != "" && len(dirs) != 1:
		return usagef("--verify wants one folder, not %d", len(dirs))
	case f.verify == "" && len(dirs) < 2:
		return usagef("compare wants two folders or more, CARD and each DUMP, not %d", len(dirs))
	}
	for _, dir := range dirs {
		if err := shoot.FolderIsThere(dir); err != nil {
			return err
		}
	}
	if err := c.mayWrite(dirs, place{"--sums", f.sums, report.MarkSums}, place{"--json", f.json, report.MarkJSON}); err != nil {
		return err
	}
	bar := c.progress("reading", 1, inBytes...)
	f.opt.Progress = func(done, total int64) { bar.set(int(done), int(total)) }
	var err error
	if f.verify != "" {
		err = c.verifyList(ctx, f, dirs[0], bar)
	} else {
		err = c.compare(ctx, f, dirs[0], dirs[1:], bar)
	}
	if errors.Is(err, copycheck.ErrWentAway) {
		return withHint(err, "plug it in again and compare from the start")
	}
	return err
}

func (c *call) compare(ctx context.Context, f compareFlags, card string, dumps []string, bar *progress) error {
	f.opt.AllSums = f.sums != ""
	r, err := copycheck.Compare(ctx, card, dumps, f.opt)
	bar.finish()
	if err != nil {
		return err
	}
	if f.sums != "" && len(r.Files) > 0 {
		if err := c.write(files.Place{Path: f.sums, Mark: report.MarkSums}, func(w io.Writer) error { return report.WriteComparisonSums(w, r, time.Now()) }); err != nil {
			return err
		}
		fmt.Fprintf(c.stderr, "wrote %s\n", f.sums)
	}
	if err := c.writeJSON(f.json, func(w io.Writer) error { return report.WriteComparisonJSON(w, r) }); err != nil {
		return err
	}
	if len(r.Files) == 0 && len(r.Problems) == 0 {
		return withHint(fmt.Errorf("there is no file in %q to compare (%s left out)", card, words.Count(r.LeftOut, "entry")),
			"the folder that the card is mounted on: an unplugged one leaves an empty folder")
	}
	if !f.quiet && f.json != "-" {
		if err := report.WriteComparison(c.stdout, r, c.text()); err != nil {
			return err
		}
	}
	if !r.Complete() {
		return errFindings
	}
	return nil
}

func (c *call) verifyList(ctx context.Context, f compareFlags, dir string, bar *progress) error {
	sums, err := readSums(f.verify)
	if err != nil {
		return err
	}
	v, err := copycheck.Verify(ctx, dir, sums, f.opt)
	bar.finish()
	if err != nil {
		return err
	}
	if err := c.writeJSON(f.json, func(w io.Writer) error { return report.WriteVerificationJSON(w, v) }); err != nil {
		return err
	}
	if !f.quiet && f.json != "-" {
		if err := report.WriteVerification(c.stdout, f.verify, v, c.text()); err != nil {
			return err
		}
	}
	if !v.Complete() {
		return errFindings
	}
	return nil
}

// writeJSON fills a file or, for "-", standard output; "" writes nothing.
func (c *call) writeJSON(path string, fill func(io.Writer) error) error {
	switch path {
	case "":
		return nil
	case "-":
		return fill(c.stdout)
	}
	return c.write(files.Place{Path: path, Mark: report.MarkJSON}, fill)
}

// readSums reads a list of checksums that has to name something.
func readSums(path string) ([]copycheck.Sum, error) {
	const wanted = "a list that 'stillspan compare --sums' or sha256sum wrote"
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read list: %w", err)
	}
	defer file.Close()
	sums, err := copycheck.ReadSums(file)
	switch {
	case err != nil:
		return nil, withHint(fmt.Errorf("list %q: %w", path, err), wanted)
	case len(sums) == 0:
		return nil, withHint(fmt.Errorf("list %q names no file", path), wanted)
	}
	return sums, nil
}
