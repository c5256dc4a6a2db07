package meta_test

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/jpeg"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"stillspan/ingest/meta"
	"stillspan/ingest/meta/stamp"
)

func encoded(tb testing.TB, w, h int) []byte {
	tb.Helper()
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, image.NewGray(image.Rect(0, 0, w, h)), nil); err != nil {
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
		got, err := meta.Read(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		want := meta.Facts{
			Format: "jpeg", Width: 96, Height: 64, Orientation: 6,
			Taken: got.Taken, HasOffset: true, SubSecDigits: 3,
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

func TestPNGWithEXIF(t *testing.T) {
	block, err := stamp.TIFF(fullFields(t))
	if err != nil {
		t.Fatal(err)
	}
	chunk := func(kind string, data []byte) []byte {
		b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
		b = append(append(b, kind...), data...)
		return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
	}
	data := slices.Concat([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", []byte("\x00\x00\x00\x60\x00\x00\x00\x40\x08\x00\x00\x00\x00")),
		chunk("eXIf", block), chunk("IEND", nil))
	f, err := meta.Read(bytes.NewReader(data), int64(len(data)))
	if err != nil || f.Format != "png" || f.Width != 96 || f.ISO != 800 || f.SubSecDigits != 3 || len(f.Previews) != 1 {
		t.Errorf("%+v, %v", f, err)
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
			if _, err := meta.Read(bytes.NewReader(data), int64(len(data))); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/1000/float64(b.N)/copies, "µs/file")
}
