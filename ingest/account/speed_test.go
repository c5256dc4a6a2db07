package account

import (
	"math"
	"testing"
)

// stampsOfMany is a month of frames at 26 s: gaps, late frames, nights none.
func stampsOfMany(n int) []File {
	files := make([]File, 0, n)
	number, t := 0, 1.79e9
	for i := 0; len(files) < n; i++ {
		number++
		t += 26
		if i%997 == 500 {
			number += i % 7
			t += 26 * float64(i%5)
		}
		late := 0.0
		if i%1501 == 70 {
			late = 9
		}
		files = append(files, File{Number: (number-1)%9999 + 1, Folder: 100 + (number-1)/9999, Wrap: 9999, T: math.Floor(t + late), Grain: 1, Class: 0})
	}
	return files
}

// A month of stamps; the bound is a second for a hundred thousand.
func BenchmarkSolve(b *testing.B) {
	files := stampsOfMany(100_000)
	b.ReportAllocs()
	for b.Loop() {
		Solve(files, Options{MinFrames: 5, LateFraction: 0.2})
	}
}
