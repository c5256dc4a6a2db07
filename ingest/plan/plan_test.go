package plan

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"stillspan/ingest"
	"stillspan/ingest/meta"
	"stillspan/ingest/timing"
	"stillspan/internal/bounded"
	"stillspan/internal/playback"
)

var (
	rate24  = playback.Rate{Num: 24, Den: 1}
	rate30  = playback.Rate{Num: 30, Den: 1}
	film    = playback.Rate{Num: 24000, Den: 1001}
	closeTo = func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b)) }
)

// The figures are common practice, no published source, but for 24000/1001,
// which is SMPTE ST 12-1's film rate: 240 x 1001/24000 = 10.01.
func TestSolve(t *testing.T) {
	for _, c := range []struct {
		name     string
		ask      Ask
		frames   int
		interval float64
		shooting float64
		clip     float64
	}{
		{"300 shots at 5 s take 25 min", Ask{Frames: 300, IntervalS: 5}, 300, 5, 1500, 0},
		{"3 h in 300 shots", Ask{Frames: 300, ShootingS: 3 * 3600}, 300, 36, 10800, 0},
		{"25 min at 5 s", Ask{IntervalS: 5, ShootingS: 1500}, 300, 5, 1500, 0},
		{"a part of an interval is no shot", Ask{IntervalS: 7, ShootingS: 1500}, 214, 7, 1500, 0},
		{"300 frames at 30", Ask{Frames: 300, IntervalS: 5, Rate: rate30}, 300, 5, 1500, 10},
		{"300 frames at 24", Ask{Frames: 300, IntervalS: 5, Rate: rate24}, 300, 5, 1500, 12.5},
		{"12.5 s at 24 need 300", Ask{ClipS: 12.5, Rate: rate24, IntervalS: 5}, 300, 5, 1500, 12.5},
		{"10.01 s at 24000/1001 need 240", Ask{ClipS: 10.01, Rate: film, IntervalS: 1}, 240, 1, 240, 10.01},
		{"a clip is never shorter than asked", Ask{ClipS: 10.02, Rate: rate24, IntervalS: 1}, 241, 1, 241, 241.0 / 24},
		{"0.1 s steps do not lose a frame to rounding", Ask{IntervalS: 0.1, ShootingS: 0.3}, 3, 0.1, 0.3, 0},
		{"one frame", Ask{Frames: 1, IntervalS: 2}, 1, 2, 2, 0},
	} {
		a, err := Solve(c.ask)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if a.Frames != c.frames || !closeTo(a.IntervalS, c.interval) || !closeTo(a.ShootingS, c.shooting) || !closeTo(a.ClipS, c.clip) {
			t.Errorf("%s: %d frames, %g s, %g s, clip %g s; want %d, %g, %g, %g",
				c.name, a.Frames, a.IntervalS, a.ShootingS, a.ClipS, c.frames, c.interval, c.shooting, c.clip)
		}
		if want := float64(c.frames-1) * c.interval; !closeTo(a.LastFrameS, want) {
			t.Errorf("%s: the last frame begins at %g s, want %g", c.name, a.LastFrameS, want)
		}
	}
}

func TestSolveRefuses(t *testing.T) {
	for _, c := range []struct {
		ask  Ask
		want string
	}{
		{Ask{}, "state two of"},
		{Ask{Frames: 300}, "state two of"},
		{Ask{Frames: 300, IntervalS: 5, ShootingS: 1800}, "take 25 min, not 30 min"},
		{Ask{Frames: 300, IntervalS: 5, Rate: rate24, ClipS: 10}, "play 12.5 s at 24, not 10 s"},
		{Ask{Frames: -1, IntervalS: 5}, "frames must be"},
		{Ask{IntervalS: math.NaN(), Frames: 3}, "interval must be"},
		{Ask{IntervalS: 10, ShootingS: 5}, "0 frames"},
		{Ask{IntervalS: 1e-9, ShootingS: 1e9}, "more than"},
		{Ask{Frames: 3, IntervalS: 5, CardMargin: 1}, "card margin"},
	} {
		if _, err := Solve(c.ask); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: error %v, want one with %q", c.ask, err, c.want)
		}
	}
}

// 300 frames have 299 moves between them.
func TestTravelAndSupplies(t *testing.T) {
	a, err := Solve(Ask{
		Frames: 301, IntervalS: 6, ExposureS: 2, Travel: 1200,
		BytesPerFrame: 25e6, CardBytes: 4e9, ShotsPerBattery: 200, HoursPerBattery: 2,
	})
	if err != nil {
		t.Fatal(err)
	}
	if !closeTo(a.PerFrame, 4) || !closeTo(a.PerMinute, 40) || !closeTo(a.PerExpose, 40.0/30) || a.TravelUnit != "mm" {
		t.Errorf("travel %g a frame, %g a minute, %g an exposure, %q", a.PerFrame, a.PerMinute, a.PerExpose, a.TravelUnit)
	}
	// 301 x 25 MB x 1.1 = 8.2775 GB: three cards of 4 GB. 301 shots from
	// batteries of 200, a quarter kept back: 301 / 150, three.
	if !closeTo(a.CardSpaceBytes, 8.2775e9) || a.Cards != 3 || a.Batteries != 3 {
		t.Errorf("%g bytes, %d cards, %d batteries", a.CardSpaceBytes, a.Cards, a.Batteries)
	}
	if len(a.Warnings) != 2 {
		t.Errorf("a change of card and one of battery must be warned of: %q", a.Warnings)
	}
}

func TestExposureAgainstInterval(t *testing.T) {
	for _, c := range []struct {
		exposure, write float64
		want            string
	}{
		{1, 0.5, ""}, {2.5, 0, ""}, {3, 0, "write time is not stated"},
		{4, 0.8, "will miss shots"}, {4.5, 0.5, "do not fit"}, {9, 0, "do not fit"},
	} {
		a, err := Solve(Ask{Frames: 10, IntervalS: 5, ExposureS: c.exposure, WriteS: c.write})
		if err != nil {
			t.Fatal(err)
		}
		got := strings.Join(a.Warnings, " ")
		if (c.want == "") != (got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%g + %g s of 5 s: warned %q, want %q", c.exposure, c.write, got, c.want)
		}
		if a.HalfInterval != 2.5 {
			t.Errorf("half the interval is %g", a.HalfInterval)
		}
	}
}

func TestParseSeconds(t *testing.T) {
	for in, want := range map[string]float64{
		"5": 5, "2.5": 2.5, "1/60": 1.0 / 60, "1/60s": 1.0 / 60, "25m": 1500, "1h30m": 5400, "90 min": 5400, "3 h": 10800, "36s": 36,
	} {
		if got, err := ParseSeconds(in); err != nil || !closeTo(got, want) {
			t.Errorf("%q: %g, %v; want %g", in, got, err, want)
		}
	}
	for _, in := range []string{"", "0", "-5", "five", "1/0", "0/5", "1/", "NaN", "Inf", "1e300", "5 5 x"} {
		if got, err := ParseSeconds(in); err == nil {
			t.Errorf("%q was read as %g s", in, got)
		}
	}
}

func TestFormat(t *testing.T) {
	for in, want := range map[float64]string{12.5: "12.5 s", 60: "1 min", 90: "1 min 30 s", 1500: "25 min", 5400: "1 h 30 min", 10800: "3 h", 10830: "3 h 00 min 30 s", 59.9999: "60 s"} {
		if got := FormatSeconds(in); got != want {
			t.Errorf("%g s is written %q, want %q", in, got, want)
		}
	}
	for in, want := range map[float64]string{1.0 / 60: "1/60 s", 0.005: "1/200 s", 2.5: "2.5 s", 0: "", math.NaN(): ""} {
		if got := FormatExposure(in); got != want {
			t.Errorf("exposure %g s is written %q, want %q", in, got, want)
		}
	}
}

const sample = `
[defaults]
rate = 24
aspect = "16:9"

[[shoot]]
name = "harbour dawn"
folder = "DCIM/100MEDIA"
from = 2026-05-01T05:00:00
to = 2026-05-01T06:30:00
interval_s = 5
shooting_time = "25m"
exposure = "1/60"
gaps = "blend"

[[shoot]]
name = "square"
frames = 240
rate = "24000/1001"
aspect = "source"
deflicker = false
`

func TestLoad(t *testing.T) {
	path := filepath.Join(t.TempDir(), "day plan %d ü.toml")
	if err := os.WriteFile(path, []byte(sample), 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	dawn, square := f.Shoots[0], f.Shoots[1]
	if dawn.Frames != 300 || dawn.ShootingS != 1500 || dawn.ClipS != 12.5 || dawn.Rate != rate24 || !closeTo(dawn.ExposureS, 1.0/60) {
		t.Errorf("harbour dawn: %+v", dawn)
	}
	if want := time.Date(2026, 5, 1, 5, 0, 0, 0, time.UTC); !dawn.From.Equal(want) {
		t.Errorf("from %v, want %v", dawn.From, want)
	}
	if square.Rate != film || !closeTo(square.ClipS, 10.01) {
		t.Errorf("square: %+v", square)
	}
	if r := dawn.Render.Over(f.Defaults); r.Aspect != "16:9" || r.Gaps != "blend" || r.Deflicker != nil {
		t.Errorf("harbour dawn renders with %+v", r)
	}
	if r := square.Render.Over(f.Defaults); r.Aspect != "source" || r.Deflicker == nil || *r.Deflicker {
		t.Errorf("square renders with %+v", r)
	}
	if _, err := Load(path + ".not"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no such plan: %v", err)
	}
}

func TestWriteReadsBack(t *testing.T) {
	f, err := Parse([]byte(sample))
	if err != nil {
		t.Fatal(err)
	}
	f.Shoots[0].Name = "quote \" and \\ and\ttab, ü"
	var b bytes.Buffer
	if err := Write(&b, f); err != nil {
		t.Fatal(err)
	}
	extra := Shoot{Name: "added", Frames: 10, IntervalS: 2.5}
	b.WriteString("\n")
	if err := WriteShoot(&b, extra); err != nil {
		t.Fatal(err)
	}
	again, err := Parse(b.Bytes())
	if err != nil {
		t.Fatalf("%v in\n%s", err, b.String())
	}
	if len(again.Shoots) != 3 || again.Shoots[2].ShootingS != 25 || again.Shoots[2].Rate != rate24 {
		t.Errorf("added shoot: %+v", again.Shoots)
	}
	again.Shoots = again.Shoots[:2]
	if !reflect.DeepEqual(f, again) {
		t.Errorf("wrote %+v, read %+v", f, again)
	}
}

// Each mistake gets one line that says where it is and what to write.
func TestParseErrors(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "no shoot in it"},
		{"[[shoot]]\nname = \"a\"\nintervall_s = 5\n", `line 3: unknown key "intervall_s": did you mean "interval_s"?`},
		{"[[shoot]]\nname = \"a\"\ninterval = 5\n", `did you mean "interval_s"?`},
		{"[[shoot]]\nname = \"a\"\nframes = 3\nbananas = 5\n", "line 4: unknown key \"bananas\": known here are name"},
		{"[[shot]]\nname = \"a\"\n", `did you mean "shoot"?`},
		{"[defaults]\naspekt = \"16:9\"\n[[shoot]]\nname = \"a\"\nframes = 3\n", `line 2: unknown key "aspekt": did you mean "aspect"?`},
		{"[[shoot]]\nname = \"a\nframes = 3\n", "line 2"},
		{"[[shoot]]\nname = \"a\"\nframes = \"many\"\n", "write a whole number"},
		{"[[shoot]]\nname = \"a\"\nframes = 3\nfrom = 2026-05-01T05:00:00Z\n", "wall clock without a zone"},
		{"[[shoot]]\nframes = 3\n", "shoot 1: no name"},
		{"[[shoot]]\nname = \"a\"\n", "neither frames nor interval_s"},
		{"[[shoot]]\nname = \"a\"\nframes = -3\n", "frames must be"},
		{"[[shoot]]\nname = \"a\"\nframes = 3\nrate = \"fast\"\n", "rate"},
		{"[[shoot]]\nname = \"a\"\nframes = 3\ninterval_s = -1\n", "interval_s"},
		{"[[shoot]]\nname = \"a\"\nframes = 300\ninterval_s = 5\nshooting_time = \"3h\"\n", "leave one of the three out"},
		{"[[shoot]]\nname = \"a b\"\nframes = 3\n[[shoot]]\nname = \"A-B\"\nframes = 4\n", "give each its own name"},
		{"[[shoot]]\nname = \"a\"\nframes = 3\nfrom = 2026-05-02T05:00:00\nto = 2026-05-01T05:00:00\n", "to is not after from"},
	} {
		_, err := Parse([]byte(c.text))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: error %v, want one with %q", c.text, err, c.want)
		} else if strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: the error has more than one line: %v", c.text, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(sample))
	f.Add([]byte("[[shoot]]\nname=\"a\"\nclip_s=1e308\nrate=1e-9\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var p *File
		var err error
		bounded.Run(t, func() { p, err = Parse(data) })
		if err != nil {
			return
		}
		for _, s := range p.Shoots {
			if s.Name == "" || s.Frames < 0 || s.Frames > maxFrames || s.IntervalS < 0 || math.IsNaN(s.ClipS) {
				t.Errorf("read %+v", s)
			}
		}
	})
}

func sequence(id, folder string, n int, intervalS float64, start time.Time) ingest.Sequence {
	s := ingest.Sequence{ID: id, Timing: timing.Result{Judged: intervalS > 0, IntervalS: intervalS}}
	for k := range n {
		fr := ingest.Frame{Name: fmt.Sprintf("%s/IMG_%04d.JPG", folder, k+1)}
		if !start.IsZero() {
			fr.Facts = meta.Facts{Taken: start.Add(time.Duration(float64(k) * intervalS * 1e9))}
		}
		s.Frames = append(s.Frames, fr)
	}
	return s
}

func TestMatch(t *testing.T) {
	// A zone of its own must not matter: the plan is in the camera's clock.
	zone := time.FixedZone("", 9*3600)
	dawn := time.Date(2026, 5, 1, 5, 30, 0, 0, zone)
	seqs := []ingest.Sequence{
		sequence("a", "DCIM/100MEDIA", 296, 5.02, dawn),
		sequence("b", "DCIM/101MEDIA", 240, 2, dawn.Add(4*time.Hour)),
		sequence("c", "night-sky", 100, 30, dawn.Add(16*time.Hour)),
		sequence("d", "DCIM/102MEDIA", 50, 1, dawn.Add(17*time.Hour)),
		sequence("e", "plain", 80, 0, time.Time{}),
	}
	at := func(h int) time.Time { return time.Date(2026, 5, 1, h, 0, 0, 0, time.UTC) }
	f := &File{Shoots: []Shoot{
		{Name: "market", Frames: 250, IntervalS: 2},                               // by fit: b
		{Name: "harbour dawn", Frames: 300, IntervalS: 5, From: at(5), To: at(6)}, // by window: a
		{Name: "Night Sky", Frames: 400},                                          // by name: c
		{Name: "square", Folder: "101media", Frames: 50, IntervalS: 1},            // folder b is better evidence than fit
		{Name: "cranes", Frames: 90, IntervalS: 9},                                // e, of unknown interval, fits
		{Name: "never", Frames: 9000, IntervalS: 1},
	}}
	m := Match(f, seqs)
	want := []int{1, 3, 2, -1, 4}
	if !reflect.DeepEqual(m.Shoot, want) {
		t.Errorf("matched %v by %v, want %v", m.Shoot, m.How, want)
	}
	if how := []How{ByWindow, ByFolder, ByName, "", ByFit}; !reflect.DeepEqual(m.How, how) {
		t.Errorf("evidence %v, want %v", m.How, how)
	}
	if !reflect.DeepEqual(m.NotFound, []int{0, 5}) {
		t.Errorf("not found %v", m.NotFound)
	}
	// A window or a folder that does not hold forbids the match.
	f.Shoots = []Shoot{
		{Name: "x", Frames: 296, IntervalS: 5, From: at(7), To: at(8)},
		{Name: "y", Frames: 240, IntervalS: 2, Folder: "elsewhere"},
	}
	if m := Match(f, seqs); len(m.NotFound) != 2 {
		t.Errorf("matched against window or folder: %+v", m)
	}
	// Two alike shoots go to two alike sequences in their order.
	twin := []ingest.Sequence{sequence("p", "p", 100, 5, dawn), sequence("q", "q", 100, 5, dawn.Add(time.Hour))}
	f.Shoots = []Shoot{{Name: "first", Frames: 100, IntervalS: 5}, {Name: "second", Frames: 100, IntervalS: 5}}
	if m := Match(f, twin); !reflect.DeepEqual(m.Shoot, []int{0, 1}) {
		t.Errorf("alike shoots: %v", m.Shoot)
	}
	if m := Match(nil, seqs); m.Shoot[0] != -1 || m.NotFound != nil {
		t.Errorf("no plan: %+v", m)
	}
}
