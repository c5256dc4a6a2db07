package format_test

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"image"
	"image/jpeg"
	"math"
	"reflect"
	"regexp"
	"slices"
	"testing"
	"time"

	"github.com/andybalholm/brotli"

	"stillspan/ingest/format"
	"stillspan/ingest/meta"
	"stillspan/internal/stamp"
)

func encoded(tb testing.TB, w, h int) []byte {
	tb.Helper()
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, image.NewRGBA(image.Rect(0, 0, w, h)), nil); err != nil {
		tb.Fatal(err)
	}
	return buf.Bytes()
}

// fullFields has every field set; the pixel size in it is a lie.
func fullFields(tb testing.TB) stamp.Fields {
	return stamp.Fields{
		Make: "Stillspan", Model: "Demo One", Serial: "1001", Lens: "Demo 24 mm",
		DateTimeOriginal: "2026:05:01 21:14:07", SubSecTimeOriginal: "037", OffsetTimeOriginal: "+02:00",
		Orientation: 6, ExposureS: 1.0 / 250, FNumber: 5.6, ISO: 800, BiasEV: -1.5, FocalMM: 24.5, FocusM: math.Inf(1),
		WhiteBalance: "manual", ExposureMode: "manual", Program: "aperture priority",
		PixelWidth: 6000, PixelHeight: 4000, Thumbnail: encoded(tb, 16, 8),
	}
}

func TestStampedFactsAreReadBack(t *testing.T) {
	for _, bigEndian := range []bool{false, true} {
		fields := fullFields(t)
		fields.BigEndian = bigEndian
		data, err := stamp.JPEG(encoded(t, 96, 64), fields)
		if err != nil {
			t.Fatal(err)
		}
		got, err := format.Read(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		want := meta.Facts{
			Format: "jpeg", Width: 96, Height: 64, Bits: 8, Orientation: 6,
			Taken: got.Taken, HasOffset: true,
			Make: "Stillspan", Model: "Demo One", Serial: "1001", Lens: "Demo 24 mm",
			ExposureS: 0.004, FNumber: 5.6, ISO: 800, BiasEV: -1.5, FocalMM: 24.5, FocusM: math.Inf(1),
			WhiteBalance: "manual", ExposureMode: "manual", Program: "aperture priority",
			Previews: got.Previews,
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got  %+v\nwant %+v", got, want)
		}
		if at := got.Taken.Format(time.RFC3339Nano); at != "2026-05-01T21:14:07.037+02:00" {
			t.Errorf("taken %s", at)
		}
		if len(got.Previews) != 1 || got.Previews[0].Width != 16 || got.Previews[0].Height != 8 {
			t.Fatalf("previews %+v", got.Previews)
		}
		p := got.Previews[0]
		if !bytes.Equal(data[p.Offset:p.Offset+p.Length], fields.Thumbnail) {
			t.Error("the preview's range does not hold the thumbnail")
		}
	}
}

// pngWith is a PNG of 96 x 64 with one more chunk, after its pictures if any.
func pngWith(kind string, data []byte) []byte {
	chunk := func(kind string, data []byte) []byte {
		b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
		b = append(append(b, kind...), data...)
		return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
	}
	return slices.Concat([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", []byte("\x00\x00\x00\x60\x00\x00\x00\x40\x08\x00\x00\x00\x00")),
		chunk(kind, data), chunk("IEND", nil))
}

// profileText spells a block as ImageMagick did before there was a chunk for
// it; TestAgainstExiftool reads real ones.
func profileText(name string, block []byte) []byte {
	return fmt.Appendf(nil, "\n%s\n%8d\n%s\n", name, len(block), regexp.MustCompile(".{72}").ReplaceAll(hex.AppendEncode(nil, block), []byte("$0\n")))
}

func packed(tb testing.TB, text []byte) []byte {
	tb.Helper()
	var buf bytes.Buffer
	w := zlib.NewWriter(&buf)
	if _, err := w.Write(text); err != nil {
		tb.Fatal(err)
	}
	if err := w.Close(); err != nil {
		tb.Fatal(err)
	}
	return buf.Bytes()
}

func TestPNGWithEXIF(t *testing.T) {
	block, err := stamp.TIFF(fullFields(t))
	if err != nil {
		t.Fatal(err)
	}
	text := profileText("exif", append([]byte("Exif\x00\x00"), block...))
	for name, c := range map[string]struct {
		kind     string
		data     []byte
		previews int
	}{
		"chunk":  {"eXIf", block, 1},
		"text":   {"tEXt", append([]byte("Raw profile type APP1\x00"), text...), 0},
		"packed": {"zTXt", append([]byte("Raw profile type exif\x00\x00"), packed(t, text)...), 0},
	} {
		data := pngWith(c.kind, c.data)
		f, err := format.Read(bytes.NewReader(data), int64(len(data)))
		if err != nil || f.Format != "png" || f.Width != 96 || f.ISO != 800 || f.Taken.Nanosecond() != 37e6 || len(f.Previews) != c.previews {
			t.Errorf("%s: %+v, %v", name, f, err)
		}
	}
}

// box is one of the ISO base media format (ISO/IEC 14496-12).
func box(kind string, parts ...[]byte) []byte {
	body := slices.Concat(parts...)
	return append(binary.BigEndian.AppendUint32(nil, uint32(8+len(body))), append([]byte(kind), body...)...)
}

var jxlStart = slices.Concat(box("JXL ", []byte("\r\n\x87\n")), box("ftyp", []byte("jxl \x00\x00\x00\x00jxl ")))

// A JPEG XL whose EXIF is packed by Brotli, as the format's reference encoder
// does by default (ISO/IEC 18181-2, brob).
func TestJPEGXLWithPackedEXIF(t *testing.T) {
	block, err := stamp.TIFF(fullFields(t))
	if err != nil {
		t.Fatal(err)
	}
	var buf bytes.Buffer
	w := brotli.NewWriter(&buf)
	if _, err := w.Write(append([]byte{0, 0, 0, 0}, block...)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	// A codestream of 8 x 8 pixels, as far as its header (ISO/IEC 18181-1).
	stream := box("jxlc", []byte("\xFF\x0A\x41\x00\x00\x00\x00\x00"))
	data := slices.Concat(jxlStart, box("brob", []byte("Exif"), buf.Bytes()), stream)
	f, err := format.Read(bytes.NewReader(data), int64(len(data)))
	if err != nil || f.Format != "jxl" || f.ISO != 800 || f.Taken.Nanosecond() != 37e6 || len(f.Previews) != 0 {
		t.Errorf("%+v, %v", f, err)
	}
	data = slices.Concat(jxlStart, box("brob", []byte("Exif"), []byte("no Brotli at all")), stream)
	if f, err := format.Read(bytes.NewReader(data), int64(len(data))); err == nil || f.Format != "jxl" {
		t.Errorf("broken: %+v, %v", f, err)
	}
}

// Text chunks that are no EXIF, or lie about it, leave the picture known.
func TestPNGWithBadText(t *testing.T) {
	for name, c := range map[string]struct {
		data  []byte
		wrong bool
	}{
		"another text":  {[]byte("Comment\x00\x00hello"), false},
		"no keyword":    {bytes.Repeat([]byte("x"), 200), false},
		"nothing in it": {[]byte("Raw profile type exif\x00"), true},
		"not packed":    {[]byte("Raw profile type exif\x00\x00hello"), true},
		"bomb":          {append([]byte("Raw profile type exif\x00\x00"), packed(t, make([]byte, 64<<20))...), true},
		"no digits":     {append([]byte("Raw profile type exif\x00\x00"), packed(t, []byte("\nexif\n 4\nzzzz\n"))...), true},
	} {
		data := pngWith("zTXt", c.data)
		f, err := format.Read(bytes.NewReader(data), int64(len(data)))
		if (err != nil) != c.wrong || f.Width != 96 || f.Height != 64 {
			t.Errorf("%s: %+v, %v", name, f, err)
		}
	}
}

// BenchmarkRead reads 1,000 copies of one stamped JPEG from memory.
func BenchmarkRead(b *testing.B) {
	data, err := stamp.JPEG(encoded(b, 960, 640), fullFields(b))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	const copies = 1000
	for b.Loop() {
		for range copies {
			if _, err := format.Read(bytes.NewReader(data), int64(len(data))); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/1000/float64(b.N)/copies, "µs/file")
}
