package account

import (
	"math"
	"testing"
)

// series draws n frames numbered on from first, at t0 and every p seconds on, with
// one look; a frame for which skip is true did not fire.
func series(first, n int, t0, p, grain float64, look int, skip func(k int) bool) []File {
	var out []File
	number := first
	for k := range n {
		if skip != nil && skip(k) {
			continue
		}
		t := math.Floor((t0+p*float64(k))/grain) * grain
		out = append(out, File{Number: number, Wrap: 9999, T: t, Grain: grain, LightEV: math.NaN(), Look: look})
		number++
	}
	return out
}

// faster moves files of one a second to intervals of 2 to 10 s.
func faster(list []File) []File {
	at, step := list[0].T, 2.0
	for i := range list {
		list[i].T = math.Floor(at*100) / 100
		at, step = at+step, step+8/float64(len(list))
	}
	return list
}

// Days that were once told wrong, with the frames of each shoot, the frames missing
// and those that belong to none.
func TestDays(t *testing.T) {
	const start = 1.79e9
	fourth := func(k int) bool { return k == 4 }
	day := func(parts ...[]File) (all []File) {
		for _, p := range parts {
			all = append(all, p...)
		}
		return all
	}
	unnumbered := func(list []File) []File {
		for i := range list {
			list[i].Number, list[i].Wrap = -1, 0
		}
		return list
	}
	for _, c := range []struct {
		name           string
		files          []File
		frames         []int
		missing, loose int
	}{
		{"seven frames at 2 s, whole seconds, with a hole", series(1, 8, start, 2, 1, 0, fourth), []int{7}, 1, 0},
		{"every sixth never fired", series(1, 300, start, 24, 1, 0, func(k int) bool { return k%6 == 5 }), []int{250}, 49, 0},
		{"test stills between two shoots", day(series(1, 80, start, 5, 0.01, 1, nil),
			series(81, 1, start+3000, 5, 0.01, 2, nil), series(82, 1, start+3013.3, 5, 0.01, 3, nil), series(83, 90, start+3081.7, 30, 0.01, 4, nil)), []int{80, 90}, 0, 2},
		{"begun anew with other settings", day(series(1, 80, start, 30, 0.01, 1, nil), series(81, 120, start+30*79+341, 30, 0.01, 2, nil)), []int{80, 120}, 0, 0},
		{"set back by two hours, no numbers", unnumbered(day(series(1, 86, start+6856, 4, 1, 1, nil), series(1, 38, start, 4, 1, 1, nil))), []int{124}, 0, 0},
		{"numbers leap where the clock was set back by as much", day(series(100, 100, start, 12, 1, 1, nil), series(499, 60, start+99*12, 12, 1, 1, nil)), []int{160}, 299, 0},
		{"a test still before a shoot every hour", day(series(1, 1, start-500, 1, 1, 1, nil), series(2, 40, start, 3600, 1, 2, nil)), []int{40}, 0, 1},
		{"a ramp after test stills", day(series(1, 1, start-800, 1, 0.01, 1, nil), series(2, 1, start-350, 1, 0.01, 2, nil), faster(series(3, 44, start, 1, 0.01, 3, nil))), []int{44}, 0, 2},
	} {
		for i := range c.files {
			if c.files[i].Look > 0 {
				c.files[i].LightEV = float64(3 * c.files[i].Look)
			}
		}
		a := Solve(c.files, Options{MinFrames: 5, LateFraction: 0.2})
		missing := 0
		var frames []int
		for _, s := range a.Shoots {
			frames = append(frames, len(s.Files))
			for _, g := range s.Gaps {
				missing += g.Count
			}
		}
		if len(frames) != len(c.frames) || missing != c.missing || len(a.Loose) != c.loose {
			t.Errorf("%s: shoots of %v, %d missing, %d loose; want %v, %d, %d", c.name, frames, missing, len(a.Loose), c.frames, c.missing, c.loose)
			continue
		}
		for k := range frames {
			if frames[k] != c.frames[k] {
				t.Errorf("%s: shoots of %v, want %v", c.name, frames, c.frames)
			}
		}
	}
}

// A body's shoots need not all be of brackets, nor of brackets of one length.
func TestBracketsByStretch(t *testing.T) {
	var files []File
	number, at := 0, 1.79e9
	shoot := func(units, size int, every float64) {
		for range units {
			for p := range size {
				number++
				files = append(files, File{Number: number, Wrap: 9999, T: at + 0.6*float64(p), Grain: 0.01, LightEV: float64(p), Look: p})
			}
			at += every
		}
		at += 3600
	}
	shoot(30, 5, 10)
	shoot(40, 3, 45)
	shoot(95, 1, 1.5)
	a := Solve(files, Options{MinFrames: 5, LateFraction: 0.2})
	want := [][2]int{{30, 5}, {40, 3}, {95, 0}}
	if len(a.Shoots) != len(want) {
		t.Fatalf("%d shoots, want %d", len(a.Shoots), len(want))
	}
	for k, s := range a.Shoots {
		if len(s.Files) != want[k][0] || s.Bracket != want[k][1] || len(s.Gaps) > 0 {
			t.Errorf("shoot %d: %d frames of brackets of %d, gaps %v; want %v", k, len(s.Files), s.Bracket, s.Gaps, want[k])
		}
	}
}
