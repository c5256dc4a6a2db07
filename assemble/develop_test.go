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

	"stillspan/deflicker/develop"
	"stillspan/internal/stamp"
)

// writeDNG writes a raw file whose pixels of one colour are all alike.
func writeDNG(t testing.TB, name string, w, h int, r, g, b uint16) {
	t.Helper()
	m := stamp.Mosaic{W: w, H: h, White: 4095, Pix: make([]uint16, w*h)}
	for i := range m.Pix {
		m.Pix[i] = [2][2]uint16{{r, g}, {g, b}}[i/w&1][i%w&1]
	}
	data, err := stamp.DNG(m, stamp.Fields{Make: "Invented", Model: "One"}, nil, 0, 0)
	if err == nil {
		err = os.WriteFile(name, data, 0o666)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func needLibRaw(t *testing.T) {
	t.Helper()
	needFFmpeg(t)
	if !develop.Available() {
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
		linear, err := exec.Command(develop.Tool, "-4", "-c", "0", "-t", "0", "-r", "1", "1", "1", "1", "-Z", "-", s.Path).Output()
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
