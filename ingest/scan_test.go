package ingest

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stillspan/ingest/account"
	"stillspan/internal/stamp"
)

var plainJPEG = grayJPEG(48, 32)

func grayJPEG(width, height int) []byte {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, width, height)), nil); err != nil {
		panic(err)
	}
	return b.Bytes()
}

// still writes a stamped JPEG and returns its path.
func still(t testing.TB, dir, name string, taken time.Time, change func(*stamp.Fields)) string {
	t.Helper()
	f := stamp.Fields{
		DateTimeOriginal: taken.Format("2006:01:02 15:04:05"), Make: "Maker", Model: "Body", Serial: "1",
		ExposureS: 1.0 / 125, FNumber: 8, ISO: 100, FocalMM: 24, ExposureMode: "manual", Program: "manual", WhiteBalance: "manual",
	}
	if change != nil {
		change(&f)
	}
	data, err := stamp.JPEG(plainJPEG, f)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

func scan(t testing.TB, dir string) *Dump {
	t.Helper()
	d, err := Scan(context.Background(), dir, DefaultOptions(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

var evening = time.Date(2026, 5, 1, 21, 14, 7, 0, time.UTC)

// dcf is the path of the n-th frame counted from FRAM9950 in folder 100, as
// DCF numbers run: 0001 to 9999, then 0001 in the next folder.
func dcf(n int) string {
	n += 9950
	folder := 100
	if n > 9999 {
		folder, n = 101, n-9999
	}
	return fmt.Sprintf("DCIM/%dSTILL/FRAM%04d.JPG", folder, n)
}

// A rollover, 3 frames never fired, 2 lost, 1 late, through whole seconds.
func TestFaultsAcrossRollover(t *testing.T) {
	dir := t.TempDir()
	number := 0
	for slot := range 120 {
		if slot == 20 || slot == 21 || slot == 70 { // never fired: no number used
			continue
		}
		number++
		if slot == 45 || slot == 90 { // lost: the number is used
			continue
		}
		at := evening.Add(time.Duration(slot) * 5 * time.Second)
		if slot == 100 {
			at = at.Add(2 * time.Second)
		}
		still(t, dir, dcf(number), at, nil)
	}
	d := scan(t, dir)
	if len(d.Sequences) != 1 || len(d.Loose)+len(d.Unreadable) != 0 {
		t.Fatalf("%d sequences, %d loose, %d unreadable", len(d.Sequences), len(d.Loose), len(d.Unreadable))
	}
	s := d.Sequences[0]
	want := []account.Gap{{After: 19, Count: 2, GapS: 15, Cause: account.NotFired}, {After: 42, Count: 1, GapS: 10, Cause: account.FileLost},
		{After: 66, Count: 1, GapS: 10, Cause: account.NotFired}, {After: 85, Count: 1, GapS: 10, Cause: account.FileLost}}
	if fmt.Sprint(s.Timing.Gaps) != fmt.Sprint(want) {
		t.Errorf("gaps %v, want %v", s.Timing.Gaps, want)
	}
	if len(s.Timing.Irregular) != 1 || s.Timing.Irregular[0].Kind != account.Late || s.Timing.Slot[s.Timing.Irregular[0].Index] != 100 {
		t.Errorf("irregular %v", s.Timing.Irregular)
	}
	if len(s.Settings)+len(s.Notes)+len(s.Timing.Delays) != 0 || s.ID != "2026-05-01-2114" {
		t.Errorf("settings %v, notes %v, id %q", s.Settings, s.Notes, s.ID)
	}
}

// A foreign picture in the place of a shoot's first frame is no test still.
func TestNoTimeBesideAShoot(t *testing.T) {
	dir := t.TempDir()
	for i := range 12 {
		still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+2), evening.Add(time.Duration(i)*5*time.Second), nil)
	}
	write(t, dir, "FRAM0001.JPG", grayJPEG(64, 40))
	write(t, dir, "card.jpg", grayJPEG(64, 40))
	d := scan(t, dir)
	if only(t, d); len(d.Loose) != 1 || d.Loose[0].Name != "card.jpg" {
		t.Errorf("loose: %v", d.Loose)
	}
	wantUnreadable(t, d, map[string]string{"FRAM0001.JPG": "no-time"})
}

func TestDamageStaysInPlace(t *testing.T) {
	dir := t.TempDir()
	for i := range 20 {
		still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+1), evening.Add(time.Duration(i)*5*time.Second), nil)
	}
	write := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	whole, err := os.ReadFile(filepath.Join(dir, "FRAM0009.JPG"))
	if err != nil {
		t.Fatal(err)
	}
	write("FRAM0004.JPG", nil)
	write("FRAM0009.JPG", whole[:len(whole)-8])
	write("FRAM0013.JPG", []byte("no picture at all"))
	write("._FRAM0001.JPG", []byte("x"))
	write("clip.mov", []byte("x"))
	write("FRAM0002.xmp", []byte("x"))
	write("FRAM0002.DNG", []byte("x"))
	copied, err := os.ReadFile(filepath.Join(dir, "FRAM0003.JPG"))
	if err != nil {
		t.Fatal(err)
	}
	write("FRAM0003 (1).JPG", copied)
	if err := os.Symlink(dir, filepath.Join(dir, "loop")); err != nil {
		t.Fatal(err)
	}
	d := scan(t, dir)
	if len(d.Sequences) != 1 || len(d.Sequences[0].Frames) != 20 {
		t.Fatalf("sequences %d, loose %d, unreadable %d", len(d.Sequences), len(d.Loose), len(d.Unreadable))
	}
	s := d.Sequences[0]
	if len(s.Timing.Gaps)+len(s.Timing.Irregular) != 0 {
		t.Errorf("damaged frames counted as missing: %v %v", s.Timing.Gaps, s.Timing.Irregular)
	}
	for i, kind := range map[int]string{3: "empty", 8: "truncated", 12: "undecodable"} {
		if p := s.Frames[i].Problem; p == nil || p.Kind != kind || p.Try == "" {
			t.Errorf("%s: problem %v, want %s", s.Frames[i].Name, p, kind)
		}
	}
	if len(d.Unreadable) != 0 {
		t.Errorf("unreadable: %+v", d.Unreadable)
	}
	if s.Frames[1].Raw == "" {
		t.Error("raw companion not joined")
	}
	got := fmt.Sprint(d.Ignored)
	for _, want := range []string{"{copy 1}", "{hidden 1}", "{raw companion 1}", "{sidecar 1}", "{video 1}"} {
		if !strings.Contains(got, want) {
			t.Errorf("ignored %s lacks %s", got, want)
		}
	}
}

func TestSplitsAndKeeps(t *testing.T) {
	dir := t.TempDir()
	at := evening
	for i := range 60 {
		if i == 30 {
			at = at.Add(20 * time.Minute) // moved the tripod
		}
		if i == 45 {
			at = at.Add(25 * time.Second) // five missed frames
		}
		still(t, dir, fmt.Sprintf("A/FRAM%04d.JPG", i+1), at, nil)
		still(t, dir, fmt.Sprintf("B/FRAM%04d.JPG", i+1), evening.Add(time.Duration(i)*3*time.Second), func(f *stamp.Fields) { f.Serial = "2" })
		at = at.Add(5 * time.Second)
	}
	d := scan(t, dir)
	if len(d.Sequences) != 3 {
		t.Fatalf("%d sequences, want 3", len(d.Sequences))
	}
	ids := map[string]bool{}
	for _, s := range d.Sequences {
		ids[s.ID] = true
	}
	if !ids["2026-05-01-2114-a"] || !ids["2026-05-01-2114-b"] || len(ids) != 3 {
		t.Errorf("ids %v", ids)
	}
}

func TestWithoutTimes(t *testing.T) {
	dir := t.TempDir()
	for i := range 12 {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("shot%d.jpg", i+1)), plainJPEG, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	d := scan(t, dir)
	if len(d.Sequences) != 1 || d.Sequences[0].Timing.Judged || d.Sequences[0].Frames[11].Name != "shot12.jpg" {
		t.Fatalf("%+v", d)
	}
	if !strings.Contains(d.Sequences[0].Timing.Why, "no frame carries the time") {
		t.Errorf("why: %q", d.Sequences[0].Timing.Why)
	}
}

func TestNoSuchFolder(t *testing.T) {
	if _, err := Scan(context.Background(), filepath.Join(t.TempDir(), "none"), DefaultOptions(), nil); err == nil {
		t.Error("no error")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Scan(ctx, t.TempDir(), DefaultOptions(), nil); err == nil {
		t.Error("a cancelled scan gave no error")
	}
}

// Times and settings agree with exiftool, an independent reader.
func TestTimesAgreeWithExiftool(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed")
	}
	dir := t.TempDir()
	for i := range 6 {
		still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+1), evening.Add(time.Duration(i)*5*time.Second), func(f *stamp.Fields) { f.SubSecTimeOriginal = fmt.Sprint(i * 13) })
	}
	out, err := exec.Command(tool, "-j", "-fileOrder", "FileName", "-DateTimeOriginal", "-SubSecTimeOriginal", dir).Output()
	if err != nil {
		t.Fatal(err)
	}
	var rows []struct {
		DateTimeOriginal   string
		SubSecTimeOriginal json.Number
	}
	if err := json.Unmarshal(out, &rows); err != nil {
		t.Fatal(err)
	}
	for i, f := range scan(t, dir).Sequences[0].Frames {
		want, err := time.Parse("2006:01:02 15:04:05", rows[i].DateTimeOriginal+"."+rows[i].SubSecTimeOriginal.String())
		if err != nil || !f.Facts.Taken.Equal(want) {
			t.Errorf("%s: %s, exiftool %s (%v)", f.Name, f.Facts.Taken, want, err)
		}
	}
}
