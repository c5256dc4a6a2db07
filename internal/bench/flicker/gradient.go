package main

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"

	"stillspan/assemble"
)

// mostBanding is the bound for banding, 8-bit codes rms: about a third of what
// rounding without dither leaves (1/sqrt(12) = 0.289 a row, about 0.25 in the
// mean of eight).
const mostBanding = 0.1

// ditherRows is the height of a dither pattern, over which the eye averages.
const ditherRows = 8

// gradientWidth and gradientHeight are the size of the sky.
const gradientWidth, gradientHeight = 480, 320

// gradient prints how banded a corrected clear sky is: nearly lossless, to see
// what is handed to the encoder, and as delivered, where the encoder takes
// part of the dither away.
func gradient(ctx context.Context) (met bool, err error) {
	bands, err := rounding(ctx, 1)
	if err != nil {
		return false, err
	}
	delivered, err := rounding(ctx, 0)
	if err != nil {
		return false, err
	}
	word := "met"
	if bands > mostBanding {
		word = "NOT MET"
	}
	fmt.Printf("\nclear sky gradient, corrected, 8-bit clip: bands of %.3f codes rms (without dither about 0.25, at most %.2f): %s; %.3f after the delivery preset's compression\n",
		bands, mostBanding, word, delivered)
	return bands <= mostBanding, nil
}

// rounding assembles a noiseless clear sky of 16 bits, a gradient of 12 codes
// over the picture's height, corrected by a tenth of a stop, into an 8-bit
// H.264 clip of the given quality number (0 for the default). It returns how far the
// mean of each eight decoded rows lies from lines through its neighbours, codes rms: bands are rows that are rounded alike.
func rounding(ctx context.Context, quality int) (float64, error) {
	dir, err := os.MkdirTemp("", "bench-banding-")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(dir)
	sky := image.NewRGBA64(image.Rect(0, 0, gradientWidth, gradientHeight))
	for y := range gradientHeight {
		v := uint16((100 + 12*float64(y)/gradientHeight) / 255 * 65535)
		for x := range gradientWidth {
			sky.SetRGBA64(x, y, color.RGBA64{v, v, v, 65535})
		}
	}
	o := assemble.DefaultOptions()
	o.Out = filepath.Join(dir, "sky.mp4")
	o.Codec, o.Quality, o.Aspect = "h264", quality, "source"
	job := assemble.Job{Options: o}
	for i := range 4 {
		name := filepath.Join(dir, fmt.Sprintf("%d.png", i))
		f, err := os.Create(name)
		if err != nil {
			return 0, err
		}
		err = png.Encode(f, sky)
		if e := f.Close(); err == nil {
			err = e
		}
		if err != nil {
			return 0, err
		}
		job.Sources = append(job.Sources, assemble.Source{Path: name, Format: "png", Width: gradientWidth, Height: gradientHeight, Orientation: 1, CorrectionEV: 0.1})
	}
	p, err := assemble.Prepare(ctx, job)
	if err != nil {
		return 0, err
	}
	if _, err := p.Run(ctx, nil); err != nil {
		return 0, err
	}
	var sum float64
	// The Y' samples as they are: converting them to R'G'B' would round again.
	err = rawFrames(ctx, gradientWidth*gradientHeight, func(luma []byte) {
		rows := make([]float64, gradientHeight/ditherRows)
		for y := range len(rows) * ditherRows {
			for x := range gradientWidth {
				rows[y/ditherRows] += float64(luma[y*gradientWidth+x]) / (gradientWidth * ditherRows)
			}
		}
		sum += rms(flickerOf(rows)) / float64(len(job.Sources))
	}, "-i", o.Out, "-vf", "extractplanes=y")
	return sum, err
}
