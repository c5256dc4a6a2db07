package assemble

import (
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"math"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"stillspan/deflicker/develop"
	"stillspan/internal/bt2100"
	"stillspan/internal/codec"
	"stillspan/internal/icc"
	"stillspan/internal/srgb"

	"github.com/disintegration/imaging"
)

// patches are eight colours of 16 bits, sRGB.
var patches = [][3]uint16{
	{0xffff, 0xffff, 0xffff}, {0x8080, 0x8080, 0x8080}, {0x0808, 0x0808, 0x0808}, {0, 0, 0},
	{0xffff, 0, 0}, {0, 0xffff, 0}, {0, 0, 0xffff}, {0xc000, 0x6000, 0x3000},
}

const patchSide = 64

// writePatches writes them side by side.
func writePatches(t *testing.T, name string) {
	t.Helper()
	m := image.NewRGBA64(image.Rect(0, 0, patchSide*len(patches), patchSide))
	for x := range m.Rect.Dx() {
		p := patches[x/patchSide]
		for y := range patchSide {
			m.SetRGBA64(x, y, color.RGBA64{p[0], p[1], p[2], 0xffff})
		}
	}
	if err := imaging.Save(m, name); err != nil {
		t.Fatal(err)
	}
}

// patchCodes are the 10-bit Y', Cb and Cr in the middle of each patch of the first
// frame, as ffmpeg decodes it after filters.
func patchCodes(t *testing.T, name, filters string) (out [][3]float64) {
	t.Helper()
	b, err := exec.Command("ffmpeg", "-v", "error", "-i", name, "-frames:v", "1", "-vf", filters+"format=yuv444p10le", "-f", "rawvideo", "-").Output()
	w := patchSide * len(patches)
	if err != nil || len(b) != 3*2*w*patchSide {
		t.Fatalf("%s: %d bytes, %v", name, len(b), err)
	}
	for k := range patches {
		var c [3]float64
		for j := range c {
			at := (j*patchSide+patchSide/2)*w + k*patchSide + patchSide/2
			c[j] = float64(binary.LittleEndian.Uint16(b[2*at:]))
		}
		out = append(out, c)
	}
	return out
}

// Clips of BT.2020 with HLG and PQ have the codes that zimg, ffmpeg's zscale, makes
// of the same colours with white at 203 cd/m2 (ITU-R BT.2408), within two of 10 bits;
// every codec that may hold them says in its tags what it is, as ffprobe reads them;
// and zimg takes them back to the light that went in, within 2 % of white. zimg does
// HLG by each pixel's luminance, as BT.2100 has it, only where agamma is off.
func TestWide(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	still := filepath.Join(dir, "patches.png")
	writePatches(t, still)
	for _, space := range codec.Spaces[1:] {
		to := fmt.Sprintf("zscale=tin=iec61966-2-1:pin=bt709:min=gbr:rin=full:t=%s:p=bt2020:m=bt2020nc:r=limited:npl=203:agamma=0,", space.Transfer)
		want := patchCodes(t, still, to)
		for _, c := range []struct{ codec, ext string }{
			{"ffv1", ".mkv"}, {"h265-10bit", ".mp4"}, {"h265-10bit", ".mkv"}, {"prores-hq", ".mov"}, {"prores-4444", ".mov"}, {"av1", ".mp4"}, {"av1", ".mkv"},
		} {
			j := jobFor(filepath.Join(dir, space.Name+c.codec+c.ext), []Source{{Path: still, Format: "png", Width: patchSide * len(patches), Height: patchSide, Orientation: 1}})
			j.Aspect, j.Codec, j.Space, j.HoldLast = "source", c.codec, space.Name, 2
			if c.codec == "h265-10bit" {
				j.Quality = 4
			}
			clip := mustRun(t, j)
			if clip.ColorPrimaries != "bt2020" || clip.ColorTransfer != space.Transfer || clip.ColorSpace != "bt2020nc" || clip.ColorRange != "tv" {
				t.Errorf("%s in %s%s is tagged %s, %s, %s, %s", space.Name, c.codec, c.ext, clip.ColorPrimaries, clip.ColorTransfer, clip.ColorSpace, clip.ColorRange)
			}
			if c.codec != "ffv1" {
				continue
			}
			for k, got := range patchCodes(t, clip.File, "") {
				for i := range got {
					if math.Abs(got[i]-want[k][i]) > 2 {
						t.Errorf("%s, patch %04x: %v, zimg %v", space.Name, patches[k], got, want[k])
						break
					}
				}
			}
			back := fmt.Sprintf("zscale=tin=%s:pin=bt2020:min=bt2020nc:rin=limited:t=iec61966-2-1:p=bt709:m=bt709:r=full:npl=203:agamma=0,", space.Transfer)
			for k, got := range patchCodes(t, clip.File, back) {
				y, u, v := got[0]/1023, (got[1]-512)/1023, (got[2]-512)/1023
				r, b := y+1.5748*v, y+1.8556*u
				for i, x := range []float64{r, (y - 0.2126*r - 0.0722*b) / 0.7152, b} {
					if want := srgb.Decode(float64(patches[k][i]) / 65535); math.Abs(srgb.Decode(x)-want) > 0.02 {
						t.Errorf("%s and back, patch %04x: channel %d has light %.3f, not %.3f", space.Name, patches[k], i, srgb.Decode(x), want)
					}
				}
			}
		}
	}
}

// Colours outside sRGB are kept: those of a Display P3 still are what zimg makes of them.
func TestWideOfP3(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	still := filepath.Join(dir, "patches.png")
	writePatches(t, still)
	want := patchCodes(t, still, "zscale=tin=iec61966-2-1:pin=smpte432:min=gbr:rin=full:t=smpte2084:p=bt2020:m=bt2020nc:r=limited:npl=203:agamma=0,")
	j := jobFor(filepath.Join(dir, "p3.mkv"), []Source{{Path: still, Format: "png", Width: patchSide * len(patches), Height: patchSide, Orientation: 1, Profile: 1}})
	j.Aspect, j.Codec, j.Space, j.Profiles = "source", "ffv1", "bt2020-pq", []icc.Profile{icc.DisplayP3}
	clip := mustRun(t, j)
	for k, got := range patchCodes(t, clip.File, "") {
		for i := range got {
			if math.Abs(got[i]-want[k][i]) > 3 {
				t.Errorf("patch %04x: %v, zimg %v", patches[k], got, want[k])
				break
			}
		}
	}
}

// What cannot hold a wide clip is refused before anything is read.
func TestWideRefused(t *testing.T) {
	for want, change := range map[string]func(*Options){
		"wants clips of 10 bits":    func(o *Options) { o.Space = "bt2020-pq" },
		"codec png does not make":   func(o *Options) { o.Space, o.Codec = "bt2020-pq", "png" },
		"is for wide colour spaces": func(o *Options) { o.WhiteNits = 300 },
		"bt2020-hlg reaches from":   func(o *Options) { o.Preset, o.WhiteNits = "hdr", 1500 },
		`colour space "bt2021"`:     func(o *Options) { o.Space = "bt2021" },
	} {
		o := DefaultOptions()
		change(&o)
		if err := o.Validate(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
	o := DefaultOptions()
	o.Preset, o.Out = "grade", "a.mov"
	o.WhiteNits = 4000
	if err := o.Validate(); err != nil || !o.ColourSpace().Wide() {
		t.Errorf("grade: %v", err)
	}
}

// Raw files become light of a display: developed wide, corrected by one stop, and
// written in PQ, frames have the luminance that their sensor's codes stand for, a
// corrected one that of its neighbour, and a colour at the edge of sRGB the parts of
// BT.2020's primaries that ITU-R BT.2087 gives it.
func TestWideRaw(t *testing.T) {
	needLibRaw(t)
	dir := t.TempDir()
	src := rawSources(t, dir, 2000, 1000, 500)
	green := filepath.Join(dir, "green.dng")
	writeDNG(t, green, 256, 192, 0, 2000, 0)
	src = append(src, Source{Path: green, Format: "dng", Raw: true, Width: 256, Height: 192, Orientation: 1})
	src[1].CorrectionEV = 1
	d, err := develop.Identify(t.Context(), src[0].Path)
	if err != nil {
		t.Fatal(err)
	}
	d.Wide = true
	j := jobFor(filepath.Join(dir, "clip.mkv"), src)
	j.Codec, j.Space, j.Raw, j.Develop, j.Profiles = "ffv1", "bt2020-pq", RawDevelop, &d, []icc.Profile{icc.ProPhoto}
	for i := range j.Sources {
		j.Sources[i].Profile = 1
	}
	clip := mustRun(t, j)
	n := clip.Width * clip.Height
	b, err := exec.Command("ffmpeg", "-v", "error", "-i", clip.File, "-vf", "format=yuv444p10le", "-f", "rawvideo", "-").Output()
	if err != nil || len(b) != 4*3*2*n {
		t.Fatalf("%d bytes, %v", len(b), err)
	}
	white := bt2100.WhiteNits * 2000.0 / 4095
	for i, want := range [][3]float64{{white, white, white}, {white, white, white}, {white / 4, white / 4, white / 4}, {0.3293 * white, 0.9195 * white, 0.0880 * white}} {
		var c [3]float64
		for k := range c {
			c[k] = float64(binary.LittleEndian.Uint16(b[2*((3*i+k)*n+n/2+clip.Width/2):]))
		}
		y, u, v := (c[0]-64)/876, (c[1]-512)/896, (c[2]-512)/896
		r, bl := y+1.4746*v, y+1.8814*u
		for k, e := range []float64{r, (y - 0.2627*r - 0.0593*bl) / 0.6780, bl} {
			p := math.Pow(max(e, 0), 1/78.84375) // BT.2100-2, table 4
			nits := 10000 * math.Pow(max(p-0.8359375, 0)/(18.8515625-18.6875*p), 1/0.1593017578125)
			if math.Abs(nits/want[k]-1) > 0.03 {
				t.Errorf("frame %d, channel %d: %.2f cd/m2, want %.2f", i, k, nits, want[k])
			}
		}
	}
}
