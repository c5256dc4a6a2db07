package deflicker_test

import (
	"fmt"
	"log"

	"stillspan/deflicker"
)

// A level light with one frame a third of a stop too bright.
func ExampleSolve() {
	light := make([]float64, 40)
	light[20] = 1.0 / 3
	curve := deflicker.Curve{ExposureEV: light, SpreadEV: make([]float64, len(light))}
	r, err := deflicker.Solve(curve, nil, deflicker.DefaultOptions())
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("frame 20 is corrected by %.2f EV, frame 10 by %.2f EV\n", r.CorrectionEV[20], r.CorrectionEV[10])
	// Output:
	// frame 20 is corrected by -0.33 EV, frame 10 by 0.00 EV
}
