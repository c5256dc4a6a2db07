package copycheck

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"stillspan/internal/files"
	"stillspan/internal/words"
)

// Sum is one line of a list of checksums.
type Sum struct {
	SHA256 [sha256.Size]byte
	Name   string // slash-separated
	// Copies is how many copies held the content when the list was made; 0
	// where the list does not say.
	Copies int
}

// Names with a backslash or a line end are escaped and their line marked with
// a leading backslash, as the sha256sum of GNU coreutils does it (coreutils
// manual, "md5sum invocation").
var (
	escaper   = strings.NewReplacer(`\`, `\\`, "\n", `\n`, "\r", `\r`)
	unescaper = strings.NewReplacer(`\\`, `\`, `\n`, "\n", `\r`, "\r")
)

// copiesMark begins the comment that says how many copies hold the files that
// follow; sha256sum passes lines over that begin with #.
const copiesMark = "# copies: "

// WriteSums writes the list in sha256sum's format, behind remarks, a line each.
func WriteSums(w io.Writer, sums []Sum, remarks ...string) error {
	b := bufio.NewWriter(w)
	for _, r := range remarks {
		fmt.Fprintf(b, "# %s\n", words.OneLine(r))
	}
	copies := 0
	for _, s := range sums {
		if s.Copies != copies {
			copies = s.Copies
			fmt.Fprintf(b, "%s%d\n", copiesMark, copies)
		}
		mark, name := "", s.Name
		if strings.ContainsAny(name, "\\\n\r") {
			mark, name = `\`, escaper.Replace(name)
		}
		if _, err := fmt.Fprintf(b, "%s%x  %s\n", mark, s.SHA256, name); err != nil {
			return err
		}
	}
	return b.Flush()
}

// maxName is the longest path there is, bytes, and maxLine bounds a line of a
// list: a hash and such a path, every byte of it escaped.
const (
	maxName = 4096
	maxLine = 2*maxName + 128
)

// ReadSums reads a list in sha256sum's format, with text or binary marks, as
// Unix or Windows writes it.
func ReadSums(r io.Reader) ([]Sum, error) {
	var sums []Sum
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, maxLine)
	lines.Split(splitAtNewline)
	copies, returns, n := 0, 0, 0
	for lines.Scan() {
		n++
		line := lines.Text()
		if n == 1 {
			line = strings.TrimPrefix(line, "\ufeff") // as Windows editors begin a file
		}
		if text := strings.TrimSuffix(line, "\r"); text == "" || text[0] == '#' {
			if said, ok := strings.CutPrefix(text, copiesMark); ok {
				if k, err := strconv.ParseUint(said, 10, 16); err == nil {
					copies = int(k)
				}
			}
			continue
		}
		if strings.HasSuffix(line, "\r") {
			returns++
			if line[0] == '\\' { // where one in the name is escaped
				line = strings.TrimSuffix(line, "\r")
			}
		}
		s, err := parseSum(line)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		s.Copies = copies
		sums = append(sums, s)
	}
	if err := lines.Err(); err != nil {
		if errors.Is(err, bufio.ErrTooLong) {
			err = errors.New("is longer than any of a sha256sum list")
		}
		return nil, fmt.Errorf("line %d: %w", n+1, files.Cause(err))
	}
	// A carriage return at the end of every name is the line's and not the
	// name's.
	if returns == len(sums) {
		for i := range sums {
			if sums[i].Name = strings.TrimSuffix(sums[i].Name, "\r"); sums[i].Name == "" {
				return nil, errors.New("a line names no file")
			}
		}
	}
	return sums, nil
}

// splitAtNewline keeps a carriage return, which may be part of a name.
func splitAtNewline(data []byte, atEOF bool) (int, []byte, error) {
	if i := bytes.IndexByte(data, '\n'); i >= 0 {
		return i + 1, data[:i], nil
	}
	if atEOF && len(data) > 0 {
		return len(data), data, nil
	}
	return 0, nil, nil
}

func parseSum(line string) (Sum, error) {
	var s Sum
	bad := errors.New("is no line of a sha256sum list")
	rest, escaped := strings.CutPrefix(line, `\`)
	if len(rest) < 2*sha256.Size+3 {
		return s, bad
	}
	hash, sep, name := rest[:2*sha256.Size], rest[2*sha256.Size:2*sha256.Size+2], rest[2*sha256.Size+2:]
	if sep != "  " && sep != " *" {
		return s, bad
	}
	if _, err := hex.Decode(s.SHA256[:], []byte(hash)); err != nil {
		return s, bad
	}
	if escaped {
		name = unescaper.Replace(name)
	}
	if len(name) > maxName {
		return s, fmt.Errorf("has a name of %d bytes, longer than any path", len(name))
	}
	s.Name = name
	return s, nil
}

// Verification is a folder set against a list of checksums.
type Verification struct {
	Listed, Good int
	Missing      []string  // listed, not there
	Different    []string  // there with other content
	Unlisted     []string  // there, not in the list
	Problems     []Problem // could not be read
}

// Complete tells whether every listed file is there unaltered.
func (v *Verification) Complete() bool { return v.Good == v.Listed }

// CopiesOf reads files to their ends and tells of each how many copies hold its
// content by a list: 0 where the list does not name it, -1 where it cannot be
// read. ok is false for a list that says nothing of copies.
func CopiesOf(ctx context.Context, paths []string, sums []Sum, progress func(done, total int64)) (copies []int, ok bool, err error) {
	listed := map[hash]int{}
	for _, s := range sums {
		listed[s.SHA256] = max(listed[s.SHA256], s.Copies)
		ok = ok || s.Copies > 0
	}
	if !ok {
		return nil, false, nil
	}
	t := &tree{}
	for _, p := range paths {
		f := file{name: p}
		if info, err := os.Stat(p); err == nil {
			f.info, f.size, f.read = info, info.Size(), true
		}
		t.files = append(t.files, f)
	}
	m := newMeter(progress, []*tree{t})
	buf := make([]byte, bufferBytes)
	for i := range t.files {
		copies = append(copies, -1)
		f := &t.files[i]
		if !f.read {
			continue
		}
		sum, err := sumFile(ctx, f.name, f.info, buf, m)
		if ctx.Err() != nil {
			return nil, true, ctx.Err()
		}
		if err == nil {
			copies[i] = listed[sum]
		}
	}
	return copies, true, nil
}

// Verify reads the listed files under dir once and compares. Names that lead
// out of dir are refused.
func Verify(ctx context.Context, dir string, sums []Sum, opt Options) (*Verification, error) {
	t, err := openTree(dir)
	if err != nil {
		return nil, err
	}
	if err := t.list(ctx, true); err != nil {
		return nil, err
	}
	at := map[string]int{}
	for i := range t.files {
		at[t.files[i].name] = i
	}
	v := &Verification{Listed: len(sums)}
	wanted := make([]int, len(sums))
	listed := map[string]bool{}
	for k, s := range sums {
		name := path.Clean(s.Name)
		if !filepath.IsLocal(filepath.FromSlash(name)) {
			return nil, fmt.Errorf("the list names %q, which lies outside %q", s.Name, dir)
		}
		i, ok := at[name]
		if !ok {
			wanted[k] = -1
			v.Missing = append(v.Missing, s.Name)
			continue
		}
		wanted[k] = i
		listed[name] = true
		t.files[i].read = true
	}
	if err := readAll(ctx, opt.Progress, t); err != nil {
		return nil, err
	}
	if err := t.stillThere(); err != nil {
		return nil, err
	}
	for k, s := range sums {
		switch i := wanted[k]; {
		case i < 0 || !t.files[i].hashed:
		case t.files[i].sum == s.SHA256:
			v.Good++
		default:
			v.Different = append(v.Different, s.Name)
		}
	}
	for i := range t.files {
		if !listed[t.files[i].name] {
			v.Unlisted = append(v.Unlisted, t.files[i].name)
		}
	}
	v.Problems = t.problems
	slices.Sort(v.Unlisted)
	return v, nil
}
