package format_test

import (
	"bytes"
	"image"
	"image/color"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"stillspan/ingest/format"

	"github.com/disintegration/imaging"
)

// What JPEG XL's reference encoder writes of colours and depth is read back: its own
// names for primaries and transfer on the right, those of ITU-T H.273 on the left.
func TestColoursOfJXL(t *testing.T) {
	if _, err := exec.LookPath("cjxl"); err != nil {
		t.Skip("JPEG XL's tools are not installed (Debian: libjxl-tools)")
	}
	dir := t.TempDir()
	still := func(name string, m image.Image) string {
		name = filepath.Join(dir, name)
		if err := imaging.Save(m, name); err != nil {
			t.Fatal(err)
		}
		return name
	}
	deep, alpha := image.NewRGBA64(image.Rect(0, 0, 40, 24)), image.NewNRGBA(image.Rect(0, 0, 40, 24))
	for i := range 40 * 24 {
		deep.SetRGBA64(i%40, i/40, color.RGBA64{uint16(i * 60), 5000, 9000, 0xFFFF})
		alpha.SetNRGBA(i%40, i/40, color.NRGBA{200, 100, 50, uint8(i)})
	}
	plain := still("plain.png", image.NewGray(image.Rect(0, 0, 40, 24)))
	for _, c := range []struct {
		want, space, from string
		bits              int
		converts, refuses bool
	}{
		{want: "sRGB", from: plain, bits: 8},
		{want: "sRGB", from: still("deep.png", deep), bits: 16},
		{want: "sRGB", space: "RGB_D65_SRG_Rel_SRG", from: still("alpha.png", alpha), bits: 8},
		{want: "Display P3", space: "RGB_D65_DCI_Rel_SRG", from: filepath.Join(dir, "alpha.png"), bits: 8, converts: true},
		{want: "Display P3", space: "RGB_D65_DCI_Rel_SRG", from: filepath.Join(dir, "deep.png"), bits: 16, converts: true},
		{want: "CICP 9/16", space: "RGB_D65_202_Rel_PeQ", from: filepath.Join(dir, "deep.png"), bits: 16, refuses: true},
	} {
		for _, distance := range []string{"0", "1"} {
			name := filepath.Join(dir, "a.jxl")
			args := []string{c.from, name, "-d", distance}
			if c.space != "" {
				args = append(args, "-x", "color_space="+c.space)
			}
			if out, err := exec.Command("cjxl", args...).CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			data, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			facts, err := format.Read(bytes.NewReader(data), int64(len(data)))
			if err != nil {
				t.Fatal(err)
			}
			got, profile, why := facts.Colour.Read()
			if got != c.want || facts.Bits != c.bits || (profile != nil) != c.converts || (why != "") != c.refuses {
				t.Errorf("%s at distance %s: %s, %d bits, %v, %q", args[0], distance, got, facts.Bits, profile != nil, why)
			}
		}
	}
}
