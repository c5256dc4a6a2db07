package timing

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// shoot is a sequence with known truth: due at start + interval*slot, floored
// to the tick.
type shoot struct {
	interval, tick, jitter float64
	frames                 int
	missing                map[int]Cause // by slot
	late                   map[int]float64
}

func (s shoot) shots(rng *rand.Rand) []Shot {
	start := 40000 + rng.Float64()
	var shots []Shot
	number := 100
	for slot := range s.frames {
		cause, gone := s.missing[slot]
		if !gone || cause == FileLost {
			number++
		}
		if gone {
			continue
		}
		t := start + s.interval*float64(slot) + s.late[slot] + s.jitter*rng.NormFloat64()
		shots = append(shots, Shot{T: math.Floor(t/s.tick) * s.tick, Number: number})
	}
	return shots
}

func clean(t *testing.T, what string, r Result) {
	t.Helper()
	if !r.Judged || r.FreeRunning || len(r.Gaps)+len(r.Irregular)+len(r.Delays)+len(r.Changes) > 0 {
		r.Slot = nil
		t.Errorf("%s: not found steady: %+v", what, r)
	}
}

// Steady intervals through a one-second clock, among them the ones whose steps
// look anything but steady (2.11 s: 2,2,2,2,2,2,2,2,3; 0.5 s: pairs of equal
// stamps). 300 shots at 5 s and 36 s are common practice, no published source.
func TestSteadyThroughWholeSeconds(t *testing.T) {
	var seeds, outside int
	for _, p := range []float64{0.5, 0.7, 1, 1.5, 2, 2.11, 3, 5, 5.0003, 5.02, 7.3, 36, 36.02, 600} {
		for seed := range uint64(40) {
			rng := rand.New(rand.NewPCG(seed, 1))
			s := shoot{interval: p, tick: 1, jitter: 0.02 * float64(seed%2), frames: 300}
			r := Fit(s.shots(rng), DefaultOptions())
			clean(t, fmt.Sprintf("%g s, seed %d", p, seed), r)
			seeds++
			if !(math.Abs(r.IntervalS-p) <= 3*r.UncertaintyS) {
				outside++
				t.Logf("%g s, seed %d: got %.6f +- %.6f", p, seed, r.IntervalS, r.UncertaintyS)
			}
			if !(r.UncertaintyS < 0.02) {
				t.Errorf("%g s: uncertainty %.4f s is not far below a second", p, r.UncertaintyS)
			}
		}
	}
	if outside*100 > seeds {
		t.Errorf("truth lies outside 3 standard deviations in %d of %d", outside, seeds)
	}
}

// Finer clocks show the scatter of the shutter; it is no fault of the cadence
// and comes out in the figure for it.
func TestJitterThroughFineClocks(t *testing.T) {
	outside, seeds := 0, 0
	for _, tick := range []float64{0.1, 0.01, 0.001} {
		for _, p := range []float64{0.5, 1.5, 2.11, 5.02, 36} {
			for _, jitter := range []float64{0.005, 0.02, 0.06} {
				if jitter > 0.05*p {
					continue // stands out as late and early frames
				}
				for seed := range uint64(12) {
					s := shoot{interval: p, tick: tick, jitter: jitter, frames: 300}
					r := Fit(s.shots(rand.New(rand.NewPCG(seed, 3))), DefaultOptions())
					what := fmt.Sprintf("%g s, scatter %g s, tick %g s, seed %d", p, jitter, tick, seed)
					clean(t, what, r)
					if r.TickS != tick && p != 36 { // at 36 s all stamps may end alike
						t.Errorf("%s: tick %g s", what, r.TickS)
					}
					if jitter > tick/4 && math.Abs(r.JitterRMSS-jitter) > 0.15*jitter+tick/20 {
						t.Errorf("%s: scatter %.4f s", what, r.JitterRMSS)
					}
					seeds++
					if !(math.Abs(r.IntervalS-p) <= 3*r.UncertaintyS) {
						outside++
						t.Logf("%s: got %.6f +- %.6f", what, r.IntervalS, r.UncertaintyS)
					}
				}
			}
		}
	}
	if outside*100 > seeds {
		t.Errorf("truth lies outside 3 standard deviations in %d of %d", outside, seeds)
	}
}

// 5.02 s where 5 s were planned: 14.4 s an hour, seen in whole seconds.
func TestDriftAgainstPlan(t *testing.T) {
	s := shoot{interval: 5.02, tick: 1, frames: 720}
	r := Fit(s.shots(rand.New(rand.NewPCG(1, 4))), DefaultOptions())
	clean(t, "5.02 s", r)
	if perHour, ppm := Drift(r.IntervalS, 5); math.Abs(perHour-14.4) > 0.6 || math.Abs(ppm-4000) > 170 {
		t.Errorf("drift %.2f s/h, %.0f ppm; want 14.4 s/h, 4000 ppm", perHour, ppm)
	}
}

// Random sequences with missing, lost and late frames: all found, none invented.
func TestFaultsFoundExactly(t *testing.T) {
	for seed := range uint64(200) {
		rng := rand.New(rand.NewPCG(seed, 2))
		s := shoot{
			interval: []float64{2.5, 3, 5, 6.37, 12, 36}[rng.IntN(6)],
			tick:     []float64{1, 0.1, 0.01}[rng.IntN(3)],
			frames:   100 + rng.IntN(300),
			missing:  map[int]Cause{}, late: map[int]float64{},
		}
		s.jitter = 0.01 * rng.Float64()
		slots := rng.Perm(s.frames/10 - 2)
		for k := range 9 { // a fault every ten slots at the most
			slot := 10*slots[k%len(slots)] + 10
			switch {
			case k < 3:
				s.missing[slot] = NotFired
			case k < 5:
				s.missing[slot] = FileLost
			case k < 7 && len(slots) >= 9:
				s.late[slot] = max(0.35*s.interval, 2.6*s.tick) * 1.05
				if s.late[slot] > 0.9*s.interval {
					delete(s.late, slot)
				}
			}
		}
		r := Fit(s.shots(rng), DefaultOptions())
		got := map[int]Cause{}
		for _, g := range r.Gaps {
			for k := range g.Count {
				got[r.Slot[g.After]+1+k] = g.Cause
			}
		}
		what := fmt.Sprintf("seed %d, %g s, tick %g", seed, s.interval, s.tick)
		if !r.Judged || fmt.Sprint(got) != fmt.Sprint(s.missing) {
			t.Errorf("%s: missing %v, want %v (interval %g, free %v)", what, got, s.missing, r.IntervalS, r.FreeRunning)
		}
		late := []int{}
		for _, i := range r.Irregular {
			if i.Kind == Late {
				late = append(late, r.Slot[i.Index])
			} else {
				t.Errorf("%s: %s frame invented", what, i.Kind)
			}
		}
		want := []int{}
		for slot := range s.late {
			want = append(want, slot)
		}
		slices.Sort(want)
		if !slices.Equal(late, want) || len(r.Delays)+len(r.Changes) > 0 {
			t.Errorf("%s: late %v, want %v; delays %v changes %v", what, late, want, r.Delays, r.Changes)
		}
	}
}

func steps(d ...float64) []Shot {
	shots := []Shot{{T: 1000, Number: 1}}
	for i, x := range d {
		shots = append(shots, Shot{T: shots[i].T + x, Number: i + 2})
	}
	return shots
}

// Steps of three published sets of photographs, read with exiftool: an aerial
// camera run by a script, a drone, and a set fired by hand.
func TestPublishedSteps(t *testing.T) {
	drone := Fit(steps(7, 7, 7, 7, 7, 9, 7, 7, 7, 7, 7, 9, 7, 7, 8, 7, 7), DefaultOptions())
	if !drone.Judged || math.Abs(drone.IntervalS-7.05) > 0.1 || len(drone.Delays) != 2 || len(drone.Gaps) != 0 {
		t.Errorf("drone: %+v", drone)
	}
	hand := Fit(steps(2.3, 2.3, 7.2, 4.4, 8, 5.7, 4.4, 7.2, 7.5, 7.8, 9.2, 4.2, 5.3, 4.1, 8), DefaultOptions())
	if hand.Judged || hand.Why == "" {
		t.Errorf("fired by hand: %+v", hand)
	}
	aerial := Fit(steps(6, 7, 5, 5, 5, 5, 4, 5, 8, 13, 8, 4, 5, 12, 4, 4, 6, 4, 4, 4, 5, 5, 4, 15, 7, 4, 17, 5, 4, 5, 4, 5, 4, 5, 5, 5, 18, 4, 4, 15,
		5, 5, 4, 5, 5, 4, 6, 4, 19, 4, 4, 5, 11, 4, 5, 4, 4, 4, 4, 4, 16, 4, 14, 4, 4, 8, 4, 4, 4, 30, 4, 6, 4, 5, 5, 73), DefaultOptions())
	if !aerial.Judged || !aerial.FreeRunning || math.Abs(aerial.IntervalS-4.6) > 0.2 {
		t.Errorf("aerial: %+v", aerial)
	}
}

func TestChangesDelaysDoubles(t *testing.T) {
	var d []float64
	for i := range 120 {
		d = append(d, map[bool]float64{true: 5, false: 8}[i < 50])
	}
	if r := Fit(steps(d...), DefaultOptions()); len(r.Changes) != 1 || r.Changes[0].Index != 50 || math.Abs(r.IntervalS-8) > 0.05 {
		t.Errorf("change of interval: %+v", r.Changes)
	}
	d = d[:0]
	for range 100 {
		d = append(d, 5)
	}
	d[40] = 7
	if r := Fit(steps(d...), DefaultOptions()); len(r.Delays) != 1 || r.Delays[0].Index != 41 || len(r.Irregular) != 0 || math.Abs(r.IntervalS-5) > 0.01 {
		t.Errorf("delay: %+v %+v", r.Delays, r.Irregular)
	}
	d[40], d[41] = 0.3, 4.7
	if r := Fit(steps(d...), DefaultOptions()); len(r.Irregular) != 1 || len(r.Gaps) != 0 {
		t.Errorf("early frame: %+v %+v", r.Irregular, r.Gaps)
	}
	d[40], d[41] = 0, 5
	if r := Fit(steps(d...), DefaultOptions()); len(r.Irregular) != 1 || r.Irregular[0].Kind != Double || len(r.Gaps) != 0 {
		t.Errorf("double: %+v %+v", r.Irregular, r.Gaps)
	}
}

func TestMixedGapIsSplit(t *testing.T) {
	s := steps(5, 5, 5, 5, 25, 5, 5, 5, 5)
	for i := 5; i < len(s); i++ {
		s[i].Number += 2
	}
	r := Fit(s, DefaultOptions())
	want := []Gap{{After: 4, Count: 2, GapS: 25, Cause: NotFired}, {After: 4, Count: 2, GapS: 25, Cause: FileLost}}
	if !slices.Equal(r.Gaps, want) {
		t.Errorf("gaps %+v, want %+v", r.Gaps, want)
	}
}

// A cause is only given where numbers tell: without them, or where the counter
// starts again in the gap, it is unknown.
func TestCauseNeedsNumbers(t *testing.T) {
	for what, number := range map[string]func(i int) int{
		"no numbers":         func(int) int { return -1 },
		"none before it":     func(i int) int { return map[bool]int{true: -1, false: i}[i < 5] },
		"counter starts new": func(i int) int { return map[bool]int{true: 700 + i, false: i - 4}[i < 5] },
		"same number":        func(i int) int { return min(i, 4) },
	} {
		s := steps(5, 5, 5, 5, 15, 5, 5, 5, 5)
		for i := range s {
			s[i].Number = number(i)
		}
		if r := Fit(s, DefaultOptions()); !slices.Equal(r.Gaps, []Gap{{After: 4, Count: 2, GapS: 15, Cause: Unknown}}) {
			t.Errorf("%s: %+v", what, r.Gaps)
		}
	}
}

func TestTooFewAndNonsense(t *testing.T) {
	nan := math.NaN()
	for _, shots := range [][]Shot{nil, {{T: 1}}, steps(5, 5), steps(0, 0, 0, 0, 0), {{T: nan}, {T: nan}, {T: nan}, {T: nan}, {T: math.Inf(1)}}, steps(-5, -5, -5, -5)} {
		r := Fit(shots, DefaultOptions())
		if r.Judged || r.Why == "" || len(r.Slot) != len(shots) {
			t.Errorf("%v: %+v", shots, r)
		}
	}
}

func TestDrift(t *testing.T) {
	s, ppm := Drift(5.005, 5)
	if math.Abs(s-3.6) > 1e-9 || math.Abs(ppm-1000) > 1e-6 {
		t.Errorf("got %g s/h, %g ppm", s, ppm)
	}
	if s, _ := Drift(5, 0); !math.IsNaN(s) {
		t.Errorf("drift against no plan is %g", s)
	}
}
