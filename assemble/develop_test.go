package assemble

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// writeDNG writes a raw file after Adobe's DNG 1.4 specification, as small as
// LibRaw takes one: an RGGB mosaic of 12-bit codes in 16, all pixels of a
// colour alike, with sRGB's own primaries as the camera's.
func writeDNG(t testing.TB, name string, w, h int, r, g, b uint16) {
	t.Helper()
	type entry struct {
		tag, kind uint16
		data      []byte
		n         int
	}
	le := binary.LittleEndian
	short := func(v ...uint16) (out []byte) {
		for _, x := range v {
			out = le.AppendUint16(out, x)
		}
		return
	}
	long := func(v ...uint32) (out []byte) {
		for _, x := range v {
			out = le.AppendUint32(out, x)
		}
		return
	}
	// XYZ of D65 to linear sRGB (IEC 61966-2-1, its inverse matrix).
	var matrix []byte
	for _, m := range []float64{3.2406, -1.5372, -0.4986, -0.9689, 1.8758, 0.0415, 0.0557, -0.2040, 1.0570} {
		matrix = append(matrix, long(uint32(int32(math.Round(m*10000))), 10000)...)
	}
	entries := []entry{
		{254, 4, long(0), 1}, {256, 4, long(uint32(w)), 1}, {257, 4, long(uint32(h)), 1}, {258, 3, short(16), 1}, {259, 3, short(1), 1},
		{262, 3, short(32803), 1}, {271, 2, []byte("Invented\x00"), 9}, {272, 2, []byte("One\x00"), 4}, {273, 4, long(0), 1}, {277, 3, short(1), 1},
		{278, 4, long(uint32(h)), 1}, {279, 4, long(uint32(2 * w * h)), 1}, {284, 3, short(1), 1},
		{33421, 3, short(2, 2), 2}, {33422, 1, []byte{0, 1, 1, 2}, 4},
		{50706, 1, []byte{1, 4, 0, 0}, 4}, {50708, 2, []byte("Invented One\x00"), 13},
		{50714, 3, short(0), 1}, {50717, 3, short(4095), 1}, {50721, 10, matrix, 9},
		{50728, 5, long(1, 1, 1, 1, 1, 1), 3}, {50778, 3, short(21), 1},
	}
	head := append([]byte("II*\x00"), long(8)...)
	head = le.AppendUint16(head, uint16(len(entries)))
	at := 8 + 2 + 12*len(entries) + 4
	var extra []byte
	strip := -1
	for _, e := range entries {
		head = le.AppendUint16(le.AppendUint16(head, e.tag), e.kind)
		head = le.AppendUint32(head, uint32(e.n))
		if e.tag == 273 {
			strip = len(head)
		}
		if len(e.data) <= 4 {
			head = append(head, append(e.data, 0, 0, 0)[:4]...)
			continue
		}
		head = le.AppendUint32(head, uint32(at+len(extra)))
		extra = append(extra, e.data...)
		if len(extra)%2 == 1 {
			extra = append(extra, 0)
		}
	}
	head = append(head, 0, 0, 0, 0)
	file := append(head, extra...)
	le.PutUint32(file[strip:], uint32(len(file)))
	for y := range h {
		for x := range w {
			file = le.AppendUint16(file, [2][2]uint16{{r, g}, {g, b}}[y&1][x&1])
		}
	}
	if err := os.WriteFile(name, file, 0o666); err != nil {
		t.Fatal(err)
	}
}

func needLibRaw(t *testing.T) {
	t.Helper()
	needFFmpeg(t)
	if !hasDeveloper() {
		t.Skip("LibRaw's tools are not installed (Debian: libraw-bin)")
	}
}

func rawSources(t testing.TB, dir string, greys ...uint16) []Source {
	t.Helper()
	var src []Source
	for i, v := range greys {
		name := filepath.Join(dir, string(rune('a'+i))+" raw.dng")
		writeDNG(t, name, 256, 192, v, v, v)
		src = append(src, Source{Path: name, Format: "dng", Raw: true, Width: 256, Height: 192, Orientation: 1})
	}
	return src
}

// TestDevelop renders raw files whose light is known: frames of half and a
// quarter of the light must stay that far apart, which they do not when each
// is brightened by itself, and LibRaw's own linear output must agree.
func TestDevelop(t *testing.T) {
	needLibRaw(t)
	dir := t.TempDir()
	src := rawSources(t, dir, 2000, 1000, 500)
	for _, s := range src {
		linear, err := exec.Command(developer, "-4", "-c", "0", "-t", "0", "-r", "1", "1", "1", "1", "-Z", "-", s.Path).Output()
		if err != nil {
			t.Fatal(err)
		}
		body := linear[bytes.Index(linear, []byte("65535\n"))+6:]
		got := float64(binary.BigEndian.Uint16(body[len(body)/2&^1:])) / 65535
		want := map[string]float64{"a": 2000, "b": 1000, "c": 500}[filepath.Base(s.Path)[:1]] / 4095
		if math.Abs(got/want-1) > 0.02 {
			t.Errorf("LibRaw's linear output of %s is %.4f, want %.4f", s.Path, got, want)
		}
	}
	j := jobFor(filepath.Join(dir, "images"), src)
	j.Codec, j.Raw = "png", RawDevelop
	src[1].CorrectionEV = 1 // as bright as the first again
	clip := mustRun(t, j)
	if clip.Width != 256 || clip.Height != 192 || clip.Frames != 3 {
		t.Errorf("%+v", clip)
	}
	v := lumas(t, clip.File)
	for i, light := range []float64{2000, 2000, 500} {
		l := light / 4095
		want := 255 * (1.055*math.Pow(l, 1/2.4) - 0.055) // IEC 61966-2-1
		if math.Abs(v[i]-want) > 1.5 {
			t.Errorf("frame %d is %.1f, want %.1f", i, v[i], want)
		}
	}
}

// A raw file that LibRaw cannot read is named; another size is not let in.
func TestDevelopTrouble(t *testing.T) {
	needLibRaw(t)
	dir, outDir := t.TempDir(), t.TempDir()
	src := rawSources(t, dir, 2000, 1000, 500)
	j := jobFor(filepath.Join(outDir, "clip.mp4"), src)
	j.Raw = RawDevelop
	if err := os.WriteFile(src[1].Path, []byte("II*\x00"), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, spoil := range []func(){
		func() {},
		func() { writeDNG(t, src[1].Path, 128, 96, 1, 1, 1) },
	} {
		spoil()
		p, err := Prepare(t.Context(), j)
		if err != nil {
			t.Fatal(err)
		}
		if _, err = p.Run(t.Context(), nil); err == nil || !strings.Contains(err.Error(), "b raw.dng") {
			t.Errorf("error %v", err)
		}
		onlyHolds(t, outDir)
	}
	j.Raw = RawPreview
	if _, err := Prepare(t.Context(), j); err == nil || !strings.Contains(err.Error(), "no embedded preview") {
		t.Errorf("no previews: %v", err)
	}
}
