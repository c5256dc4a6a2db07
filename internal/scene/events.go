package scene

import "math/rand/v2"

// car passes along the road with its headlights on.
type car struct {
	first, last int // frames
	x, dx       float64
	power       float64
}

// bolt is a flash of lightning: uneven over the sky, weaker on the land.
type bolt struct {
	frame int
	x     float64 // fraction of the width
	gain  float64 // added to the sky's light near the bolt, as a share of white
}

func newCars(rng *rand.Rand, o Options) []car {
	var cars []car
	for t := 6; t < o.Frames; t += 10 + rng.IntN(14) {
		n := 2 + rng.IntN(4)
		dx := float64(o.Width) / float64(n)
		x := -0.3 * dx * rng.Float64()
		if rng.IntN(2) == 0 {
			x, dx = float64(o.Width)-x, -dx
		}
		cars = append(cars, car{t, t + n, x, dx, 0.5 + rng.Float64()})
	}
	return cars
}

func newBolts(rng *rand.Rand, o Options) []bolt {
	var bolts []bolt
	for t := 12 + rng.IntN(10); t < o.Frames; t += 20 + rng.IntN(30) {
		n := 1 + rng.IntN(2)
		x, gain := 0.1+0.8*rng.Float64(), 0.5+0.8*rng.Float64()
		for i := range n {
			if t+i < o.Frames {
				bolts = append(bolts, bolt{t + i, x, gain / float64(1+i)})
			}
		}
	}
	return bolts
}
