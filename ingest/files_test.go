package ingest

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/image/tiff"

	"stillspan/ingest/meta"
	"stillspan/internal/stamp"
)

// shoot writes n stills 5 s apart, FRAM0001.JPG and on.
func shoot(t testing.TB, dir string, n int, change func(i int, f *stamp.Fields)) {
	t.Helper()
	for i := range n {
		still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+1), evening.Add(time.Duration(i)*5*time.Second), func(f *stamp.Fields) {
			if change != nil {
				change(i, f)
			}
		})
	}
}

func write(t testing.TB, dir, name string, data []byte) {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
}

func read(t testing.TB, dir, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func only(t testing.TB, d *Dump) Sequence {
	t.Helper()
	if len(d.Sequences) != 1 {
		for _, s := range d.Sequences {
			t.Logf("%s: %d frames from %s", s.ID, len(s.Frames), s.Frames[0].Name)
		}
		t.Fatalf("%d sequences, want 1; %d loose, %d unreadable", len(d.Sequences), len(d.Loose), len(d.Unreadable))
	}
	return d.Sequences[0]
}

func wantUnreadable(t *testing.T, d *Dump, want map[string]string) {
	t.Helper()
	wantProblems(t, d.Unreadable, want)
}

func wantDamaged(t *testing.T, s Sequence, want map[string]string) {
	t.Helper()
	wantProblems(t, s.Frames, want)
}

func wantProblems(t *testing.T, frames []Frame, want map[string]string) {
	t.Helper()
	got := make(map[string]string)
	for _, f := range frames {
		if p := f.Problem; p != nil {
			got[f.Name] = p.Kind
			if p.Text == "" || p.Try == "" || strings.Contains(p.Text, "\n") || strings.Contains(p.Text, f.Path) {
				t.Errorf("%s: no clear word: %+v", f.Name, *p)
			}
		}
	}
	if !maps.Equal(got, want) {
		t.Errorf("problems %v, want %v", got, want)
	}
}

func ignored(d *Dump, kind string) int {
	for _, g := range d.Ignored {
		if g.Kind == kind {
			return g.Count
		}
	}
	return 0
}

// oneWorker reads in order, and so does something after the first header what
// happens to the later files.
func oneWorker() Options {
	opt := DefaultOptions()
	opt.Workers = 1
	return opt
}

// once is a progress function that calls do after the first header.
func once(do func()) func(done, total int) {
	return func(done, _ int) {
		if done == 1 {
			do()
		}
	}
}

func TestFileVanishesBehindTheListing(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 10, nil)
	d, err := Scan(context.Background(), dir, oneWorker(), once(func() {
		if err := os.Remove(filepath.Join(dir, "FRAM0007.JPG")); err != nil {
			t.Error(err)
		}
		if err := os.Truncate(filepath.Join(dir, "FRAM0009.JPG"), 0); err != nil {
			t.Error(err)
		}
	}))
	if err != nil {
		t.Fatal(err)
	}
	s := only(t, d)
	wantDamaged(t, s, map[string]string{"FRAM0007.JPG": "vanished", "FRAM0009.JPG": "empty"})
	if len(s.Frames) != 10 || len(s.Timing.Gaps) != 0 {
		t.Errorf("%d frames, gaps %v", len(s.Frames), s.Timing.Gaps)
	}
}

func TestLinks(t *testing.T) {
	dir, elsewhere := t.TempDir(), t.TempDir()
	shoot(t, dir, 6, nil)
	outside := still(t, elsewhere, "FRAM0007.JPG", evening.Add(30*time.Second), nil)
	for name, target := range map[string]string{
		"FRAM0007.JPG": outside,                  // a frame that lies elsewhere
		"FRAM0008.JPG": outside,                  // the same once more
		"FRAM0009.JPG": "FRAM0001.JPG",           // one that is here already
		"FRAM0010.JPG": "nowhere.jpg",            // dangling
		"FRAM0011.JPG": "FRAM0011.JPG",           // a loop of one
		"up.jpg":       dir,                      // a folder by the name of a still
		"loop":         "..",                     // a loop of folders
		"hidden.mov":   filepath.Join(dir, "no"), // never looked at
	} {
		if err := os.Symlink(target, filepath.Join(dir, name)); err != nil {
			t.Skipf("no symbolic links here: %v", err)
		}
	}
	d := scan(t, dir)
	if s := only(t, d); len(s.Frames) != 7 {
		t.Errorf("%d frames, want 7", len(s.Frames))
	}
	wantUnreadable(t, d, map[string]string{"FRAM0010.JPG": "unreadable", "FRAM0011.JPG": "unreadable"})
	if ignored(d, "copy") != 2 {
		t.Errorf("ignored %v, want 2 copies", d.Ignored)
	}

	// A link may also be the folder itself.
	link := filepath.Join(elsewhere, "card")
	if err := os.Symlink(dir, link); err != nil {
		t.Fatal(err)
	}
	if s := only(t, scan(t, link)); len(s.Frames) != 7 || !strings.HasPrefix(s.Frames[0].Path, link) {
		t.Errorf("through a link: %d frames, %s", len(s.Frames), s.Frames[0].Path)
	}
}

func TestCopies(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 10, nil)
	write(t, dir, "FRAM0002 (1).JPG", read(t, dir, "FRAM0002.JPG"))
	write(t, dir, "FRAM0003 - Copy.JPG", read(t, dir, "FRAM0003.JPG"))
	write(t, dir, "backup/FRAM0004.JPG", read(t, dir, "FRAM0004.JPG"))
	d := scan(t, dir)
	if s := only(t, d); len(s.Frames) != 10 || len(s.Timing.Irregular)+len(s.Notes) != 0 || ignored(d, "copy") != 3 {
		t.Errorf("%d frames, irregular %v, notes %q, ignored %v", len(s.Frames), s.Timing.Irregular, s.Notes, d.Ignored)
	}

	// Same size and time, other bytes.
	other := bytes.Clone(read(t, dir, "FRAM0002.JPG"))
	other[len(other)-6] ^= 1
	write(t, dir, "FRAM0002 (1).JPG", other)
	d = scan(t, dir)
	s := only(t, d)
	if len(s.Frames) != 11 || len(s.Notes) != 1 || !strings.Contains(s.Notes[0], "FRAM0002 (1).JPG is named as a copy of FRAM0002.JPG but differs") {
		t.Errorf("%d frames, notes %q", len(s.Frames), s.Notes)
	}

	// A damaged frame is stood in for by its sound copy.
	write(t, dir, "FRAM0002 (1).JPG", read(t, dir, "FRAM0002.JPG"))
	write(t, dir, "FRAM0004.JPG", read(t, dir, "FRAM0004.JPG")[:len(read(t, dir, "FRAM0004.JPG"))-9])
	s = only(t, scan(t, dir))
	wantDamaged(t, s, map[string]string{})
	if len(s.Frames) != 10 || s.Frames[3].Name != "backup/FRAM0004.JPG" {
		t.Errorf("%d frames, the fourth is %s", len(s.Frames), s.Frames[3].Name)
	}
}

// Copies under other names, in the folder or in another, are no frames, and a
// damaged one among them makes no difference; stills that are alike in one folder
// and named alike are shots.
func TestCopiesUnderOtherNames(t *testing.T) {
	for _, in := range []string{"", "backup/"} {
		dir := t.TempDir()
		shoot(t, dir, 10, nil)
		cut := read(t, dir, "FRAM0007.JPG")
		write(t, dir, "FRAM0007.JPG", cut[:len(cut)-9])
		for i := 1; i <= 10; i++ {
			write(t, dir, fmt.Sprintf("%sdawn-%03d.JPG", in, 50+i), read(t, dir, fmt.Sprintf("FRAM%04d.JPG", i)))
		}
		d := scan(t, dir)
		if s := only(t, d); len(s.Frames) != 10 || ignored(d, "copy") != 10 {
			t.Errorf("%q: %d frames, ignored %v", in, len(s.Frames), d.Ignored)
		}
	}
	dir := t.TempDir()
	shoot(t, dir, 10, nil)
	write(t, dir, "FRAM0011.JPG", read(t, dir, "FRAM0010.JPG"))
	if d := scan(t, dir); ignored(d, "copy") != 0 {
		t.Errorf("ignored %v", d.Ignored)
	}
}

// Small exports in a folder of their own are another sequence, not frames of
// the wrong size among the originals.
func TestExportsBesideOriginals(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 8, nil)
	for i := range 8 {
		data, err := stamp.JPEG(grayJPEG(24, 16), stamp.Fields{
			DateTimeOriginal: evening.Add(time.Duration(i) * 5 * time.Second).Format("2006:01:02 15:04:05"), Make: "Maker", Model: "Body", Serial: "1"})
		if err != nil {
			t.Fatal(err)
		}
		write(t, dir, fmt.Sprintf("export/FRAM%04d.jpg", i+1), data)
	}
	d := scan(t, dir)
	if len(d.Sequences) != 2 || len(d.Loose) != 0 {
		t.Fatalf("%d sequences, %d loose", len(d.Sequences), len(d.Loose))
	}
	for _, s := range d.Sequences {
		wantDamaged(t, s, map[string]string{})
		if len(s.Frames) != 8 || len(s.Timing.Irregular) != 0 {
			t.Errorf("%s: %d frames, irregular %v", s.ID, len(s.Frames), s.Timing.Irregular)
		}
	}
}

// rawFile is a TIFF-based raw file with a stamped time and one strip.
func rawFile(t *testing.T, at time.Time) []byte {
	t.Helper()
	data, err := stamp.TIFF(stamp.Fields{DateTimeOriginal: at.Format("2006:01:02 15:04:05"), Make: "Maker", Model: "Body", Serial: "1"})
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// RAW and JPEG of a shot are one frame, side by side or on two cards.
func TestPairsAreOneFrame(t *testing.T) {
	for _, raw := range []string{"DCIM/100STILL/FRAM%04d.DNG", "RAW/DCIM/100STILL/FRAM%04d.NEF", "A/100STILL/FRAM%04d.NEF"} {
		dir := t.TempDir()
		for i := range 8 {
			at := evening.Add(time.Duration(i) * 5 * time.Second)
			still(t, dir, fmt.Sprintf("DCIM/100STILL/FRAM%04d.JPG", i+1), at, nil)
			write(t, dir, fmt.Sprintf(raw, i+1), rawFile(t, at))
		}
		d := scan(t, dir)
		s := only(t, d)
		if len(s.Frames) != 8 || len(s.Timing.Irregular) != 0 || ignored(d, "raw companion") != 8 {
			t.Errorf("%s: %d frames, irregular %v, ignored %v", raw, len(s.Frames), s.Timing.Irregular, d.Ignored)
		}
		for i, f := range s.Frames {
			if want := filepath.Join(dir, fmt.Sprintf(raw, i+1)); f.Raw != want || f.Problem != nil || filepath.Ext(f.Path) != ".JPG" {
				t.Errorf("%s: raw %q, want %q; problem %v", f.Name, f.Raw, want, f.Problem)
			}
		}
	}
}

// A cut still of a body is not one that another of the model shot in its second
// under the same name.
func TestTwoBodiesWithANameAlike(t *testing.T) {
	dir := t.TempDir()
	plain := func(f *stamp.Fields) { f.Serial = "" }
	for i := range 12 {
		a, b := evening.Add(time.Duration(i)*5*time.Second), evening.Add(time.Duration(i*7-20)*time.Second)
		still(t, dir, "a/"+a.Format("20060102_150405")+".JPG", a, plain)
		still(t, dir, "b/"+b.Format("20060102_150405")+".JPG", b, func(f *stamp.Fields) { f.Serial, f.ISO = "", 200 })
	}
	same := "a/" + evening.Add(15*time.Second).Format("20060102_150405") + ".JPG"
	if data := read(t, dir, same); len(read(t, dir, "b"+same[1:])) > 0 {
		write(t, dir, same, data[:len(data)-9])
	}
	d := scan(t, dir)
	if len(d.Sequences) != 2 || len(d.Sequences[0].Frames) != 12 || len(d.Sequences[1].Frames) != 12 || ignored(d, "copy") != 0 {
		t.Errorf("%d sequences, ignored %v", len(d.Sequences), d.Ignored)
	}
}

// A pair with one of its files missing is told; raw data and JPEG of one body
// differ by a border and show the same view.
func TestHalvesOfPairs(t *testing.T) {
	dir := t.TempDir()
	for i := range 8 {
		at := evening.Add(time.Duration(i) * 5 * time.Second)
		if i != 3 {
			still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+1), at, nil)
		}
		if i != 5 {
			write(t, dir, fmt.Sprintf("FRAM%04d.NEF", i+1), rawFile(t, at))
		}
	}
	s := only(t, scan(t, dir))
	if len(s.Frames) != 8 || fmt.Sprint(s.Halves) != "[3 5]" {
		t.Errorf("%d frames, halves %v", len(s.Frames), s.Halves)
	}
	opt := DefaultOptions()
	opt.PreferRaw = true
	d, err := Scan(context.Background(), dir, opt, nil)
	if err != nil {
		t.Fatal(err)
	}
	if s := only(t, d); len(s.Frames) != 8 || fmt.Sprint(s.Halves) != "[3 5]" {
		t.Errorf("raw preferred: %d frames, halves %v", len(s.Frames), s.Halves)
	}
	for _, c := range []struct {
		a, b meta.Facts
		want bool
	}{
		{meta.Facts{Width: 6000, Height: 4000}, meta.Facts{Width: 6000, Height: 4000}, true},
		{meta.Facts{Width: 6000, Height: 4000}, meta.Facts{Width: 6016, Height: 4016}, false},
		{meta.Facts{Width: 6000, Height: 4000}, meta.Facts{Width: 6016, Height: 4016, Raw: true}, true},
		{meta.Facts{Width: 6000, Height: 4000}, meta.Facts{Width: 3000, Height: 2000, Raw: true}, false},
	} {
		if got := sameView(&c.a, &c.b); got != c.want {
			t.Errorf("%+v and %+v: %t", c.a, c.b, got)
		}
	}
}

// picture is large enough that its data makes up most of the file.
func picture() image.Image {
	p := image.NewRGBA(image.Rect(0, 0, 120, 80))
	for y := range 80 {
		for x := range 120 {
			p.Set(x, y, color.RGBA{uint8(x * y), uint8(x*7 ^ y*13), uint8(y * x * x), 255})
		}
	}
	return p
}

// A file that ends early is named whatever its kind, and stays in its place.
func TestCutOffPictures(t *testing.T) {
	encode := map[string]func(*bytes.Buffer) error{
		"jpg": func(b *bytes.Buffer) error { return jpeg.Encode(b, picture(), nil) },
		"png": func(b *bytes.Buffer) error { return png.Encode(b, picture()) },
		"tif": func(b *bytes.Buffer) error { return tiff.Encode(b, picture(), nil) },
	}
	for ext, enc := range encode {
		var whole bytes.Buffer
		if err := enc(&whole); err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		for i := range 6 {
			write(t, dir, fmt.Sprintf("shot%d.%s", i+1, ext), whole.Bytes())
		}
		cut := whole.Bytes()[:whole.Len()-whole.Len()/4]
		if ext == "tif" { // the encoder puts the directory last: move the strip past the end instead
			cut = stripPastEnd(t, whole.Bytes())
		}
		write(t, dir, "shot3."+ext, cut)
		s := only(t, scan(t, dir))
		if len(s.Frames) != 6 {
			t.Errorf("%s: %d frames", ext, len(s.Frames))
		}
		wantDamaged(t, s, map[string]string{"shot3." + ext: "truncated"})
	}
}

// stripPastEnd sets the value of StripOffsets (TIFF 6.0, tag 273) of a
// little-endian file so that its strip reaches beyond the end.
func stripPastEnd(t *testing.T, data []byte) []byte {
	t.Helper()
	data = bytes.Clone(data)
	entry := bytes.Index(data, []byte{0x11, 0x01, 4, 0, 1, 0, 0, 0})
	if entry < 0 {
		t.Fatal("no StripOffsets of one long in the file")
	}
	at := len(data) - 1000
	copy(data[entry+8:], []byte{byte(at), byte(at >> 8), byte(at >> 16), byte(at >> 24)})
	return data
}

// A sound picture whose metadata is damaged goes into the clip.
func TestDamagedMetadataIsNoDamagedPicture(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 8, nil)
	data := bytes.Clone(read(t, dir, "FRAM0003.JPG"))
	// ExposureTime (tag 0x829A), one rational: its value is moved far outside.
	for _, entry := range []string{"\x9A\x82\x05\x00\x01\x00\x00\x00", "\x82\x9A\x00\x05\x00\x00\x00\x01"} {
		if at := bytes.Index(data, []byte(entry)); at >= 0 {
			copy(data[at+8:], "\x70\x70\x70\x70")
		}
	}
	write(t, dir, "FRAM0003.JPG", data)
	s := only(t, scan(t, dir))
	wantDamaged(t, s, map[string]string{})
	if len(s.Frames) != 8 || len(s.Settings) != 0 || len(s.Notes) != 1 || !strings.Contains(s.Notes[0], "metadata of 1 frames is damaged, the first FRAM0003.JPG") {
		t.Errorf("%d frames, settings %v, notes %q", len(s.Frames), s.Settings, s.Notes)
	}
}
