// Package pictures watches what the stills of one sequence show, beside their
// light: whether the framing jumped or shook, and which frames are blurred,
// covered, black, blown out or of another colour than their neighbours. Numbers
// in, numbers out.
package pictures

import "math"

// Still is one still reduced to what is compared with its neighbours, as the
// picture is stored.
type Still struct {
	// Width is that of the picture which was measured, pixels; a cell of Luma
	// is Pixels of them wide and high.
	Width, Pixels int
	// W and H are the cells of Luma, row-major: 255 times the square root of
	// the mean luma, 0 to 1. The root spreads 8 bits over dark and light alike.
	W, H int
	Luma []uint8
	// CW and CH are the cells of Detail: log2 of the energy of detail between
	// neighbouring pixels, or, of a JPEG that was not decoded in full, what its
	// coded length says of it; NaN where nothing is known.
	CW, CH int
	Detail []float32
	// Coded says that Detail is from coded lengths.
	Coded bool
}

const (
	// lumaSide is about how many cells Luma has along its longer side.
	lumaSide = 240
	// CellSide is how many cells Detail has along its longer side.
	CellSide = 20
)

// LumaPixels is how many of n pixels along a picture's longer side make a cell
// of Luma.
func LumaPixels(n int) int { return max(1, (n+lumaSide/2)/lumaSide) }

// Cells is the count of cells of Detail in a picture of w x h pixels.
func Cells(w, h int) (cw, ch int) {
	if w < 1 || h < 1 {
		return 0, 0
	}
	side := float64(max(w, h)) / CellSide
	return max(1, int(math.Round(float64(w)/side))), max(1, int(math.Round(float64(h)/side)))
}

// Lumas turns sums of luma, each of n samples of 0 to full, into Luma's codes.
func Lumas(out []uint8, sums []int64, n []int32, full float64) {
	for i, s := range sums {
		if n[i] > 0 {
			out[i] = uint8(255*math.Sqrt(min(1, float64(s)/(full*float64(n[i])))) + 0.5)
		}
	}
}

// codedEnergy is how much more log2 of the energy of detail is for each doubling
// of the coded length: from blurring photographs by known amounts.
const codedEnergy = 3.5

// CodedDetail is Detail by the mean length, in bits, to which the AC terms of
// blocks were coded.
func CodedDetail(bits float64) float32 { return float32(codedEnergy * math.Log2(1+bits)) }

// EnergyDetail is Detail by the mean square of a Laplacian of pixels of 0 to 255.
// A thirtieth of a code is what rounding leaves.
func EnergyDetail(square float64) float32 { return float32(math.Log2(1.0/30 + square)) }
