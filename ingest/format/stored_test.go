package format_test

import (
	"encoding/json"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"stillspan/internal/stamp"
)

// answersFile holds what exiftool said of the small stills beside it, so that
// the check runs where there is no exiftool. Stills and answers are made anew by
//
//	go test ./ingest/format -run TestAgainstStoredAnswers -refresh
const answersFile = "testdata/exiftool.json"

var refresh = flag.Bool("refresh", false, "make the stills of testdata anew and ask exiftool of them")

func TestAgainstStoredAnswers(t *testing.T) {
	if *refresh {
		makeStills(t)
		storeAnswers(t)
	}
	data, err := os.ReadFile(answersFile)
	if err != nil {
		t.Fatal(err)
	}
	answers := decodeAnswers(t, data)
	paths := stills(t, "testdata")
	if len(paths) == 0 || len(paths) != len(answers) {
		t.Fatalf("%d stills, %d answers", len(paths), len(answers))
	}
	for _, path := range paths {
		f, err := readFile(t, path)
		if err != nil {
			t.Errorf("%s: %v", path, err)
		}
		stated := 0
		for _, c := range compare(f, answers[path]) {
			if c.want == "" {
				continue
			}
			if stated++; !c.equal {
				t.Errorf("%s: %s is %q, exiftool has %q", path, c.field, c.ours, c.want)
			}
		}
		if stated < 14 {
			t.Errorf("%s: exiftool states only %d fields", path, stated)
		}
	}
}

// makeStills writes one still with every fact set of each kind that can be made
// here, by the demo's own writer and by the encoders of libheif and libjxl.
func makeStills(t *testing.T) {
	t.Helper()
	fields := fullFields(t)
	picture := encoded(t, 64, 48)
	write := func(name string, data []byte, err error) {
		if err == nil {
			err = os.WriteFile(filepath.Join("testdata", name), data, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	little, err := stamp.JPEG(picture, fields)
	write("little.jpg", little, err)
	block, err := stamp.TIFF(fields)
	write("chunk.png", pngWith("eXIf", block), err)
	text := profileText("exif", append([]byte("Exif\x00\x00"), block...))
	write("text.png", pngWith("zTXt", append([]byte("Raw profile type exif\x00\x00"), packed(t, text)...)), nil)
	raw, err := stamp.DNG(stamp.Mosaic{W: 64, H: 48, White: 4095, Pix: make([]uint16, 64*48)}, fields, picture, 64, 48)
	write("mosaic.dng", raw, err)
	fields.BigEndian = true
	big, err := stamp.JPEG(picture, fields)
	write("big.jpg", big, err)
	plain, bare := filepath.Join(t.TempDir(), "plain.jpg"), filepath.Join(t.TempDir(), "bare.jxl")
	if err := os.WriteFile(plain, picture, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"heif-enc", "-q", "50", "-o", "testdata/still.heic", "testdata/little.jpg"},
		{"heif-enc", "-A", "-q", "50", "-o", "testdata/still.avif", "testdata/little.jpg"},
		{"cjxl", "--container=0", "--lossless_jpeg=0", plain, bare},
	} {
		if out, err := exec.Command(args[0], args[1:]...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v\n%s", args, err, out)
		}
	}
	// cjxl packs EXIF in a way that exiftool may not read. The orientation is the
	// codestream's, so EXIF is to say the same.
	fields.Orientation = 1
	if block, err = stamp.TIFF(fields); err != nil {
		t.Fatal(err)
	}
	stream, err := os.ReadFile(bare)
	write("still.jxl", slices.Concat(jxlStart, box("Exif", make([]byte, 4), block), box("jxlc", stream)), err)
}

func storeAnswers(t *testing.T) {
	t.Helper()
	list := make([]answer, 0)
	for _, a := range askExiftool(t, stills(t, "testdata")) {
		list = append(list, a)
	}
	slices.SortFunc(list, func(a, b answer) int { return strings.Compare(a.text("SourceFile"), b.text("SourceFile")) })
	data, err := json.MarshalIndent(list, "", "\t")
	if err == nil {
		err = os.WriteFile(answersFile, append(data, '\n'), 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}
