package main

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"

	"stillspan/assemble"
)

// mostBanding is the bound for banding, 8-bit codes rms: about a third of what
// rounding without dither leaves (1/sqrt(12) = 0.289).
const mostBanding = 0.1

// ditherRows is the height of a dither pattern, over which the eye averages.
const ditherRows = 8

// banding assembles a noiseless clear sky of 16 bits, a gradient of 12 codes
// over the picture's height, corrected by a tenth of a stop, into an 8-bit
// H.264 clip of the given quality number (0 for the default). It returns how far the mean of each eight decoded rows lies from a smooth
// curve through all rows, codes rms: bands are rows that are rounded alike.
func banding(ctx context.Context, quality int) (float64, error) {
	dir, err := os.MkdirTemp("", "bench-banding-")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(dir)
	sky := image.NewRGBA64(image.Rect(0, 0, width, height))
	for y := range height {
		v := uint16((100 + 12*float64(y)/height) / 255 * 65535)
		for x := range width {
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
		job.Sources = append(job.Sources, assemble.Source{Path: name, Format: "png", Width: width, Height: height, Orientation: 1, CorrectionEV: 0.1})
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
	err = rawFrames(ctx, width*height, func(luma []byte) {
		rows := make([]float64, height/ditherRows)
		for y := range len(rows) * ditherRows {
			for x := range width {
				rows[y/ditherRows] += float64(luma[y*width+x]) / (width * ditherRows)
			}
		}
		sum += unevenness(rows) / float64(len(job.Sources))
	}, "-i", o.Out, "-vf", "extractplanes=y")
	return sum, err
}

// unevenness is the rms distance of v from the parabola that fits it best.
func unevenness(v []float64) float64 {
	// Legendre polynomials are orthogonal enough on this many points.
	n := float64(len(v))
	r := append([]float64(nil), v...)
	for range 3 { // repeated to mop up what is not orthogonal
		for _, p := range []func(x float64) float64{
			func(float64) float64 { return 1 },
			func(x float64) float64 { return x },
			func(x float64) float64 { return 1.5*x*x - 0.5 },
		} {
			var num, den float64
			for i := range r {
				b := p((2*float64(i)+1)/n - 1)
				num += b * r[i]
				den += b * b
			}
			for i := range r {
				r[i] -= num / den * p((2*float64(i)+1)/n-1)
			}
		}
	}
	var s float64
	for _, x := range r {
		s += x * x
	}
	return math.Sqrt(s / n)
}
