package main

import (
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"stillspan/assemble"
	"stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/ingest/meta"
	"stillspan/internal/scene"
	"stillspan/internal/srgb"
)

// sequence is one scene as stills on disk with its truth in the still part.
type sequence struct {
	dir    string
	s      *scene.Scene
	n      int
	still  [][]bool
	corner [][]bool     // the still part's share in the corners
	wanted [][3]float64 // mean linear R, G, B of the still part, as wanted
	// wantedCorner is the same of its corners.
	wantedCorner [][3]float64
	input        []measure.Input
	label        []float64
}

func measureKind(ctx context.Context, k kind, frames int, seed uint64, strips string) (outcome, error) {
	dir, err := os.MkdirTemp("", "bench-flicker-")
	if err != nil {
		return outcome{}, err
	}
	defer os.RemoveAll(dir)
	o := scene.Options{Width: width, Height: height, Frames: frames, Seed: seed}
	k.set(&o)
	q := &sequence{dir: dir, s: scene.New(o), n: frames}
	if err := q.write(k.labels); err != nil {
		return outcome{}, err
	}
	res, local, err := q.solve(ctx)
	if err != nil {
		return outcome{}, err
	}
	plain, plainCorner, err := q.clip(ctx, "before.mov", make([]float64, frames), deflicker.Local{})
	if err != nil {
		return outcome{}, err
	}
	ours, oursCorner, err := q.clip(ctx, "after.mov", res.CorrectionEV, local)
	if err != nil {
		return outcome{}, err
	}
	var out outcome
	d := errorEV(plain, q.wanted)
	out.before, _ = split(d)
	out.cornersBefore = apart(errorEV(plainCorner, q.wantedCorner), d)
	out.chromaIn = wobble(plain)
	d = errorEV(ours, q.wanted)
	out.left, out.trend = split(d)
	out.corners = apart(errorEV(oursCorner, q.wantedCorner), d)
	if local.Use {
		out.local = 1
	}
	out.chroma = wobble(ours)
	out.corr, out.period = rms(res.CorrectionEV), float64(res.SmoothFrames)
	out.event, out.step = q.eventError(res), q.stepLeft(d)
	if strips != "" {
		if err := q.writeStrips(ctx, filepath.Join(strips, strings.ReplaceAll(k.name, " ", "-")+".png")); err != nil {
			return outcome{}, err
		}
	}
	return out, q.reference(ctx, &out)
}

// write draws the stills as JPEGs and notes the truth.
func (q *sequence) write(labels bool) error {
	for t := range q.n {
		name := filepath.Join(q.dir, fmt.Sprintf("%06d.jpg", t))
		f, err := os.Create(name)
		if err != nil {
			return err
		}
		err = jpeg.Encode(f, q.s.Frame(t), &jpeg.Options{Quality: 95})
		if e := f.Close(); err == nil {
			err = e
		}
		if err != nil {
			return err
		}
		info, err := os.Stat(name)
		if err != nil {
			return err
		}
		q.input = append(q.input, measure.Input{Path: name, Size: info.Size(), ModTime: time.Now(),
			Facts: meta.Facts{Format: "jpeg", Width: width, Height: height, Orientation: 1}})
		q.still = append(q.still, q.s.Still(t))
		q.corner = append(q.corner, cornersOf(q.still[t]))
		w := q.s.Wanted(t)
		q.wanted = append(q.wanted, means(w.Pix, 4, q.still[t]))
		q.wantedCorner = append(q.wantedCorner, means(w.Pix, 4, q.corner[t]))
		tr := q.s.Truth(t)
		ev := math.NaN()
		if labels {
			ev = deflicker.ExposureLabelEV(tr.ExposureS, tr.FNumber, tr.ISO)
		}
		q.label = append(q.label, ev)
	}
	return nil
}

// solve measures the stills as the tool does.
func (q *sequence) solve(ctx context.Context) (deflicker.Result, deflicker.Local, error) {
	m := deflicker.NewMeter(deflicker.MeterOptions{Local: true})
	err := measure.All(ctx, q.input, measure.Options{Workers: 1, NoCache: true}, func(i int, g *measure.Grid, f *measure.Finding) error {
		if f != nil {
			return fmt.Errorf("still %d: %s", i, f.Text)
		}
		m.Add(g.Light())
		return nil
	})
	if err != nil {
		return deflicker.Result{}, deflicker.Local{}, err
	}
	res, err := deflicker.Solve(m.Curve(), q.label, deflicker.DefaultOptions())
	return res, m.Local(), err
}

// clip assembles the stills with the corrections, decodes the clip and
// returns each frame's mean linear R, G, B in the still part and its corners.
func (q *sequence) clip(ctx context.Context, name string, corr []float64, local deflicker.Local) (still, corner [][3]float64, err error) {
	o := assemble.DefaultOptions()
	o.Out = filepath.Join(q.dir, name)
	o.Preset, o.Aspect = "edit", "source"
	job := assemble.Job{Options: o}
	for t, in := range q.input {
		src := assemble.Source{Path: in.Path, Format: "jpeg", Width: width, Height: height, Orientation: 1, CorrectionEV: corr[t]}
		if local.Use && local.EV[t] != nil {
			src.Field = &assemble.Field{W: local.W, H: local.H, EV: local.EV[t]}
		}
		job.Sources = append(job.Sources, src)
	}
	p, err := assemble.Prepare(ctx, job)
	if err != nil {
		return nil, nil, err
	}
	if _, err := p.Run(ctx, nil); err != nil {
		return nil, nil, err
	}
	still, corner, err = q.decode(ctx, o.Out)
	if err == nil && len(still) != q.n {
		err = fmt.Errorf("%d frames in the clip, want %d", len(still), q.n)
	}
	return still, corner, err
}

// decode has ffmpeg decode a clip to floats: colour wobble is smaller than
// what 8 bits would round away.
func (q *sequence) decode(ctx context.Context, clip string) (still, corner [][3]float64, err error) {
	cmd := exec.CommandContext(ctx, "ffmpeg", "-v", "error", "-nostdin", "-i", clip,
		"-vf", "scale=in_color_matrix=bt709:in_range=tv", "-pix_fmt", "gbrpf32le", "-f", "rawvideo", "pipe:1")
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return nil, nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, nil, err
	}
	frame := make([]byte, 3*4*width*height)
	for {
		if _, err := io.ReadFull(pipe, frame); err != nil {
			break // its end, or a failure that Wait tells
		}
		t := min(len(still), q.n-1)
		still = append(still, floatMeans(frame, q.still[t]))
		corner = append(corner, floatMeans(frame, q.corner[t]))
	}
	return still, corner, cmd.Wait()
}

// floatMeans averages linear R, G, B of planes of floats where mask is set.
func floatMeans(frame []byte, mask []bool) (m [3]float64) {
	const pixels = width * height
	n := 0
	for i, in := range mask {
		if !in {
			continue
		}
		n++
		for c, plane := range [3]int{2, 0, 1} { // R, G, B of planes G, B, R
			m[c] += srgb.Decode(min(max(float64(math.Float32frombits(binary.LittleEndian.Uint32(frame[4*(plane*pixels+i):]))), 0), 1))
		}
	}
	for c := range m {
		m[c] /= float64(n)
	}
	return m
}

// cornersOf is the part of mask that lies in the corners.
func cornersOf(mask []bool) []bool {
	in := make([]bool, len(mask))
	for i, still := range mask {
		u, v := 2*(float64(i%width)+0.5)/width-1, 2*(float64(i/width)+0.5)/height-1
		in[i] = still && math.Abs(u) > 0.8 && math.Abs(v) > 0.8
	}
	return in
}

// errorEV is how much brighter a part of each frame is than wanted, EV.
func errorEV(got, wanted [][3]float64) []float64 {
	d := make([]float64, len(got))
	for t := range d {
		d[t] = math.Log2(lum(got[t]) / lum(wanted[t]))
	}
	return d
}

// apart is the rms of the fast part of a's error less b's.
func apart(a, b []float64) float64 {
	d := make([]float64, len(a))
	for t := range d {
		d[t] = a[t] - b[t]
	}
	fast, _ := split(d)
	return fast
}

// eventError is the largest difference between our correction and the wanted
// one, less what both change slowly, in frames with an event and beside them.
func (q *sequence) eventError(r deflicker.Result) float64 {
	e := make([]float64, q.n)
	for t := range e {
		tr := q.s.Truth(t)
		e[t] = r.CorrectionEV[t] - (tr.WantedEV - tr.LightEV - tr.ExposureEV - tr.ScatterEV)
	}
	slow := slowPart(e)
	worst := -1.0
	for t := range e {
		for i := max(t-1, 0); i <= min(t+1, q.n-1); i++ {
			if q.s.Truth(i).Event {
				worst = max(worst, math.Abs(e[t]-slow[t]))
			}
		}
	}
	return worst
}

// stepLeft is the largest jump of the clip's error at the steps: mean of three
// frames after less mean of three before.
func (q *sequence) stepLeft(d []float64) float64 {
	worst := -1.0
	for t := 3; t+3 <= q.n; t++ {
		if q.s.Truth(t).ExposureEV != q.s.Truth(t-1).ExposureEV {
			worst = max(worst, math.Abs(d[t]+d[t+1]+d[t+2]-d[t-1]-d[t-2]-d[t-3])/3)
		}
	}
	return worst
}

// slowWindow parts flicker from trend in the errors, frames.
const slowWindow = 21

// slowPart is a local straight-line fit over slowWindow frames.
func slowPart(d []float64) []float64 {
	out := make([]float64, len(d))
	for t := range d {
		var n, sx, sy, sxx, sxy float64
		for i := max(t-slowWindow/2, 0); i <= min(t+slowWindow/2, len(d)-1); i++ {
			x := float64(i - t)
			n, sx, sy, sxx, sxy = n+1, sx+x, sy+d[i], sxx+x*x, sxy+x*d[i]
		}
		slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
		out[t] = (sy - slope*sx) / n
	}
	return out
}

// split returns the rms of what is faster than slowWindow and of what is
// slower, less its mean.
func split(d []float64) (fast, slow float64) {
	s := slowPart(d)
	f := make([]float64, len(d))
	var mean float64
	for t := range d {
		f[t] = d[t] - s[t]
		mean += s[t] / float64(len(d))
	}
	for t := range s {
		s[t] -= mean
	}
	return rms(f), rms(s)
}

// wobble is the flicker of the ratios red to green and blue to green, EV rms.
func wobble(got [][3]float64) float64 {
	r, b := make([]float64, len(got)), make([]float64, len(got))
	for t, g := range got {
		r[t], b[t] = math.Log2(g[0]/g[1]), math.Log2(g[2]/g[1])
	}
	return math.Hypot(deflicker.FlickerEV(r), deflicker.FlickerEV(b))
}

func lum(c [3]float64) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }

var linear = func() (t [256]float64) {
	for i := range t {
		t[i] = srgb.Decode(float64(i) / 255)
	}
	return t
}()

// means averages linear R, G, B where mask is set; step is 3 or 4 bytes.
func means(pix []byte, step int, mask []bool) (m [3]float64) {
	n := 0
	for i, in := range mask {
		if in {
			p := pix[i*step:]
			m[0] += linear[p[0]]
			m[1] += linear[p[1]]
			m[2] += linear[p[2]]
			n++
		}
	}
	for j := range m {
		m[j] /= float64(n)
	}
	return m
}

// writeStrips lays twelve frames in a row, one column of each, before above
// after: flicker shows as bars.
func (q *sequence) writeStrips(ctx context.Context, name string) error {
	const slices = 96
	sw := 2 * width / slices
	out := image.NewRGBA(image.Rect(0, 0, 2*width, 2*height+8))
	draw.Draw(out, out.Bounds(), image.White, image.Point{}, draw.Src)
	for half, clip := range []string{"before.mov", "after.mov"} {
		err := assemble.ReadClip(ctx, filepath.Join(q.dir, clip), width, height, func(i int, rgb []byte) error {
			if i >= slices {
				return nil
			}
			for y := range height {
				for x := range sw {
					p := rgb[3*(y*width+i*width/slices+min(x, width/slices-1)):]
					o := out.PixOffset(i*sw+x, half*(height+8)+y)
					copy(out.Pix[o:o+3], p[:3])
					out.Pix[o+3] = 255
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	err = png.Encode(f, out)
	if e := f.Close(); err == nil {
		err = e
	}
	return err
}
