package shoot

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"stillspan/assemble"
	"stillspan/internal/demo"
	"stillspan/internal/icc"
	"stillspan/internal/scene"
	"stillspan/internal/settings"
	"stillspan/internal/srgb"

	"github.com/disintegration/imaging"
)

// card draws a shoot and returns the folder it lies in.
func card(t *testing.T, s demo.Shoot) string {
	t.Helper()
	s.Start, s.IntervalS, s.Number, s.Folder = time.Date(2026, 5, 1, 5, 40, 0, 0, time.UTC), 5, 1, 100
	s.Body = demo.Body{Make: "Stillspan", Model: "Test One", Serial: "1001", Prefix: "RAIL", Folder: "STILL"}
	s.ReallyS, s.Scene.Frames, s.Scene.Width, s.Scene.Height = 5, s.Frames, 192, 128
	dir := t.TempDir()
	if err := s.Draw(t.Context(), scene.New(s.Scene), dir); err != nil {
		t.Fatal(err)
	}
	return dir
}

// one finds the only shoot of a folder, measures and solves it.
func one(t *testing.T, dir string, v settings.Values) *Shoot {
	t.Helper()
	settings.Cache.Set(v, false)
	f, err := Find(t.Context(), dir, v, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Shoots) != 1 {
		t.Fatalf("%d shoots, want 1", len(f.Shoots))
	}
	s := f.Shoots[0]
	if err := s.Measure(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if err := s.Solve(); err != nil {
		t.Fatal(err)
	}
	return s
}

// The way of a shoot from its frames to its clip: each step fills a value of
// its own, damaged and missing frames leave gaps that add up, and the plan says
// what the command line does not.
func TestTheWay(t *testing.T) {
	dir := card(t, demo.Shoot{
		Frames: 24, Scene: scene.Options{Seed: 3, ScatterEV: 0.05},
		NotFired: []int{7, 8}, Truncated: []int{15},
	})
	plan := filepath.Join(t.TempDir(), "plan.toml")
	if err := os.WriteFile(plan, []byte("[defaults]\nrate = 25\n[[shoot]]\nname = \"dawn\"\nframes = 24\ninterval_s = 5\ngaps = \"hold\"\naspect = \"1:1\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	v := settings.Values{}
	settings.PlanFile.Set(v, plan)
	settings.Aspect.Set(v, "source")
	s := one(t, dir, v)
	if s.Planned == nil || s.Planned.Name != "dawn" || s.Rate.Num != 25 {
		t.Fatalf("planned %+v at %v", s.Planned, s.Rate)
	}
	if n := len(s.Sequence.Frames); n != 22 || len(s.Measured.Curve.LumEV) != n || len(s.Solved.CorrectionEV) != n || s.Rendered != nil {
		t.Fatalf("%d frames, measured %d, solved %d", n, len(s.Measured.Curve.LumEV), len(s.Solved.CorrectionEV))
	}
	job := s.Job("")
	missing := 0
	for _, g := range job.Gaps {
		missing += g.Count
	}
	if len(job.Sources) != 21 || missing != 3 || job.Aspect != "source" || job.GapMode != assemble.GapHold {
		t.Errorf("%d sources, %d missing, aspect %q, gaps %q", len(job.Sources), missing, job.Aspect, job.GapMode)
	}
	out := filepath.Join(t.TempDir(), "clip.mp4")
	proof := filepath.Join(t.TempDir(), "proof")
	accepted := 0
	err := s.Render(t.Context(), out, RenderOptions{Proof: proof, Accept: func(r Rendered) error {
		accepted = r.Clip.Frames
		return nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	c := s.Rendered.Clip
	if c.File != out || c.Frames != 24 || c.Filled != 3 || accepted != 24 || c.Width != 192 || c.Height != 128 || !c.Verified {
		t.Errorf("clip %+v, accepted with %d frames", c, accepted)
	}
	if err := s.TakeProof(t.Context(), proof); err != nil || s.Pictures.Proof == nil {
		t.Fatalf("proof %+v, %v", s.Pictures.Proof, err)
	}
	if p, sl := s.Pictures.Proof, s.Pictures.Slice; p.W != 192 || p.H != 128 || len(p.Frames) != 24 || len(sl.Frames) != 21 || sl.Shot.Bounds() != image.Rect(0, 0, 21, 128) {
		t.Errorf("proof of %d frames of %dx%d, slice of %d in %v", len(p.Frames), p.W, p.H, len(sl.Frames), sl.Shot.Bounds())
	}
	if was, is := sliceFlicker(s.Pictures.Slice.Shot), sliceFlicker(s.Pictures.Slice.Clip); was < 0.8 || is > was/2 {
		t.Errorf("from one column of the slice to the next %.2f codes as shot, %.2f in the clip", was, is)
	}
	if before, after := s.Solved.FlickerBefore, s.Solved.FlickerAfter; before < 0.02 || after > before/4 {
		t.Errorf("flicker %.4f EV before, %.4f after", before, after)
	}
}

// sliceFlicker is by how much the mean of a slice's columns bends from one to the
// next, codes.
func sliceFlicker(img *image.RGBA) float64 {
	mean := make([]float64, img.Bounds().Dx())
	for x := range mean {
		for y := range img.Bounds().Dy() {
			mean[x] += float64(img.RGBAAt(x, y).G) / float64(img.Bounds().Dy())
		}
	}
	sum := 0.0
	for k := 1; k+1 < len(mean); k++ {
		sum += math.Abs(mean[k] - (mean[k-1]+mean[k+1])/2)
	}
	return sum / float64(len(mean)-2)
}

// The clip shows the frames that are asked for, gaps among them counted.
func TestPicked(t *testing.T) {
	dir := card(t, demo.Shoot{Frames: 24, Scene: scene.Options{Seed: 3}, NotFired: []int{7, 8}, Truncated: []int{15}})
	s := one(t, dir, settings.Values{})
	for _, c := range []struct {
		first, last, speed, sources, missing int
		gaps                                 string
		from                                 string
	}{
		{1, 22, 1, 21, 3, "hold", "05:40:00:00"},
		{3, 10, 1, 8, 2, "hold", "05:40:10:00"}, // frames 3 to 10 lie in 10 places
		{3, 10, 2, 4, 1, "hold", "05:40:10:00"}, // 3, 5, 7, a missing one, 9
		{3, 10, 2, 4, 0, "leave", "05:40:10:00"},
		{20, 99, 5, 1, 0, "blend", "05:41:45:00"},
		{30, 99, 1, 0, 0, "hold", ""},
		{2, 11, 1, 7, 3, "hold", "05:40:10:00"}, // of 10 frames the first and three more go, and two were missing
	} {
		delete(s.Settings, "leave-out")
		if c.first == 2 {
			settings.LeaveOut.Set(s.Settings, settings.Runs{{First: 1, Last: 2}, {First: 5, Last: 5}, {First: 11, Last: 30}})
		}
		settings.First.Set(s.Settings, c.first)
		settings.Last.Set(s.Settings, c.last)
		settings.Speed.Set(s.Settings, c.speed)
		settings.Gaps.Set(s.Settings, c.gaps)
		settings.Hold.Set(s.Settings, settings.Ends{First: 0.5, Last: 1})
		job := s.Job("")
		missing := 0
		for _, g := range job.Gaps {
			missing += g.Count
		}
		if len(job.Sources) != c.sources || missing != c.missing || job.Timecode != c.from || job.HoldFirst != 12 || job.HoldLast != 24 {
			t.Errorf("%+v: %d sources, %d missing, from %q, holds %d and %d", c, len(job.Sources), missing, job.Timecode, job.HoldFirst, job.HoldLast)
		}
		shown, held := 0, 0
		for _, f := range job.Shown() {
			shown++
			if f.Held {
				held++
			}
		}
		if c.sources > 0 && held != 36 {
			t.Errorf("%d of %d frames held", held, shown)
		}
	}
	// Blended, the frames of every two places: 2 and 3, 4 and 5, 6 and 7, none, 8 and 9.
	clear(s.Settings)
	settings.First.Set(s.Settings, 2)
	settings.Last.Set(s.Settings, 9)
	settings.Speed.Set(s.Settings, 2)
	settings.Blend.Set(s.Settings, true)
	settings.Gaps.Set(s.Settings, "hold")
	job := s.Job("")
	var spans [][2]int
	for _, f := range job.Shown() {
		if !f.MadeUp {
			spans = append(spans, [2]int{f.Source, f.Last})
		}
	}
	if fmt.Sprint(spans) != "[[0 1] [2 3] [4 5] [6 7]]" || len(job.Shown()) != 5 {
		t.Errorf("blended: %v of %v", spans, job.Shown())
	}
}

// A step of exposure is levelled unless it is to be kept.
func TestKeepSteps(t *testing.T) {
	dir := card(t, demo.Shoot{Frames: 60, Scene: scene.Options{Seed: 5, LightEV: [2]float64{0, -3}, StepEV: 1, Follow: 1}})
	jump := func(s *Shoot) (most float64) {
		for k := 1; k < len(s.Solved.CorrectionEV); k++ {
			most = max(most, math.Abs(s.Solved.CorrectionEV[k]-s.Solved.CorrectionEV[k-1]))
		}
		return most
	}
	v := settings.Values{}
	if got := jump(one(t, dir, v)); got < 0.5 {
		t.Errorf("a step of 1 EV is levelled by %.3f EV", got)
	}
	settings.KeepSteps.Set(v, true)
	if got := jump(one(t, dir, v)); got > 0.1 {
		t.Errorf("a step of 1 EV is kept, but a correction jumps by %.3f EV", got)
	}
}

// One chart, shot as sRGB, as Adobe RGB by EXIF and by a profile, and as P3 by a
// profile, gives one colour in the clip: within half an 8-bit code on the mean and
// two at worst, of which the stills' own rounding is one and a half. exiftool
// writes the profiles; Adobe's is that of Debian's icc-profiles-free.
func TestColours(t *testing.T) {
	if _, err := exec.LookPath("exiftool"); err != nil {
		t.Skip(err)
	}
	const adobe = "/usr/share/color/icc/compatibleWithAdobeRGB1998.icc"
	patches := [][3]float64{{200, 60, 50}, {60, 170, 70}, {50, 70, 180}, {128, 128, 128}, {230, 200, 40}, {240, 240, 240}, {90, 40, 110}, {20, 24, 30}}
	dir := t.TempDir()
	still := func(i int, p icc.Profile, args ...string) {
		const side = 32
		m := image.NewNRGBA(image.Rect(0, 0, side*len(patches), 2*side))
		for x := range m.Rect.Dx() {
			v := encoded(p, patches[x/side])
			for y := range m.Rect.Dy() {
				m.SetNRGBA(x, y, color.NRGBA{v[0], v[1], v[2], 255})
			}
		}
		name := filepath.Join(dir, fmt.Sprintf("STIL%04d.png", i))
		var b bytes.Buffer
		if err := png.Encode(&b, m); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, b.Bytes(), 0o666); err != nil {
			t.Fatal(err)
		}
		args = append(args, "-q", "-overwrite_original", fmt.Sprintf("-DateTimeOriginal=2026:05:01 05:40:%02d", 5*i), name)
		if out, err := exec.Command("exiftool", args...).CombinedOutput(); err != nil {
			t.Fatalf("exiftool: %v: %s", err, out)
		}
	}
	still(0, icc.SRGB, "-ColorSpace=1")
	still(1, icc.AdobeRGB, "-ColorSpace=65535", "-InteropIndex=R03")
	still(2, icc.DisplayP3, "-icc_profile<="+p3Profile(t))
	still(3, icc.SRGB, "-ColorSpace=1")
	if _, err := os.Stat(adobe); err == nil {
		still(4, icc.AdobeRGB, "-icc_profile<="+adobe)
	} else {
		still(4, icc.AdobeRGB, "-ColorSpace=2")
	}
	v := settings.Values{}
	settings.Deflicker.Set(v, false)
	settings.Aspect.Set(v, "source")
	settings.Codec.Set(v, "png")
	s := one(t, dir, v)
	if len(s.Sequence.Settings) != 4 || s.Sequence.Settings[0].Field != "colour profile" || s.Sequence.Settings[0].To != "Adobe RGB (1998)" || s.Sequence.Settings[1].To != "Display P3" {
		t.Errorf("changes %+v", s.Sequence.Settings)
	}
	out := filepath.Join(t.TempDir(), "frames")
	if err := s.Render(t.Context(), out, RenderOptions{}); err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for i := range 5 {
		m, err := imaging.Open(filepath.Join(out, fmt.Sprintf("%06d.png", i+1)))
		if err != nil {
			t.Fatal(err)
		}
		for k, want := range patches {
			r, g, b, _ := m.At(32*k+16, 32).RGBA()
			for j, got := range []uint32{r, g, b} {
				d := math.Abs(float64(got)/257 - want[j])
				if sum += d; d > 2 {
					t.Errorf("still %d, patch %d, channel %d: %.1f, want %g", i, k, j, float64(got)/257, want[j])
				}
			}
		}
	}
	if mean := sum / float64(5*3*len(patches)); mean > 0.5 {
		t.Errorf("colours are off by %.2f codes on the mean", mean)
	}
}

// encoded is an sRGB colour in another profile's codes: the matrix solved by
// Cramer's rule, then the nearest code of the curve.
func encoded(p icc.Profile, rgb [3]float64) (out [3]uint8) {
	m := p.To(&icc.SRGB)
	det := func(m [9]float64) float64 {
		return m[0]*(m[4]*m[8]-m[5]*m[7]) - m[1]*(m[3]*m[8]-m[5]*m[6]) + m[2]*(m[3]*m[7]-m[4]*m[6])
	}
	for j := range 3 {
		n := m
		for row := range 3 {
			n[3*row+j] = srgb.Decode(rgb[row] / 255)
		}
		light := det(n) / det(m)
		best := 0
		for c := range 256 {
			if math.Abs(p.Curves[j].At(float64(c)/255)-light) < math.Abs(p.Curves[j].At(float64(best)/255)-light) {
				best = c
			}
		}
		out[j] = uint8(best)
	}
	return out
}

// p3Profile writes a profile of the primaries and the curve of P3.
func p3Profile(t *testing.T) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "p3.icc")
	if err := os.WriteFile(name, icc.DisplayP3.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	return name
}
