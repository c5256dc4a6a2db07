package account

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Of short shoots of which a run of frames in the midst never fired or was lost, alone,
// beside test stills or beside a long shoot, hardly any may pass without a word, and of
// whole ones between test stills none may be told to miss frames.
func TestShortShoots(t *testing.T) {
	const tries = 500
	silent, invented := 0, 0
	for seed := range uint64(tries) {
		rng := rand.New(rand.NewPCG(seed, 78))
		pick := func(v ...float64) float64 { return v[rng.IntN(len(v))] }
		grain, interval := pick(1, 1, 0.01), pick(2, 3, 4, 5, 8, 10, 15, 20, 30, 60)
		now, number, n := 1.79e9+rng.Float64()*1e4, 100+rng.IntN(5000), 8+rng.IntN(14)
		var files []File
		fire := func(at float64, look int) {
			number++
			files = append(files, File{Number: number, Wrap: 9999, T: math.Floor(at/grain) * grain, Grain: grain, LightEV: math.NaN(), Look: look})
		}
		long := func() {
			for range 40 + rng.IntN(100) {
				fire(now, 5)
				now += 7
			}
		}
		shape := rng.IntN(5)
		switch shape {
		case 1, 2:
			for range 1 + rng.IntN(4) {
				fire(now, rng.IntN(3))
				now += 4 + 36*rng.Float64()
			}
			now += 30 + 170*rng.Float64()
		case 3:
			long()
			now += 300 + 5000*rng.Float64()
		}
		from, gone := 3+rng.IntN(n-6), 0
		if seed%4 > 0 {
			gone = min(1+rng.IntN(max(1, n-from-3)), 12)
		}
		lost := rng.IntN(2) == 0
		for k := range n {
			switch {
			case k < from || k >= from+gone:
				fire(now+float64(k)*interval+rng.Float64()*0.02*interval, 9)
			case lost:
				number++
			}
		}
		if now += float64(n) * interval; shape == 2 || shape == 4 {
			now += 300 + 5000*rng.Float64()
			long()
		}
		a := Solve(files, Options{MinFrames: 5, LateFraction: 0.2, OddRun: 2})
		told := len(a.Doubts)
		for i := range a.Shoots {
			told += len(a.Shoots[i].Gaps) + len(a.Shoots[i].Others)
		}
		switch {
		case gone > 0 && told == 0:
			silent++
			t.Logf("seed %d: %d of %d frames gone after %d at %g s, nothing said", seed, gone, n, from, interval)
		case gone == 0 && told > 0:
			invented++
			t.Logf("seed %d: nothing gone of %d frames at %g s, %d things said", seed, n, interval, told)
		}
	}
	if silent > tries/200 || invented > tries/100 {
		t.Errorf("%d of %d silent, %d invented", silent, tries, invented)
	}
}
