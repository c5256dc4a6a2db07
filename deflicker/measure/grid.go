// Package measure reduces one still to what the light curve needs: a small
// grid of mean colours with the shares that are clipped.
package measure

import (
	"image"

	"stillspan/deflicker"
	"stillspan/deflicker/pictures"
)

// MaxCells is the most cells a grid has along its longer side.
const MaxCells = 160

// Grid is a still reduced to cells. Clip, a multiple of 1/255, is 1 where damage
// left nothing of a cell.
type Grid struct {
	deflicker.Grid
	// HighShare and LowShare are the shares (0 to 1) of the whole picture
	// with clipped highlights (any channel at or above 0.99 of full code) and
	// crushed shadows (all channels at or below 0.01).
	HighShare, LowShare float64
	// MeanLum is the mean relative luminance of the whole picture, 0 to 1:
	// linear light after the decoding of IEC 61966-2-1, weighted by Rec. 709.
	MeanLum float64
	// Source says what was decoded: "preview", "reduced", "full".
	Source string
	// Look is what is compared with the neighbours' pictures.
	Look pictures.Still
	// Thumb is what Thumb gives, where it was asked for and cost no more reading.
	Thumb image.Image
	// Kept is set where an earlier run measured it, and the file is the same by
	// its path, size and times.
	Kept bool
}

// Light is what a light curve is made of; nil of a nil Grid.
func (g *Grid) Light() *deflicker.Grid {
	if g == nil {
		return nil
	}
	return &g.Grid
}
