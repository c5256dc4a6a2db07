package format

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/image/tiff"

	"stillspan/ingest/meta"
	"stillspan/internal/bounded"
	"stillspan/internal/problem"
	"stillspan/internal/stamp"
)

// tiffOf is a TIFF 6.0 file of one directory with the given entries of longs,
// padded with pixels to size bytes.
func tiffOf(order binary.AppendByteOrder, size int, entries map[uint16][]uint32) []byte {
	b := []byte("II*\x00")
	if order == binary.AppendByteOrder(binary.BigEndian) {
		b = []byte("MM\x00*")
	}
	b = order.AppendUint32(b, 8)
	b = order.AppendUint16(b, uint16(len(entries)))
	at := uint32(8 + 2 + 12*len(entries) + 4)
	var values []byte
	for tag, v := range entries {
		b = order.AppendUint16(b, tag)
		b = order.AppendUint16(b, 4)
		b = order.AppendUint32(b, uint32(len(v)))
		if len(v) == 1 {
			b = order.AppendUint32(b, v[0])
			continue
		}
		b = order.AppendUint32(b, at+uint32(len(values)))
		for _, x := range v {
			values = order.AppendUint32(values, x)
		}
	}
	b = append(order.AppendUint32(b, 0), values...)
	return append(b, bytes.Repeat([]byte{0x5a}, max(0, size-len(b)))...)
}

// Strips and tiles, either byte order (TIFF 6.0, sections 2 and 15), have to
// lie in the file; so have tables and the JPEGs that they name.
func TestTIFFEnd(t *testing.T) {
	for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
		for _, c := range []struct {
			end     int64 // 0: sound at any size
			entries map[uint16][]uint32
		}{
			{1500, map[uint16][]uint32{tagStripOffsets: {1000}, tagStripByteCounts: {500}}},
			{2700, map[uint16][]uint32{tagStripOffsets: {1000, 2000, 1500}, tagStripByteCounts: {500, 700, 500}}},
			{4100, map[uint16][]uint32{tagTileOffsets: {1000, 4000}, tagTileByteCounts: {100, 100}}},
			{8589934590, map[uint16][]uint32{tagStripOffsets: {1<<32 - 1}, tagStripByteCounts: {1<<32 - 1}}},
			{3000, map[uint16][]uint32{tagJPEGOffset: {1000}, tagJPEGByteCount: {2000}}},
			{3002, map[uint16][]uint32{tagSubIFDs: {3000}}},
			{0, map[uint16][]uint32{tagStripOffsets: {1000}}},
		} {
			data := tiffOf(order, 5000, c.entries)
			if c.end == 3002 {
				copy(data[3000:], make([]byte, 6)) // a directory of nothing
			}
			for _, size := range []int64{600, c.end - 1, c.end, 5000} {
				if size > 5000 || size < 100 {
					continue
				}
				d := tiffEnd(bytes.NewReader(data[:size]), size)
				if want := size < c.end; (d != nil) != want {
					t.Errorf("%v at %d of %d bytes: %+v", c.entries, size, c.end, d)
				}
			}
		}
	}
}

// rawFile is a DNG with the preview of a picture.
func rawFile(t testing.TB) []byte {
	t.Helper()
	m := stamp.Mosaic{W: 320, H: 240, White: 16383, Pix: make([]uint16, 320*240)}
	for i := range m.Pix {
		m.Pix[i] = uint16(100 + i%997)
	}
	data, err := stamp.DNG(m, stamp.Fields{Make: "Invented", Model: "One"}, plainJPEG(), 16, 8)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// A raw file that is cut anywhere, or zeroed from a sector's border to its end,
// is damaged; whole, with its last samples dark, it is not.
func TestRawEnd(t *testing.T) {
	raw := rawFile(t)
	look := func(data []byte) *problem.Still {
		t.Helper()
		f, err := Read(bytes.NewReader(data), int64(len(data)))
		if f.Format != "dng" {
			return cutOff // its very head is gone
		}
		if d := ByName(f.Format).Damage(bytes.NewReader(data), int64(len(data))); d != nil || err == nil {
			return d
		}
		return problem.Undecodable(err.Error())
	}
	if d := look(raw); d != nil {
		t.Fatalf("whole: %+v", d)
	}
	for cut := 100; cut < len(raw); cut += 997 {
		if look(raw[:cut]) == nil {
			t.Errorf("cut to %d of %d bytes: nothing", cut, len(raw))
		}
	}
	for from := 16 << 10; from < len(raw)-someZeros-sector; from += 7 * sector {
		zeroed := bytes.Clone(raw)
		clear(zeroed[from:])
		if d := look(zeroed); d == nil || d.Kind != "corrupt" {
			t.Errorf("zeros from %d of %d bytes: %+v", from, len(raw), d)
		}
	}
	dark := bytes.Clone(raw)
	clear(dark[len(dark)-someZeros-sector/2-20:])
	if at := len(dark) - someZeros - sector/2 - 20; at%sector > sector-3 || at%sector == 0 {
		t.Fatal("the test's own run begins at a border")
	}
	if d := look(dark); d != nil {
		t.Errorf("dark to its end: %+v", d)
	}
}

// The same of a real TIFF written by another's code.
func TestTIFFOfOthers(t *testing.T) {
	img := image.NewRGBA64(image.Rect(0, 0, 70, 50))
	for i := range 70 * 50 {
		img.Set(i%70, i/70, color.RGBA64{R: uint16(i), G: 1, B: 2, A: 0xffff})
	}
	var b bytes.Buffer
	if err := tiff.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	whole := b.Bytes()
	if d := tiffEnd(bytes.NewReader(whole), int64(len(whole))); d != nil {
		t.Errorf("whole: %+v", d)
	}
	if d := tiffEnd(bytes.NewReader(whole[:len(whole)-1]), int64(len(whole)-1)); d == nil {
		t.Error("cut: nothing")
	}
}

func boxOf(kind string, body int) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(8+body))
	return append(append(b, kind...), bytes.Repeat([]byte{0x5a}, body)...)
}

// Boxes have to fill the file (ISO/IEC 14496-12, 4.2).
func TestBoxesEnd(t *testing.T) {
	head := boxOf("ftyp", 16)
	whole := append(bytes.Clone(head), boxOf("mdat", 90000)...)
	wide := append(bytes.Clone(head), "\x00\x00\x00\x01mdat\x00\x00\x00\x00\x00\x00\x10\x10"...)
	wide = append(wide, bytes.Repeat([]byte{1}, 4096)...)
	open := append(bytes.Clone(head), "\x00\x00\x00\x00mdat123456789"...)
	padded := append(bytes.Clone(whole), make([]byte, 500)...)
	zeroed := bytes.Clone(whole)
	clear(zeroed[40<<10:])
	for name, c := range map[string]struct {
		data []byte
		kind string
	}{
		"whole": {whole, ""}, "wide": {wide, ""}, "open": {open, ""}, "padded": {padded, ""},
		"cut": {whole[:len(whole)-1], "truncated"}, "wide, cut": {wide[:len(wide)-1], "truncated"},
		"zeroed":   {zeroed, "corrupt"},
		"nonsense": {append(bytes.Clone(head), "\x00\x00\x00\x04mdatxxxx"...), "corrupt"},
	} {
		d := boxesEnd(bytes.NewReader(c.data), int64(len(c.data)))
		if got := kindOf(d); got != c.kind {
			t.Errorf("%s: %+v", name, d)
		}
	}
}

func kindOf(d *problem.Still) string {
	if d == nil {
		return ""
	}
	return d.Kind
}

func TestRAFEnd(t *testing.T) {
	raf := append([]byte("FUJIFILMCCD-RAW "), make([]byte, 92)...)
	for i, v := range []uint32{200, 100, 300, 50, 400, 9600} {
		binary.BigEndian.PutUint32(raf[84+4*i:], v)
	}
	raf = append(raf, bytes.Repeat([]byte{7}, 10000-len(raf))...)
	for size, want := range map[int]string{10000: "", 9999: "truncated", 250: "truncated", 100: "truncated"} {
		if d := rafEnd(bytes.NewReader(raf[:size]), int64(size)); kindOf(d) != want {
			t.Errorf("%d bytes: %+v", size, d)
		}
	}
	clear(raf[5120:])
	if d := rafEnd(bytes.NewReader(raf), 10000); kindOf(d) != "corrupt" || !strings.Contains(d.Text, "the last 51 %") {
		t.Errorf("zeroed: %+v", d)
	}
}

func TestX3FEnd(t *testing.T) {
	x3f := []byte("FOVb....SECd....\x08\x00\x00\x00")
	if d := x3fEnd(bytes.NewReader(x3f), int64(len(x3f))); d != nil {
		t.Errorf("whole: %+v", d)
	}
	for n := range x3f {
		if x3fEnd(bytes.NewReader(x3f[:n]), int64(n)) == nil {
			t.Errorf("cut to %d bytes: nothing", n)
		}
	}
}

// Clusters that were lost in the midst of a raw file's data are found where the
// data are read to their end, and dark samples are no lost clusters.
func TestWalk(t *testing.T) {
	raw := rawFile(t)
	facts, err := Read(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		t.Fatal(err)
	}
	parts := tiffData(bytes.NewReader(raw), int64(len(raw)))
	data := parts[0]
	if len(parts) != 1 || data.length != 2*320*240 {
		t.Fatalf("data of %d bytes", data.length)
	}
	if d := Walk(bytes.NewReader(raw), int64(len(raw)), &facts); d != nil {
		t.Errorf("whole: %+v", d)
	}
	first := (data.at + sector) / sector * sector
	for from := first + sector; from+someZeros+sector < data.end(); from += 5 * sector {
		lost := bytes.Clone(raw)
		clear(lost[from : from+someZeros])
		if d := Walk(bytes.NewReader(lost), int64(len(lost)), &facts); d == nil || d.Kind != "corrupt" {
			t.Errorf("zeros from %d on: %+v", from, d)
		}
	}
	for _, dark := range [][2]int64{{data.at, 3 * someZeros}, {first + 1000, someZeros + 4*sector}, {data.end() - 3*someZeros, 3 * someZeros}} {
		shaded := bytes.Clone(raw)
		clear(shaded[dark[0]:][:dark[1]])
		if d := Walk(bytes.NewReader(shaded), int64(len(shaded)), &facts); d != nil {
			t.Errorf("dark from %d, %d bytes: %+v", dark[0], dark[1], d)
		}
	}
}

// Of the published sample files, whole ones are sound. The exiftool set holds
// heads without pixels, which are cut off in truth: these are told.
func TestEndsOfSamples(t *testing.T) {
	data := os.Getenv("STILLSPAN_DATA")
	if data == "" {
		t.Skip("STILLSPAN_DATA names no folder of photographs")
	}
	looked := 0
	err := filepath.WalkDir(data, func(p string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		if _, ok := BySuffix(p); !ok {
			return nil
		}
		f, err := os.Open(p)
		if err != nil {
			return err
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil {
			return err
		}
		facts, _ := Read(f, info.Size())
		look := ByName(facts.Format).Damage
		if look == nil {
			return nil
		}
		looked++
		d := look(f, info.Size())
		if d == nil {
			d = Walk(f, info.Size(), &facts)
		}
		stub := strings.Contains(p, "exiftool-t-images") || strings.Contains(p, "goexif-samples") || strings.Contains(p, "exif-samples")
		if d != nil && !stub {
			t.Errorf("%s: %+v", p, d)
		} else if d != nil {
			t.Logf("%s: %+v", filepath.Base(p), d)
		}
		return nil
	})
	if err != nil || looked == 0 {
		t.Errorf("%d files, %v", looked, err)
	}
}

func FuzzEnds(f *testing.F) {
	raw := rawFile(f)
	for _, seed := range [][]byte{
		raw, raw[:len(raw)/2], plainJPEG(), append(boxOf("ftyp", 16), boxOf("mdat", 9000)...), []byte("MM\x00*\xff\xff\xff\xff"), {},
		tiffOf(binary.BigEndian, 9000, map[uint16][]uint32{tagStripOffsets: {1000}, tagStripByteCounts: {8000}, tagSubIFDs: {8, 8, 8}}),
	} {
		f.Add(seed)
	}
	packed := ljpeg(f, "96x64", "bgr24")
	f.Add(append(tiffOf(binary.LittleEndian, 1000, map[uint16][]uint32{tagStripOffsets: {1000}, tagStripByteCounts: {uint32(len(packed))}}), packed...))
	f.Fuzz(func(t *testing.T, data []byte) {
		bounded.Run(t, func() {
			for _, row := range table {
				if row.Damage != nil {
					row.Damage(bytes.NewReader(data), int64(len(data)))
				}
				Walk(bytes.NewReader(data), int64(len(data)), &meta.Facts{Format: row.Name})
			}
		})
	})
}
