package format

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/jpeg"
	"io"
	"strings"
	"testing"

	"stillspan/ingest/meta"
	"stillspan/internal/bounded"
)

var gray = image.NewGray(image.Rect(0, 0, 16, 8))

func plainJPEG() []byte {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, gray, nil); err != nil {
		panic(err) // the encoder writes to memory
	}
	return b.Bytes()
}

// Every row can be reached, and nothing names two.
func TestTableIsSound(t *testing.T) {
	names, suffixes, makers := map[string]bool{}, map[string]bool{}, map[string]bool{}
	once := func(seen map[string]bool, word string) {
		if t.Helper(); seen[word] {
			t.Errorf("%q stands twice", word)
		}
		seen[word] = true
	}
	for _, f := range table {
		once(names, f.Name)
		for _, s := range strings.Fields(f.Suffixes) {
			once(suffixes, s)
			if got, ok := BySuffix("DSC_0001." + strings.ToUpper(s)); !ok || got.Name != f.Name {
				t.Errorf("suffix %s is %q", s, got.Name)
			}
		}
		for _, m := range strings.Split(f.Makers, ",") {
			if m != "" {
				once(makers, m)
			}
		}
		if f.Suffix() == "" || (f.Magic == nil) != (f.Facts == nil) || (f.Decoder == Embedded) != f.Raw {
			t.Errorf("%s: no suffix, a magic without a reader, or a raw format decoded as a picture", f.Name)
		}
	}
	if f, ok := BySuffix("notes.txt"); ok || f.Name != "" || ByName("").Name != "" {
		t.Error("what is no still has a row")
	}
}

// First bytes as the formats' descriptions give them, or as cameras write them
// (exiftool's documentation of the raw formats).
func TestMagic(t *testing.T) {
	for head, want := range map[string]string{
		"\xFF\xD8\xFF\xE1": "jpeg", "\x89PNG\r\n\x1a\n": "png", "\xFF\x0A\x41\x00": "jxl",
		"\x00\x00\x00\x0cJXL \r\n\x87\n": "jxl", "FUJIFILMCCD-RAW 0201": "raf", "FOVb\x02\x00\x02\x00": "x3f",
		"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic":                 "heif",
		"\x00\x00\x00\x1cftypmif1\x00\x00\x00\x00mif1avif":                 "avif",
		"\x00\x00\x00\x18ftypcrx \x00\x00\x00\x01crx isom":                 "cr3",
		"II*\x00\x10\x00\x00\x00CR\x02\x00":                                "cr2",
		"II*\x00\x08\x00\x00\x00\x00\x00":                                  "tiff",
		"MM\x00*\x00\x00\x00\x08":                                          "tiff",
		"IIII\x00\x00\x00\x08":                                             "",
		"II*\x00\x08\x00\x00\x00IIII":                                      "iiq",
		"IIU\x00\x18\x00\x00\x00":                                          "rw2",
		"IIRO\x08\x00\x00\x00":                                             "orf",
		"\x00\x00\x00\x18ftypqt  \x00\x00\x00\x00qt  mp42":                 "",
		"\x00\x00\x00\x10ftypmp42\x00\x00\x00\x00\x00\x00\x00\x10ftypheic": "",
		"GIF89a": "", "\xFF": "",
	} {
		f, err := Read(strings.NewReader(head), int64(len(head)))
		if f.Format != want {
			t.Errorf("%q is %q, want %q", head, f.Format, want)
		}
		if bad, ok := errors.AsType[*meta.FormatError](err); ok && (bad.Part == meta.PartFile) != (want == "") || want == "" && !ok {
			t.Errorf("%q: %v", head, err)
		}
	}
}

func TestReadTellsFailureFromDamage(t *testing.T) {
	if _, err := Read(strings.NewReader("\xFF\xD8"), 1<<20); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("a file that shrank gives %v", err)
	}
	if _, err := Read(strings.NewReader(""), 0); err == nil || err.Error() != "the file is empty" {
		t.Errorf("an empty file gives %v", err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(plainJPEG())
	f.Add(tiffOf(binary.BigEndian, 0, map[uint16][]uint32{0xC612: {1}, 0x100: {64}, 0x101: {32}}))
	f.Add([]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"))
	f.Fuzz(func(t *testing.T, data []byte) {
		bounded.Run(t, func() {
			facts, err := Read(bytes.NewReader(data), int64(len(data)))
			if _, ok := errors.AsType[*meta.FormatError](err); err != nil && !ok {
				t.Errorf("error of another kind: %v", err)
			}
			if row := ByName(facts.Format); row.Name == "" && facts.Format != "" || row.Raw != facts.Raw {
				t.Errorf("%q, raw %v, is of no row", facts.Format, facts.Raw)
			}
		})
	})
}
