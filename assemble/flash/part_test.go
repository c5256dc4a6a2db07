package flash

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// However a clip is cut, its parts joined are found to flash where the whole
// does. The clips are of random bursts of flashes of random strength.
func TestJoinIsTheWhole(t *testing.T) {
	const w, h, rate = 32, 24, 24
	o := Options{Width: w, Height: h, Rate: rate}
	found := 0
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 1))
		n := 120 + rng.IntN(200)
		whole := New(o)
		var parts []Part
		part := NewPart(o)
		cut := 2*rate + rng.IntN(60)
		burst, hz, level, red := 0, 1, byte(0), false
		for f := range n {
			if burst == 0 && rng.IntN(30) == 0 {
				burst, hz, level, red = 10+rng.IntN(40), 1+rng.IntN(4), byte(100+rng.IntN(156)), rng.IntN(3) == 0
			}
			frame := make([]byte, 3*w*h)
			lit := burst > 0 && f/hz%2 == 0
			for i := range w * h {
				c := rgb{60, 60, 60}
				if lit && i%w < 20 && i/w < 16 {
					if c = grey(level); red {
						c = rgb{255, 0, 0}
					}
				}
				copy(frame[3*i:], c[:])
			}
			burst = max(0, burst-1)
			whole.Add(frame)
			part.Add(frame)
			if part.Frames == cut {
				parts = append(parts, *part.End())
				part, cut = NewPart(o), 2*rate+rng.IntN(60)
			}
		}
		if part.Frames > 0 {
			parts = append(parts, *part.End())
		}
		want := whole.Findings()
		slices.SortStableFunc(want, func(a, b Passage) int { return a.From - b.From })
		found += len(want)
		if got := Join(parts); !slices.EqualFunc(got, want, func(a, b Passage) bool {
			return a.From == b.From && a.To == b.To && a.Kind == b.Kind && a.Start == b.Start && a.Flashes == b.Flashes
		}) {
			t.Errorf("seed %d, %d frames in %d parts:\n%+v\nthe whole\n%+v", seed, n, len(parts), got, want)
		}
	}
	if found < 20 {
		t.Errorf("only %d passages in all the clips", found)
	}
}
