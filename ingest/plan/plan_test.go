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
	"slices"
	"strings"
	"testing"
	"time"

	"stillspan/ingest"
	"stillspan/ingest/account"
	"stillspan/ingest/meta"
	"stillspan/internal/bounded"
	"stillspan/internal/playback"
	"stillspan/internal/settings"
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
	if v := dawn.Settings; settings.Aspect.Of(v) != "16:9" || settings.Gaps.Of(v) != "blend" || settings.Deflicker.Stated(v) {
		t.Errorf("harbour dawn renders with %+v", v)
	}
	if v := square.Settings; settings.Aspect.Of(v) != "source" || settings.Deflicker.Of(v) {
		t.Errorf("square renders with %+v", v)
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
		{"[[shoot]]\nname = \"a\"\nframes = 3\nbananas = 5\n", "line 4: unknown key \"bananas\": known here are frames"},
		{"[[shot]]\nname = \"a\"\n", `did you mean "shoot"?`},
		{"[defaults]\naspekt = \"16:9\"\n[[shoot]]\nname = \"a\"\nframes = 3\n", `line 2: unknown key "aspekt": did you mean "aspect"?`},
		{"[[shoot]]\nname = \"a\nframes = 3\n", "line 2"},
		{"[[shoot]]\nname = \"a\"\nframes = \"many\"\n", `frames "many": want a whole number`},
		{"[[shoot]]\nname = \"a\"\nframes = 3\nfrom = 2026-05-01T05:00:00Z\n", "wall clock without a zone"},
		{"[[shoot]]\nframes = 3\n", "shoot 1: no name"},
		{"[[shoot]]\nname = \"a\"\nframes = 3\nsize = \"big\"\n", `shoot 1 ("a"): size "big": want width x height`},
		{"[defaults]\nzone = \"1,2\"\n[[shoot]]\nname = \"a\"\nframes = 3\n", `defaults: zone "1,2": want x,y,width,height`},
		{"[[shoot]]\nname = \"a\"\n", "neither frames nor interval_s"},
		{"[[shoot]]\nname = \"a\"\nframes = -3\n", `frames "-3": want a whole number`},
		{"[[shoot]]\nname = \"a\"\nframes = 3\nrate = \"fast\"\n", `rate "fast": want frames per second`},
		{"[[shoot]]\nname = \"a\"\nframes = 3\ninterval_s = -1\n", `shoot 1 ("a"): interval_s "-1": want seconds`},
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
	f.Add([]byte("[[shoot]]\nname=\"a\"\nclip_s=1e008\nrate=1"))
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
	s := ingest.Sequence{ID: id, Timing: account.Shoot{Judged: intervalS > 0, IntervalS: intervalS}}
	for k := range n {
		fr := ingest.Frame{Name: fmt.Sprintf("%s/IMG_%04d.JPG", folder, k+1)}
		if !start.IsZero() {
			fr.Facts = meta.Facts{Taken: start.Add(time.Duration(float64(k) * intervalS * 1e9))}
		}
		s.Frames = append(s.Frames, fr)
	}
	return s
}

// day is a plan's clock, in a zone of its own to show that zones do not matter:
// the plan is in the camera's clock.
func day(h, m int) time.Time { return time.Date(2026, 5, 1, h, m, 0, 0, time.UTC) }

func camera(h, m int) time.Time {
	return time.Date(2026, 5, 1, h, m, 0, 0, time.FixedZone("", 9*3600))
}

// guessed has a sequence be stamped by names to the minute, without a year.
func guessed(s ingest.Sequence) ingest.Sequence {
	s.Timing.TickS = 60
	for i := range s.Frames {
		s.Frames[i].YearGuessed = true
	}
	return s
}

func TestMatch(t *testing.T) {
	for _, c := range []struct {
		name   string
		shoots []Shoot
		seqs   []ingest.Sequence
		want   []int
		how    []How
	}{
		{"each by its strongest evidence",
			[]Shoot{
				{Name: "market", Frames: 250, IntervalS: 2},
				{Name: "harbour dawn", Frames: 300, IntervalS: 5, From: day(5, 0), To: day(6, 0)},
				{Name: "Night Sky", Frames: 120},
				{Name: "square", Folder: "101media", Frames: 240, IntervalS: 2},
				{Name: "cranes", Frames: 90, IntervalS: 9},
				{Name: "never", Frames: 9000, IntervalS: 1},
			},
			[]ingest.Sequence{
				sequence("a", "DCIM/100MEDIA", 296, 5.02, camera(5, 30)),
				sequence("b", "DCIM/101MEDIA", 240, 2, camera(9, 30)),
				sequence("c", "night-sky", 100, 30, camera(21, 30)),
				sequence("d", "DCIM/102MEDIA", 50, 1, camera(22, 30)),
				sequence("e", "plain", 80, 0, time.Time{}),
			},
			[]int{1, 3, 2, -1, 4}, []How{ByWindow, ByFolder, ByName, "", ByFit},
		},
		{"a window without an end closes after the shooting time",
			[]Shoot{{Name: "x", Frames: 300, IntervalS: 5, ShootingS: 1500, From: day(5, 0)}},
			[]ingest.Sequence{sequence("a", "d", 300, 5, camera(5, 26)), sequence("b", "d", 300, 5, camera(5, 24))},
			[]int{-1, 0}, []How{"", ByWindow},
		},
		{"shoots alike but for their windows",
			[]Shoot{
				{Name: "noon", Frames: 300, IntervalS: 5, ShootingS: 1500, From: day(12, 0)},
				{Name: "dawn", Frames: 300, IntervalS: 5, ShootingS: 1500, From: day(5, 0)},
			},
			[]ingest.Sequence{sequence("a", "d", 290, 5, camera(5, 2)), sequence("b", "d", 300, 5, camera(12, 1))},
			[]int{1, 0}, []How{ByWindow, ByWindow},
		},
		{"windows that overlap: the nearer start",
			[]Shoot{
				{Name: "first", Frames: 300, IntervalS: 5, ShootingS: 1500, From: day(5, 0)},
				{Name: "second", Frames: 300, IntervalS: 5, ShootingS: 1500, From: day(5, 15)},
			},
			[]ingest.Sequence{sequence("a", "one", 300, 5, camera(5, 1)), sequence("b", "two", 300, 5, camera(5, 16))},
			[]int{0, 1}, []How{ByWindow, ByWindow},
		},
		{"shoots alike but for their folders",
			[]Shoot{{Name: "left", Frames: 100, IntervalS: 5, Folder: "B"}, {Name: "right", Frames: 100, IntervalS: 5, Folder: "A"}},
			[]ingest.Sequence{sequence("a", "card/a", 100, 5, camera(5, 0)), sequence("b", "card/b", 100, 5, camera(5, 0))},
			[]int{1, 0}, []How{ByFolder, ByFolder},
		},
		{"shoots wholly alike go by time, whichever fits better",
			[]Shoot{{Name: "first", Frames: 100, IntervalS: 5}, {Name: "second", Frames: 100, IntervalS: 5}},
			[]ingest.Sequence{sequence("a", "d", 97, 5, camera(5, 0)), sequence("b", "d", 100, 5, camera(6, 0))},
			[]int{0, 1}, []How{ByFit, ByFit},
		},
		{"a folder or a window that does not hold forbids it",
			[]Shoot{
				{Name: "x", Frames: 296, IntervalS: 5, From: day(7, 0), To: day(8, 0)},
				{Name: "y", Frames: 240, IntervalS: 2, Folder: "elsewhere"},
			},
			[]ingest.Sequence{sequence("a", "d", 296, 5, camera(5, 30)), sequence("b", "d", 240, 2, camera(9, 30))},
			[]int{-1, -1}, []How{"", ""},
		},
		{"another interval and another count in the folder, the window or under the name",
			[]Shoot{
				{Name: "x", Frames: 300, IntervalS: 5, Folder: "one"},
				{Name: "two", Frames: 300, IntervalS: 5},
				{Name: "z", Frames: 300, IntervalS: 5, From: day(7, 0), To: day(8, 0)},
			},
			[]ingest.Sequence{
				sequence("a", "one", 40, 30, camera(5, 0)), sequence("b", "two", 40, 30, camera(6, 0)), sequence("c", "three", 40, 30, camera(7, 1)),
			},
			[]int{-1, -1, -1}, []How{"", "", ""},
		},
		{"one of count and interval is enough in the folder",
			[]Shoot{{Name: "x", Frames: 300, IntervalS: 5, Folder: "one"}, {Name: "two", Frames: 300, IntervalS: 5}},
			[]ingest.Sequence{sequence("a", "one", 40, 5.5, camera(5, 0)), sequence("b", "two", 280, 7, camera(6, 0))},
			[]int{0, 1}, []How{ByFolder, ByName},
		},
		{"the only one left, by count or by interval",
			[]Shoot{{Name: "x", Frames: 300, IntervalS: 5}},
			[]ingest.Sequence{sequence("a", "one", 300, 7.5, camera(5, 0))},
			[]int{0}, []How{ByCount},
		},
		{"stopped early, and the test run of the same interval is not it",
			[]Shoot{{Name: "x", Frames: 300, IntervalS: 5}},
			[]ingest.Sequence{sequence("t", "one", 8, 5, camera(4, 0)), sequence("a", "one", 101, 5, camera(5, 0))},
			[]int{-1, 0}, []How{"", ByInterval},
		},
		{"two could be it by interval alone: neither is",
			[]Shoot{{Name: "x", Frames: 300, IntervalS: 5}},
			[]ingest.Sequence{sequence("a", "one", 100, 5, camera(4, 0)), sequence("b", "one", 90, 5, camera(5, 0))},
			[]int{-1, -1}, []How{"", ""},
		},
		{"a clock of whole minutes, and a year that the names leave out",
			[]Shoot{{Name: "x", Frames: 30, IntervalS: 600, From: time.Date(2025, 5, 1, 5, 0, 20, 0, time.UTC), To: time.Date(2025, 5, 1, 5, 4, 0, 0, time.UTC)}},
			[]ingest.Sequence{guessed(sequence("a", "one", 30, 600, camera(5, 0)))},
			[]int{0}, []How{ByWindow},
		},
		{"no plan", nil, []ingest.Sequence{sequence("a", "one", 100, 5, camera(4, 0))}, []int{-1}, []How{""}},
	} {
		var f *File
		if c.shoots != nil {
			f = &File{Shoots: c.shoots}
		}
		m := Match(f, c.seqs)
		if !reflect.DeepEqual(m.Shoot, c.want) || !reflect.DeepEqual(m.How, c.how) {
			t.Errorf("%s: matched %v by %q, want %v by %q", c.name, m.Shoot, m.How, c.want, c.how)
		}
		for i, j := range m.Shoot {
			if (m.Reason[i] == "") != (j < 0) || slices.Contains(m.NotFound, j) {
				t.Errorf("%s: sequence %d is shoot %d because %q; not found %v", c.name, i, j, m.Reason[i], m.NotFound)
			}
		}
	}
}

// What points to a shoot and cannot be it is told, with what speaks against it.
func TestRefused(t *testing.T) {
	f := &File{Shoots: []Shoot{
		{Name: "x", Frames: 300, IntervalS: 5, Folder: "one"},
		{Name: "y", Frames: 240, IntervalS: 2, ShootingS: 480, From: day(23, 55)},
	}}
	m := Match(f, []ingest.Sequence{sequence("a", "one", 40, 30, camera(5, 0)), sequence("b", "two", 240, 2, camera(7, 0))})
	want := []Refusal{
		{0, 0, "it lies in the planned folder", "its interval is 30 s, planned 5 s, and it has 40 frames, planned 300"},
		{1, 1, "count and interval are near the plan", "it starts at 2026-05-01 07:00:00, not between 2026-05-01 23:55:00 and 2026-05-02 00:03:00"},
	}
	slices.SortFunc(m.Refused, func(a, b Refusal) int { return a.Seq - b.Seq })
	if !reflect.DeepEqual(m.Refused, want) {
		t.Errorf("refused %+v, want %+v", m.Refused, want)
	}
	if one := m.Only([]int{1}); !reflect.DeepEqual(one.Refused, []Refusal{{0, 1, want[1].Looks, want[1].Why}}) || len(one.Shoot) != 1 || len(one.NotFound) != 2 {
		t.Errorf("only the second: %+v", one)
	}
}

func TestFind(t *testing.T) {
	f := &File{Shoots: []Shoot{{Name: "Harbour Dawn", Frames: 100, IntervalS: 5}}}
	seqs := []ingest.Sequence{
		sequence("2026-05-01-0500", "card/DCIM/100MEDIA", 100, 5, camera(5, 0)),
		sequence("2026-05-01-0700", "card/DCIM/101MEDIA", 10, 2, camera(7, 0)),
		sequence("2026-05-01-0900", "card/DCIM/101MEDIA", 20, 9, camera(9, 0)),
	}
	m := Match(f, seqs)
	for word, want := range map[string][]int{
		"2026-05-01-0700": {1}, "harbour-dawn": {0}, "101media": {1, 2}, "DCIM/101MEDIA/": {1, 2}, "DCIM": {0, 1, 2}, "nothing": nil, "101": nil,
	} {
		if got := Find(word, f, m, seqs); !reflect.DeepEqual(got, want) {
			t.Errorf("%q names %v, want %v", word, got, want)
		}
	}
}

// A rig moves while the camera writes: exposure, then the longer of the two.
func TestRigAndSupplies(t *testing.T) {
	start, offset := time.Date(2024, 6, 20, 20, 0, 0, 0, time.UTC), time.Hour
	a, err := Solve(Ask{
		Frames: 720, IntervalS: 10, ExposureS: 2, WriteS: 1, MoveS: 3, SettleS: 1.5, Start: start, UTCOffset: &offset, Place: &Place{51.4769, 0},
		BytesPerFrame: 50e6, CardBytes: 32e9, CardsAtHand: 2, ShotsPerBattery: 400, BatteriesAtHand: 2,
	})
	if err != nil {
		t.Fatal(err)
	}
	if a.BusyS != 6.5 || a.DutyShare != 0.65 || !a.End.Equal(start.Add(2*time.Hour)) {
		t.Errorf("busy %g s, %g of the interval, until %s", a.BusyS, a.DutyShare, a.End)
	}
	// 720 frames of 50 MB and a tenth more are 39.6 GB; 300 of each 400 shots count.
	if a.Cards != 2 || a.FramesPerCard != 581 || a.Batteries != 3 || a.FramesPerBattery != 300 {
		t.Errorf("%d cards of %d frames, %d batteries of %d", a.Cards, a.FramesPerCard, a.Batteries, a.FramesPerBattery)
	}
	if len(a.Warnings) != 1 || !strings.Contains(a.Warnings[0], "3 batteries and 2 are at hand") {
		t.Errorf("warnings %q", a.Warnings)
	}
	// Sunset at 20:20:43 UTC, by a clock an hour ahead (python3-ephem 4.1.4).
	found := false
	for _, e := range a.Sun {
		found = found || e.Name == "sunset" && e.At.Sub(time.Date(2024, 6, 20, 21, 20, 43, 0, time.UTC)).Abs() < 10*time.Second
	}
	if !found || !(a.NetEV < -4) {
		t.Errorf("sun %v, light changes by %.1f stops", a.Sun, a.NetEV)
	}
	a, err = Solve(Ask{Frames: 10, IntervalS: 5, ExposureS: 2, MoveS: 2, SettleS: 1})
	if err != nil || len(a.Warnings) != 1 || !strings.Contains(a.Warnings[0], "the rig will still move") {
		t.Errorf("a rig too slow: %q, %v", a.Warnings, err)
	}
}
