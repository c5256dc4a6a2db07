package format_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"stillspan/ingest/format"
	"stillspan/ingest/meta"
	"stillspan/internal/exiftag"
)

// The reference in this file is exiftool (Debian package
// libimage-exiftool-perl), over the sample photographs of published sets.

// dataSamples are sets of real photographs in the folder that STILLSPAN_DATA
// names. The last three are the test pictures of the Debian source packages so
// named (test/data, autotests/read, test/test-suite/images), for those who
// unpack them into the folder.
var dataSamples = []string{"exif-samples", "exiftool-t-images", "goexif-samples", "seneca-original",
	"seneca-reduced", "brighton-original", "brighton-reduced", "banana-reduced", "exiv2", "kimageformats", "vips"}

// samples lists the sample files, by set.
func samples(t *testing.T) map[string][]string {
	t.Helper()
	sets := map[string][]string{"testdata": stills(t, "testdata")}
	root := os.Getenv("STILLSPAN_DATA")
	if root == "" {
		t.Log("no real photographs: set STILLSPAN_DATA to a folder of them")
		return sets
	}
	for _, set := range dataSamples {
		sets[set] = stills(t, filepath.Join(root, set))
	}
	return sets
}

// stills lists the files under a folder whose names say they are stills.
func stills(t *testing.T, dir string) []string {
	t.Helper()
	var paths []string
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if _, ok := format.BySuffix(path); ok && d.Type().IsRegular() {
			paths = append(paths, path)
		}
		return nil
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	return paths
}

// answer is what exiftool says of one file.
type answer map[string]any

func (a answer) text(names ...string) string {
	for _, name := range names {
		if v, ok := a[name]; ok {
			if s := strings.TrimSpace(fmt.Sprint(v)); s != "" {
				return s
			}
		}
	}
	return ""
}

func (a answer) number(names ...string) float64 {
	for _, name := range names {
		if v, ok := a[name].(json.Number); ok {
			if f, err := v.Float64(); err == nil && f != 0 {
				return f
			}
		}
	}
	return 0
}

// askExiftool reads many files in one process.
func askExiftool(t *testing.T, paths []string) map[string]answer {
	t.Helper()
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("needs exiftool (Debian package libimage-exiftool-perl)")
	}
	cmd := exec.Command(tool, "-json", "-n", "-charset", "filename=utf8",
		"-DateTimeOriginal", "-CreateDate", "-SubSecTimeOriginal", "-SubSecTimeDigitized",
		"-OffsetTimeOriginal", "-OffsetTimeDigitized", "-ExposureTime", "-ShutterSpeedValue", "-FNumber",
		"-ApertureValue", "-ISO", "-FocalLength", "-Make", "-Model", "-SerialNumber", "-Orientation",
		"-ImageWidth", "-ImageHeight", "-WhiteBalance", "-ExposureMode", "-ExposureProgram",
		"-GPSDateStamp", "-GPSTimeStamp", "-@", "-")
	cmd.Stdin = strings.NewReader(strings.Join(paths, "\n") + "\n")
	out, err := cmd.Output()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) { // it fails if it cannot tell one of the files
		t.Fatal(err)
	}
	return decodeAnswers(t, out)
}

// decodeAnswers reads exiftool's answers, by file.
func decodeAnswers(t *testing.T, data []byte) map[string]answer {
	t.Helper()
	var list []answer
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	if err := d.Decode(&list); err != nil {
		t.Fatalf("exiftool's answer: %v", err)
	}
	answers := make(map[string]answer)
	for _, a := range list {
		answers[a.text("SourceFile")] = a
	}
	return answers
}

// comparison is one field of one file, as text or as a number; a field that
// exiftool does not state is not compared.
type comparison struct {
	field      string
	ours, want string
	equal      bool
}

func sameText(field, ours, want string) comparison {
	return comparison{field, ours, want, ours == want}
}

// sameNumber allows the last of exiftool's ten printed digits.
func sameNumber(field string, ours, want float64) comparison {
	c := comparison{field: field, ours: fmt.Sprint(ours), equal: math.Abs(ours-want) <= 1e-8*math.Abs(want)}
	if want != 0 {
		c.want = fmt.Sprint(want)
	}
	return c
}

// compare lists the fields of one file.
func compare(f meta.Facts, a answer) []comparison {
	// A date that names a year of zeros is a blank one.
	date := a.text("DateTimeOriginal")
	subSec, offset := a.text("SubSecTimeOriginal"), a.text("OffsetTimeOriginal")
	if date == "" {
		date, subSec, offset = a.text("CreateDate"), a.text("SubSecTimeDigitized"), a.text("OffsetTimeDigitized")
	}
	if strings.HasPrefix(date, "0000") {
		date = ""
	}
	if date == "" {
		subSec, offset = "", ""
	}
	ourDate, ourSubSec, ourOffset := "", "", ""
	if !f.Taken.IsZero() {
		ourDate = f.Taken.Format("2006:01:02 15:04:05")
		ourSubSec = fmt.Sprintf("%09d", f.Taken.Nanosecond())[:min(len(subSec), 9)]
	}
	if f.HasOffset {
		ourOffset = f.Taken.Format("-07:00")
	}
	fix := ""
	if day, clock := a.text("GPSDateStamp"), a.text("GPSTimeStamp"); day != "" && clock != "" {
		fix = day + " " + strings.Split(clock, ".")[0]
	}
	word := func(field string, ours string, words []string) comparison {
		v, ok := a[field].(json.Number)
		code, err := v.Int64()
		if !ok || err != nil {
			return comparison{field: field}
		}
		return sameText(field, ours, exiftag.Word(words, int(code)))
	}
	list := []comparison{
		sameText("DateTimeOriginal", ourDate, date),
		sameText("SubSecTimeOriginal", ourSubSec, subSec),
		sameText("OffsetTimeOriginal", ourOffset, offset),
		sameText("GPSDateStamp and GPSTimeStamp", f.GPS.Format("2006:01:02 15:04:05"), fix),
		sameNumber("ExposureTime", f.ExposureS, a.number("ExposureTime", "ShutterSpeedValue")),
		sameNumber("FNumber", f.FNumber, a.number("FNumber", "ApertureValue")),
		sameNumber("ISO", f.ISO, a.number("ISO")),
		sameNumber("FocalLength", f.FocalMM, a.number("FocalLength")),
		sameText("Make", f.Make, a.text("Make")),
		sameText("Model", f.Model, a.text("Model")),
		sameText("SerialNumber", f.Serial, a.text("SerialNumber")),
		sameNumber("Orientation", float64(f.Orientation), a.number("Orientation")),
		sameNumber("ImageWidth", float64(f.Width), a.number("ImageWidth")),
		sameNumber("ImageHeight", float64(f.Height), a.number("ImageHeight")),
		word("WhiteBalance", f.WhiteBalance, exiftag.WhiteBalanceWords),
		word("ExposureMode", f.ExposureMode, exiftag.ExposureModeWords),
		word("ExposureProgram", f.Program, exiftag.ProgramWords),
	}
	return list
}

// readFile reads one file's facts.
func readFile(t *testing.T, path string) (meta.Facts, error) {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		t.Fatal(err)
	}
	return format.Read(file, info.Size())
}

// TestAgainstExiftool prints the table of fields compared. A difference
// without a reason in differences fails it.
func TestAgainstExiftool(t *testing.T) {
	sets := samples(t)
	var paths []string
	for _, set := range sets {
		paths = append(paths, set...)
	}
	answers := askExiftool(t, paths)
	type total struct{ compared, equal, different int }
	totals := make(map[string]*total)
	var order []string
	reasons := make(map[string]int)
	files, malformed := 0, 0
	for set, paths := range sets {
		for _, path := range paths {
			a, ok := answers[path]
			if !ok {
				t.Errorf("exiftool says nothing of %s", path)
				continue
			}
			f, err := readFile(t, path)
			var bad *meta.FormatError
			if err != nil && !errors.As(err, &bad) {
				t.Errorf("%s: %v", path, err)
			}
			if files++; err != nil {
				malformed++
			}
			for _, c := range compare(f, a) {
				n := totals[c.field]
				if n == nil {
					n = new(total)
					totals[c.field] = n
					order = append(order, c.field)
				}
				if c.want == "" {
					continue
				}
				n.compared++
				if c.equal {
					n.equal++
					continue
				}
				n.different++
				reason := differences.reason(filepath.Base(path), c)
				if reason == "" {
					t.Errorf("%s/%s: %s is %q, exiftool has %q", set, filepath.Base(path), c.field, c.ours, c.want)
				}
				reasons[reason]++
			}
		}
	}
	var table strings.Builder
	fmt.Fprintf(&table, "%d files of %d sets, %d of them malformed\n", files, len(sets), malformed)
	fmt.Fprintf(&table, "%-20s %9s %7s %10s\n", "field", "compared", "equal", "different")
	for _, field := range order {
		n := totals[field]
		fmt.Fprintf(&table, "%-20s %9d %7d %10d\n", field, n.compared, n.equal, n.different)
	}
	for reason, n := range reasons {
		fmt.Fprintf(&table, "different, %d times: %s\n", n, reason)
	}
	t.Log("\n" + table.String())
}
