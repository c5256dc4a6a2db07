package copycheck

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"
	"testing"
	"time"

	"stillspan/internal/bounded"
)

// put makes files from names and contents; a name that ends in / is a folder.
func put(t testing.TB, root string, files map[string]string) {
	t.Helper()
	for name, content := range files {
		p := filepath.Join(root, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func twoFolders(t testing.TB, card, dump map[string]string) (string, string) {
	t.Helper()
	dir := t.TempDir()
	c, d := filepath.Join(dir, "card"), filepath.Join(dir, "dump")
	for _, p := range []string{c, d} {
		if err := os.MkdirAll(p, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	put(t, c, card)
	put(t, d, dump)
	return c, d
}

func TestCompare(t *testing.T) {
	type want struct {
		complete                  bool
		files, present            int
		missing, different, extra string // joined by spaces
		moved, duplicates         string
		leftOut                   int
	}
	for _, tt := range []struct {
		name       string
		card, dump map[string]string
		want       want
	}{
		{"nothing on the card is no complete copy", nil, map[string]string{"1": "one"}, want{extra: "1"}},
		{"a plain copy",
			map[string]string{"DCIM/100A/I1.JPG": "one", "DCIM/100A/I2.JPG": "two"},
			map[string]string{"DCIM/100A/I1.JPG": "one", "DCIM/100A/I2.JPG": "two"},
			want{complete: true, files: 2, present: 2}},
		{"a copy in a folder of its own, in lower case",
			map[string]string{"DCIM/100A/I1.JPG": "one"},
			map[string]string{"monday/dcim/100a/i1.jpg": "one"},
			want{complete: true, files: 1, present: 1}},
		{"renamed and put in other folders",
			map[string]string{"DCIM/100A/I1.JPG": "one", "DCIM/100A/I2.JPG": "two"},
			map[string]string{"dawn/0001.jpg": "one", "I2.JPG": "two"},
			want{complete: true, files: 2, present: 2, moved: "DCIM/100A/I1.JPG>dawn/0001.jpg"}},
		{"missing, altered and extra",
			map[string]string{"A/1": "one", "A/2": "two", "A/3": "three"},
			map[string]string{"A/1": "one", "A/2": "tWo", "A/4": "four"},
			want{files: 3, present: 1, missing: "A/3", different: "A/2>A/2", extra: "A/4"}},
		{"cut short",
			map[string]string{"A/1": "a long content"},
			map[string]string{"A/1": "a long"},
			want{files: 1, different: "A/1>A/1"}},
		// A counter that rolled over gives one name twice on a card. Its copy
		// of the one must not be taken for an altered copy of the other.
		{"one name in two folders, one lost",
			map[string]string{"100A/I1": "first", "101A/I1": "other"},
			map[string]string{"100A/I1": "first"},
			want{files: 2, present: 1, missing: "101A/I1"}},
		{"one name in two folders, flattened over each other",
			map[string]string{"100A/I1": "first", "101A/I1": "other"},
			map[string]string{"I1": "other"},
			want{files: 2, present: 1, missing: "100A/I1"}},
		{"the altered copy is the one whose folder agrees",
			map[string]string{"100A/I1": "first", "101A/I1": "other"},
			map[string]string{"x/101A/I1": "othex", "x/100A/I1": "firsx"},
			want{files: 2, different: "100A/I1>x/100A/I1 101A/I1>x/101A/I1"}},
		{"names that differ in case alone, on a card that heeds case",
			map[string]string{"a.jpg": "one", "A.JPG": "two"},
			map[string]string{"A.JPG": "two"},
			want{files: 2, present: 1, missing: "a.jpg"}},
		{"composed and decomposed letters are one name",
			map[string]string{"caf\u00e9.jpg": "one"},
			map[string]string{"cafe\u0301.jpg": "onE"},
			want{files: 1, different: "caf\u00e9.jpg>cafe\u0301.jpg"}},
		{"kept twice",
			map[string]string{"1": "one"},
			map[string]string{"1": "one", "copy of 1": "one", "x": "tick", "y": "tick"},
			want{complete: true, files: 1, present: 1, extra: "x y", duplicates: "1,copy of 1 x,y"}},
		{"same size, other content, other name",
			map[string]string{"1": "one"},
			map[string]string{"2": "two"},
			want{files: 1, missing: "1", extra: "2"}},
		{"an empty file is no copy of another empty file",
			map[string]string{"1": "", "2": ""},
			map[string]string{"2": "", "3": ""},
			want{files: 2, present: 1, missing: "1"}},
		{"what desktop systems leave on cards",
			map[string]string{"1": "one", "._1": "fork", ".DS_Store": "x", "System Volume Information/a/b": "x", "thumbs.db": "x"},
			map[string]string{"1": "one"},
			want{complete: true, files: 1, present: 1, leftOut: 4}},
		{"pictures where desktop systems leave litter",
			map[string]string{"lost+found/#12": jpegHead, "._I1.JPG": jpegHead + "1", "$RECYCLE.BIN/x": "x", "System Volume Information/y.mov": "\x00\x00\x00\x14ftypqt  "},
			map[string]string{"lost+found/#12": jpegHead},
			want{files: 3, present: 1, missing: "._I1.JPG System Volume Information/y.mov", leftOut: 1}},
		{"names that are hard to print",
			map[string]string{"a\nb": "one", `c\d`: "two", "-n": "three", " e ": "four", "100%s": "five"},
			map[string]string{"a\nb": "one", `c\d`: "two", "-n": "three", " e ": "four", "100%s": "five"},
			want{complete: true, files: 5, present: 5}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			card, dump := twoFolders(t, tt.card, tt.dump)
			before := snapshot(t, filepath.Dir(card))
			r, err := Compare(t.Context(), card, []string{dump}, Options{})
			if err != nil {
				t.Fatal(err)
			}
			c := &r.Copies[0]
			got := want{
				complete: r.Complete(), files: len(r.Files), present: c.Present,
				missing: strings.Join(c.Missing, " "), different: pairs(c.Different), extra: strings.Join(c.Extra, " "),
				moved: pairs(c.Moved), leftOut: r.LeftOut,
			}
			for i, g := range c.Duplicates {
				if i > 0 {
					got.duplicates += " "
				}
				got.duplicates += strings.Join(g, ",")
			}
			if got != tt.want {
				t.Errorf("got  %+v\nwant %+v", got, tt.want)
			}
			if after := snapshot(t, filepath.Dir(card)); !reflect.DeepEqual(before, after) {
				t.Error("comparing has changed the folders")
			}
		})
	}
}

// jpegHead is as much of a JPEG as tells its kind and size.
const jpegHead = "\xff\xd8\xff\xc0\x00\x0b\x08\x00\x08\x00\x08\x01\x01\x11\x00\xff\xd9"

// Of several copies each is judged by itself, and of each file is told how many
// hold it; each folder is read once.
func TestCompareSeveral(t *testing.T) {
	dir := t.TempDir()
	card, a, b := filepath.Join(dir, "card"), filepath.Join(dir, "a"), filepath.Join(dir, "b")
	put(t, card, map[string]string{"1": "one", "2": "two", "3": "three", "4": "four"})
	put(t, a, map[string]string{"1": "one", "2": "two", "3": "three"})
	put(t, b, map[string]string{"1": "one", "sub/2": "two", "3": "threx", "extra": "extra"})
	var total int64
	r, err := Compare(t.Context(), card, []string{a, b}, Options{AllSums: true, Progress: func(d, n int64) { total = d }})
	if err != nil {
		t.Fatal(err)
	}
	if want := []File{{"1", 3, 2}, {"2", 3, 2}, {"3", 5, 1}, {"4", 4, 0}}; !reflect.DeepEqual(r.Files, want) {
		t.Errorf("files %v", r.Files)
	}
	if r.Complete() || r.Held(2) != 2 || r.Held(1) != 3 || r.Copies[0].Present != 3 || r.Copies[1].Present != 2 || pairs(r.Copies[1].Different) != "3>3" || total != 15+11+16 {
		t.Errorf("%+v, %d bytes read", r, total)
	}
	if !reflect.DeepEqual(r.Shared, [][]int{{0, 1}}) {
		t.Errorf("two copies on one file system are not told: %v", r.Shared)
	}
	var got []string
	for _, s := range r.Sums {
		got = append(got, fmt.Sprint(s.Name, "=", s.Copies))
	}
	if strings.Join(got, " ") != "1=2 2=2 3=1 3=1 extra=1" {
		t.Errorf("sums %q", got)
	}
	for _, twice := range [][]string{{a, a}, {a, card}, {a, filepath.Join(b, "sub"), b}} {
		if _, err := Compare(t.Context(), card, twice, Options{}); err == nil {
			t.Errorf("%q: compared", twice)
		}
	}
	copies, ok, err := CopiesOf(t.Context(), []string{filepath.Join(card, "1"), filepath.Join(card, "3"), filepath.Join(card, "4"), filepath.Join(card, "5")}, r.Sums, nil)
	if err != nil || !ok || !reflect.DeepEqual(copies, []int{2, 1, 0, -1}) {
		t.Errorf("copies %v, %v, %v", copies, ok, err)
	}
	if _, ok, _ := CopiesOf(t.Context(), nil, []Sum{{Name: "1"}}, nil); ok {
		t.Error("a list that says nothing of copies is believed to")
	}
}

func pairs(ps []Pair) string {
	var s []string
	for _, p := range ps {
		s = append(s, p.Card+">"+p.Dump)
	}
	return strings.Join(s, " ")
}

// snapshot is every path with its size and time of change.
func snapshot(t *testing.T, root string) map[string]string {
	t.Helper()
	m := map[string]string{}
	err := filepath.WalkDir(root, func(p string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := e.Info()
		if err == nil {
			m[p] = fmt.Sprint(info.Mode(), info.Size(), info.ModTime())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// The unwelcome kinds of file must neither hang the work nor pass for copies.
func TestCompareOddFiles(t *testing.T) {
	card, dump := twoFolders(t, map[string]string{"1": "one", "2": "two"}, map[string]string{"1": "one"})
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(syscall.Mkfifo(filepath.Join(card, "pipe"), 0o644))
	must(syscall.Mkfifo(filepath.Join(dump, "pipe"), 0o644))
	must(os.Symlink(".", filepath.Join(card, "loop")))
	must(os.Symlink("..", filepath.Join(dump, "loop")))
	// A link to the card, soft or hard, is no copy of what is on it.
	must(os.Symlink(filepath.Join(card, "2"), filepath.Join(dump, "soft")))
	must(os.Link(filepath.Join(card, "2"), filepath.Join(dump, "2")))
	r, err := Compare(t.Context(), card, []string{dump}, Options{})
	must(err)
	if c := r.Copies[0]; r.Complete() || c.Present != 1 || !reflect.DeepEqual(c.Missing, []string{"2"}) {
		t.Errorf("present %d, missing %q: a link to the card counted as a copy", c.Present, c.Missing)
	}
	if r.LeftOut != 2 {
		t.Errorf("left out %d, want the pipe and the link", r.LeftOut)
	}
}

func TestCompareRefuses(t *testing.T) {
	card, dump := twoFolders(t, map[string]string{"in/1": "one"}, map[string]string{"1": "one"})
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(card, link); err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string][2]string{
		"same folder":          {card, card},
		"same through a link":  {card, link},
		"dump on the card":     {card, filepath.Join(card, "in")},
		"card inside the dump": {filepath.Join(link, "in"), card},
		"no such card":         {card + "x", dump},
		"no such dump":         {card, dump + "x"},
		"a file":               {filepath.Join(card, "in/1"), dump},
	} {
		if r, err := Compare(t.Context(), tt[0], []string{tt[1]}, Options{}); err == nil {
			t.Errorf("%s: compared: %+v", name, r)
		} else if strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: more than one line: %q", name, err)
		}
	}
}

// Files and folders may vanish or change between listing and reading.
func TestTrouble(t *testing.T) {
	card, _ := twoFolders(t, map[string]string{"1": "one", "2": "two", "3": "three"}, nil)
	tr, err := openTree(card)
	if err == nil {
		err = tr.list(t.Context(), false)
	}
	if err != nil {
		t.Fatal(err)
	}
	for i := range tr.files {
		tr.files[i].read = true
	}
	os.Remove(filepath.Join(card, "1"))
	os.WriteFile(filepath.Join(card, "2"), []byte("changed since"), 0o644)
	if err := tr.hash(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if len(tr.problems) != 2 || tr.files[0].hashed || tr.files[1].hashed || !tr.files[2].hashed {
		t.Errorf("problems %+v", tr.problems)
	}
	if err := os.Rename(card, card+"-unplugged"); err != nil {
		t.Fatal(err)
	}
	if err := tr.hash(t.Context(), nil); !errors.Is(err, ErrWentAway) {
		t.Errorf("unplugged: %v", err)
	}
	// Where it was mounted an empty folder is left.
	if err := os.Mkdir(card, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := tr.stillThere(); !errors.Is(err, ErrWentAway) {
		t.Errorf("unmounted: %v", err)
	}
}

func TestUnreadableOnCard(t *testing.T) {
	info, err := os.Stat(".")
	if err != nil {
		t.Fatal(err)
	}
	c := &tree{info: info, files: []file{{name: "1", size: 3, read: true}}, problems: []Problem{{Name: "1", Text: "cannot be read"}}}
	r := judge(c, []*tree{{info: info}})
	if r.Complete() || len(r.Problems) != 1 {
		t.Errorf("a file that cannot be read passes as copied: %+v", r)
	}
}

func TestCompareCancelled(t *testing.T) {
	card, dump := twoFolders(t, map[string]string{"1": "one"}, map[string]string{"1": "one"})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Compare(ctx, card, []string{dump}, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

// Each byte is read once, and what cannot be a copy is not read at all.
func TestReadOnce(t *testing.T) {
	card, dump := twoFolders(t, map[string]string{"1": "one", "2": "seven b"}, map[string]string{"1": "one", "2": "seven c", "3": "something else"})
	var read, total int64
	_, err := Compare(t.Context(), card, []string{dump}, Options{Progress: func(d, n int64) { read, total = d, n }})
	if err != nil || read != 20 || total != 20 {
		t.Errorf("read %d of %d bytes, want 20 of 20 (%v)", read, total, err)
	}
}

// The list is checked against the real sha256sum of GNU coreutils, both ways:
// its -c accepts ours, and we accept its own, byte for byte.
func TestSumsAgainstCoreutils(t *testing.T) {
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("sha256sum is not installed: it is in the package coreutils")
	}
	files := map[string]string{
		"DCIM/100A/I1.JPG": "one", "a\nb": "2", "c\rd": "3", `e\f`: "4", "g\\\nh": "5",
		" lead": "6", "*star": "7", "tail ": "8", "-c": "9", "#hash": "10", "caf\u00e9": "11", "empty": "", "100%s": "12",
		"\xff\xfe not utf-8": "13",
	}
	card, dump := twoFolders(t, files, files)
	r, err := Compare(t.Context(), card, []string{dump}, Options{AllSums: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Sums) != len(files) {
		t.Fatalf("%d sums for %d files", len(r.Sums), len(files))
	}
	var ours bytes.Buffer
	if err := WriteSums(&ours, r.Sums); err != nil {
		t.Fatal(err)
	}
	check := func() error {
		cmd := exec.Command(tool, "--check", "--strict", "--quiet", "-")
		cmd.Dir, cmd.Stdin = dump, bytes.NewReader(ours.Bytes())
		out, err := cmd.CombinedOutput()
		if err != nil {
			return fmt.Errorf("%w: %s", err, out)
		}
		return nil
	}
	if err := check(); err != nil || !bytes.HasPrefix(ours.Bytes(), []byte("# ")) {
		t.Errorf("sha256sum refuses our list: %v", err)
	}
	if back, err := ReadSums(&ours); err != nil || !reflect.DeepEqual(back, r.Sums) {
		t.Errorf("read back: %v\n%+v\n%+v", err, back, r.Sums)
	}
	for i := range r.Sums {
		r.Sums[i].Copies = 0
	}
	if err := WriteSums(&ours, r.Sums); err != nil {
		t.Fatal(err)
	}
	args := []string{"--"}
	for _, s := range r.Sums {
		args = append(args, s.Name)
	}
	cmd := exec.Command(tool, args...)
	cmd.Dir = dump
	theirs, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(ours.Bytes(), theirs) {
		t.Errorf("the lists differ:\n%q\n%q", ours.Bytes(), theirs)
	}
	back, err := ReadSums(bytes.NewReader(theirs))
	if err != nil || !reflect.DeepEqual(back, r.Sums) {
		t.Errorf("read back: %v\n%+v\n%+v", err, back, r.Sums)
	}
	v, err := Verify(t.Context(), dump, back, Options{})
	if err != nil || !v.Complete() || v.Good != len(files) {
		t.Errorf("verify: %v %+v", err, v)
	}

	// One flipped bit must be seen by both.
	put(t, dump, map[string]string{"DCIM/100A/I1.JPG": "ond", "new": "x"})
	os.Remove(filepath.Join(dump, "empty"))
	v, err = Verify(t.Context(), dump, back, Options{})
	if err != nil || v.Complete() || !reflect.DeepEqual(v.Different, []string{"DCIM/100A/I1.JPG"}) ||
		!reflect.DeepEqual(v.Missing, []string{"empty"}) || !reflect.DeepEqual(v.Unlisted, []string{"new"}) {
		t.Errorf("verify of an altered copy: %v %+v", err, v)
	}
	if check() == nil {
		t.Error("sha256sum accepts the altered copy")
	}
}

func TestVerifyStaysInside(t *testing.T) {
	_, dump := twoFolders(t, nil, map[string]string{"1": "one"})
	for _, name := range []string{"../card/1", "/etc/passwd", ".."} {
		if _, err := Verify(t.Context(), dump, []Sum{{Name: name}}, Options{}); err == nil {
			t.Errorf("%q was looked at", name)
		}
	}
	if v, err := Verify(t.Context(), dump, []Sum{{SHA256: sha256.Sum256([]byte("one")), Name: "./1"}}, Options{}); err != nil || !v.Complete() {
		t.Errorf("./1: %v %+v", err, v)
	}
}

func TestReadSumsRefuses(t *testing.T) {
	h := strings.Repeat("0a", 32)
	for _, s := range []string{"x", h, h + "  ", h + " 1", h + "\t 1", strings.Repeat("zz", 32) + "  1", h[:62] + "  1", h + "  " + strings.Repeat("n", maxLine), h + "  " + strings.Repeat("n", maxName+1)} {
		if got, err := ReadSums(strings.NewReader(s)); err == nil {
			t.Errorf("%.80q: read as %d lines", s, len(got))
		}
	}
}

// A list that went through Windows has other line ends, and names none of its
// files otherwise.
func TestReadSumsOfWindows(t *testing.T) {
	h := strings.Repeat("0a", 32)
	list := "\ufeff# copies: 2\r\n" + h + "  a.jpg\r\n\r\n\\" + h + "  b\\\\c\r\n"
	got, err := ReadSums(strings.NewReader(list))
	if err != nil || len(got) != 2 || got[0].Name != "a.jpg" || got[1].Name != `b\c` || got[0].Copies != 2 {
		t.Errorf("%+v, %v", got, err)
	}
	// One name among others may end in a carriage return, where the tool that
	// wrote the list escaped none.
	got, err = ReadSums(strings.NewReader(h + "  a\r\n" + h + "  b\n"))
	if err != nil || got[0].Name != "a\r" {
		t.Errorf("%+v, %v", got, err)
	}
}

func FuzzReadSums(f *testing.F) {
	f.Add([]byte(strings.Repeat("0a", 32) + "  name\n\\" + strings.Repeat("0b", 32) + " *a\\nb\\\\\n"))
	f.Add([]byte("#\n\n\\"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var sums []Sum
		var err error
		bounded.Run(t, func() { sums, err = ReadSums(bytes.NewReader(data)) })
		if err != nil {
			return
		}
		var out bytes.Buffer
		if err := WriteSums(&out, sums); err != nil {
			t.Fatal(err)
		}
		again, err := ReadSums(&out)
		if err != nil || !reflect.DeepEqual(sums, again) {
			t.Fatalf("%v\n%+v\n%+v", err, sums, again)
		}
	})
}

// BenchmarkCompare reads the same files as sha256sum, in turns in one run, and
// prints the ratio of the two speeds (Compare's over sha256sum's).
func BenchmarkCompare(b *testing.B) {
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		b.Skip("sha256sum is not installed: it is in the package coreutils")
	}
	card, dump := twoFolders(b, nil, nil)
	rng := rand.NewChaCha8([32]byte{1})
	var args []string
	var total int64
	for i := range 24 {
		data := make([]byte, 8<<20)
		rng.Read(data)
		for _, root := range []string{card, dump} {
			p := filepath.Join(root, fmt.Sprintf("I%04d.JPG", i))
			if err := os.WriteFile(p, data, 0o644); err != nil {
				b.Fatal(err)
			}
			args = append(args, p)
			total += int64(len(data))
		}
	}
	var ours, theirs time.Duration
	b.SetBytes(total)
	for b.Loop() {
		start := time.Now()
		if r, err := Compare(b.Context(), card, []string{dump}, Options{}); err != nil || !r.Complete() {
			b.Fatal(err, r)
		}
		ours += time.Since(start)
		start = time.Now()
		if err := exec.Command(tool, args...).Run(); err != nil {
			b.Fatal(err)
		}
		theirs += time.Since(start)
	}
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "x-sha256sum")
}
