// Package measure reduces one still to what the light curve needs: a small
// grid of linear luminances with the shares that are clipped.
package measure

// MaxCells is the most cells a grid has along its longer side.
const MaxCells = 160

// Grid is a still reduced to W x H cells, row-major, in the picture's stored
// orientation.
type Grid struct {
	W, H int
	// Lum is the mean relative luminance of each cell, linear light, 0 to 1:
	// IEC 61966-2-1 decoding, Rec. 709 weights.
	Lum []float32
	// Clip is the share of each cell's samples, 0 to 255 for 0 to 100 %, that
	// lie at the white end or so near black that they say nothing of exposure;
	// 255, with Lum 0, where damage left nothing of the cell.
	Clip []uint8
	// HighShare and LowShare are the shares (0 to 1) of the whole picture
	// with clipped highlights (any channel at or above 0.99 of full code) and
	// crushed shadows (all channels at or below 0.01).
	HighShare, LowShare float64
	// MeanLum is the mean relative luminance of the whole picture, 0 to 1.
	MeanLum float64
	// Source says what was decoded: "preview", "reduced", "full".
	Source string
}
