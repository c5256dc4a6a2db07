package main

import (
	"context"
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
)

// maxSteadyPx bounds what steadying leaves of a shake of 3 pixels rms.
const maxSteadyPx = 0.2

// steadied renders a shaken sequence of a still scene with --steady and measures
// how far the clip's frames lie off each other, pixels rms in both directions.
func (o options) steadied(ctx context.Context, dir string, q *sequence) (float64, error) {
	if err := q.write(ctx, dir); err != nil {
		return 0, err
	}
	clip := filepath.Join(dir, "..", filepath.Base(dir)+".mkv")
	if out, err := exec.CommandContext(ctx, o.tool, "render", dir, "-o", clip, "--steady", "--codec", "ffv1", "--aspect", "source", "--no-cache", "--overwrite", "--quiet").CombinedOutput(); err != nil {
		if e, ok := err.(*exec.ExitError); !ok || e.ExitCode() != 3 {
			return 0, fmt.Errorf("render: %w: %s", err, out)
		}
	}
	const w, h = 480, 320
	raw, err := exec.CommandContext(ctx, "ffmpeg", "-v", "error", "-i", clip, "-vf", fmt.Sprintf("scale=%d:%d:flags=area,format=gray", w, h), "-f", "rawvideo", "-").Output()
	if err != nil {
		return 0, err
	}
	frames := len(raw) / (w * h)
	if frames != q.n {
		return 0, fmt.Errorf("%d frames in the clip, want %d", frames, q.n)
	}
	frame := func(t int) []byte { return raw[t*w*h:][:w*h] }
	var x, y, square float64
	xs, ys := make([]float64, frames), make([]float64, frames)
	for t := range frames {
		xs[t], ys[t] = lies(frame(0), frame(t), w, h)
		x, y = x+xs[t]/float64(frames), y+ys[t]/float64(frames)
	}
	for t := range frames {
		square += (xs[t]-x)*(xs[t]-x) + (ys[t]-y)*(ys[t]-y)
	}
	return float64(q.w) / w * math.Sqrt(square/float64(2*frames)), nil
}

// lies is by how much b's content lies right of and below a's: the shift of least
// squares over the middle of the pictures, with a gain, as light may differ.
func lies(a, b []byte, w, h int) (dx, dy float64) {
	at := func(p []byte, x, y float64) float64 {
		i, j := int(math.Floor(x)), int(math.Floor(y))
		u, v := x-float64(i), y-float64(j)
		k := j*w + i
		return (float64(p[k])*(1-u)+float64(p[k+1])*u)*(1-v) + (float64(p[k+w])*(1-u)+float64(p[k+w+1])*u)*v
	}
	const edge = 16
	for range 8 {
		var xx, xy, yy, ex, ey, sa, sb float64
		for y := edge; y < h-edge; y += 2 {
			for x := edge; x < w-edge; x += 2 {
				sa, sb = sa+float64(a[y*w+x]), sb+at(b, float64(x)+dx, float64(y)+dy)
			}
		}
		for y := edge; y < h-edge; y += 2 {
			for x := edge; x < w-edge; x += 2 {
				k := y*w + x
				gx, gy := (float64(a[k+1])-float64(a[k-1]))/2, (float64(a[k+w])-float64(a[k-w]))/2
				e := float64(a[k]) - sa/sb*at(b, float64(x)+dx, float64(y)+dy)
				xx, xy, yy, ex, ey = xx+gx*gx, xy+gx*gy, yy+gy*gy, ex+gx*e, ey+gy*e
			}
		}
		det := xx*yy - xy*xy
		if det == 0 {
			return dx, dy
		}
		mx, my := (yy*ex-xy*ey)/det, (xx*ey-xy*ex)/det
		dx, dy = min(max(dx+mx, -edge+2), edge-2), min(max(dy+my, -edge+2), edge-2)
		if math.Hypot(mx, my) < 1e-3 {
			break
		}
	}
	return dx, dy
}
