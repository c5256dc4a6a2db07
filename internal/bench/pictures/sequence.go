package main

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/disintegration/imaging"
	"golang.org/x/sync/errgroup"

	"stillspan/internal/scene"
	"stillspan/internal/stamp"
)

// fault is what was planted, frames from 1.
type fault struct {
	kind        string
	first, last int
	x, y        float64 // of a jump, pixels; of a spot or a part its place, shares
	size        float64 // sigma, share or EV; of a spot how much darker or, negative, brighter
	wide        float64 // of a spot, a share of the width; of a part its radius; 0 for all
	turn        float64 // of a jump, degrees clockwise about the middle
}

func (f fault) String() string {
	return fmt.Sprintf("%s %d-%d (%.2f, %.2f, turned %.2f; %.2f)", f.kind, f.first, f.last, f.x, f.y, f.turn, f.size)
}

// sequence is one drawn shoot.
type sequence struct {
	name    string
	w, h, n int
	seed    uint64
	quality int
	flicker float64
	noise   float64
	base    func(t int) *image.RGBA // with a margin; not to be changed
	faults  []fault
	shake   [][2]float64 // pixels
}

const margin = 48

// scenes are what is drawn, by name.
var scenes = []struct {
	name string
	set  func(o *scene.Options, rng *rand.Rand)
}{
	{"static", func(o *scene.Options, rng *rand.Rand) { o.Clouds = 0 }},
	{"clouds", func(o *scene.Options, rng *rand.Rand) {
		o.Clouds, o.CloudPixelsPerFrame = 0.3+0.6*rng.Float64(), 2+6*rng.Float64()
	}},
	{"people", func(o *scene.Options, rng *rand.Rand) { o.Crowd, o.Clouds = true, 0.3 }},
	{"pan", func(o *scene.Options, rng *rand.Rand) {
		o.PanPixelsPerFrame, o.Clouds = (0.4+3*rng.Float64())*float64(1-2*rng.IntN(2)), 0.4
	}},
	{"night", func(o *scene.Options, rng *rand.Rand) {
		o.LightEV, o.Follow, o.Noise, o.Clouds = [2]float64{-6, -6.5}, 0.8, 0.08+0.07*rng.Float64(), 0.2
	}},
	{"dusk", func(o *scene.Options, rng *rand.Rand) {
		o.LightEV, o.Follow, o.StepEV, o.Clouds, o.Headlights = [2]float64{-0.5, -4}, 0.75, 1./3, 0.5, true
	}},
	{"storm", func(o *scene.Options, rng *rand.Rand) { o.Clouds, o.Lightning, o.CloudPixelsPerFrame = 0.9, true, 8 }},
}

// newSequence draws scene i or, beyond those, a place, or a photograph where photo is set, with the kind of
// fault; "" plants none.
func newSequence(i int, photo, kind string, seed uint64, frames int) *sequence {
	rng := rand.New(rand.NewPCG(seed, 0xf0a))
	q := &sequence{n: frames, seed: seed, quality: 80 + rng.IntN(16), flicker: 0.08 * rng.Float64() * float64(rng.IntN(2)), noise: 2.5 * rng.Float64()}
	sizes := [][2]int{{720, 480}, {720, 540}, {960, 640}, {720, 405}, {1440, 960}}
	s := sizes[[]int{0, 0, 0, 1, 2, 3, 4}[rng.IntN(7)]]
	q.w, q.h = s[0], s[1]
	if photo != "" {
		q.name = "photo " + filepath.Base(filepath.Dir(photo)) + "/" + filepath.Base(photo)
		img, err := imaging.Open(photo)
		if err != nil {
			panic(err)
		}
		q.w, q.h = min(q.w, img.Bounds().Dx()), min(q.h, img.Bounds().Dy())
		still := rgba(imaging.Fill(img, q.w+2*margin, q.h+2*margin, imaging.Center, imaging.Lanczos))
		q.base = func(int) *image.RGBA { return still }
	} else if i >= len(scenes) {
		p := places[i-len(scenes)]
		q.name = p.name
		if p.name == "stars" {
			q.noise += 2
		}
		q.base = drawn(p.make(rng, q.w+2*margin, q.h+2*margin, frames), q.w+2*margin, q.h+2*margin)
	} else {
		q.name = scenes[i].name
		o := scene.Options{Width: q.w + 2*margin, Height: q.h + 2*margin, Frames: frames, Seed: seed, Noise: 0.01}
		scenes[i].set(&o, rng)
		q.base = scene.New(o).Frame
	}
	q.plant(rng, kind)
	return q
}

// kinds that are planted.
var kinds = []string{"", "jump", "bump", "turn", "shake", "blurred", "in part", "covered", "for long", "cast", "dew", "mist", "black", "blown", "spot"}

// plant decides on one or two faults of a kind.
func (q *sequence) plant(rng *rand.Rand, kind string) {
	q.shake = make([][2]float64, q.n)
	way := func() float64 { return float64(1 - 2*rng.IntN(2)) }
	jump := func() (x, y float64) {
		for x*x+y*y < 4 {
			x, y = (2+10*rng.Float64()*rng.Float64())*way(), 6*rng.Float64()*rng.Float64()*way()
			if rng.IntN(3) == 0 {
				x, y = y, x
			}
		}
		return x, y
	}
	at := 4 + rng.IntN(q.n-16)
	long := 1
	if rng.IntN(2) == 0 {
		long = 2 + rng.IntN(5)
	}
	f := fault{kind: kind, first: at + 1, last: at + long}
	switch kind {
	case "":
		if rng.IntN(2) == 0 {
			q.pan(way(), way())
		}
		return
	case "spot":
		q.pan(way(), way())
		q.spots(rng)
		return
	case "jump":
		f.x, f.y = jump()
		f.last = f.first
	case "turn":
		f.kind, f.last = "jump", f.first
		f.turn = (0.3 + 2*rng.Float64()*rng.Float64()) * way()
		f.x, f.y = (8*rng.Float64())*way(), (4*rng.Float64())*way()
	case "bump":
		f.kind = "jump"
		f.x, f.y = jump()
	case "shake":
		f.size = 1.5 + 2*rng.Float64()
		f.first, f.last = 1, q.n
		for t := range q.shake {
			q.shake[t] = [2]float64{f.size * rng.NormFloat64(), f.size * rng.NormFloat64()}
		}
	case "blurred":
		f.size = 1.5 + 2*rng.Float64()
	case "in part":
		f.kind, f.size = "blurred", 2+2*rng.Float64()
		f.x, f.y, f.wide = 0.2+0.6*rng.Float64(), 0.2+0.6*rng.Float64(), 0.3+0.1*rng.Float64()
	case "for long":
		f.kind, f.size = "covered", 0.15+0.3*rng.Float64()
		f.first = 8 + rng.IntN(4)
		f.last = f.first + 12 + rng.IntN(q.n/8)
	case "covered":
		f.size = 0.1 + 0.4*rng.Float64()*rng.Float64()
	case "cast":
		f.size = (0.05 + 0.1*rng.Float64()) * way()
	case "dew", "mist":
		f.kind, f.first, f.last, f.size = "soft", q.n/3, q.n, 2.5+2*rng.Float64()
		if kind == "mist" { // on a part of the lens
			f.x, f.y, f.wide = 0.2+0.6*rng.Float64(), 0.2+0.6*rng.Float64(), 0.3+0.1*rng.Float64()
		}
	}
	q.faults = append(q.faults, f)
	if kind == "jump" || kind == "turn" {
		for t := f.first - 1; t < q.n; t++ {
			q.shake[t] = [2]float64{f.x, f.y}
		}
	} else if kind == "bump" {
		for t := f.first - 1; t < f.last; t++ {
			q.shake[t] = [2]float64{f.x, f.y}
		}
	}
}

// spots plants dust and, in the dark, hot pixels, as long exposures have them.
func (q *sequence) spots(rng *rand.Rand) {
	dark := q.name == "night" || q.name == "stars"
	for range 1 + rng.IntN(3) {
		f := fault{kind: "spot", first: 1, last: q.n, x: 0.06 + 0.88*rng.Float64(), y: 0.06 + 0.88*rng.Float64(), size: 0.12 + 0.2*rng.Float64(), wide: 0.006 + 0.018*rng.Float64()}
		if dark && rng.IntN(3) > 0 {
			f.size, f.wide = -0.4-0.5*rng.Float64(), 0
		}
		q.faults = append(q.faults, f)
	}
}

// pan moves the picture evenly over most of the margin.
func (q *sequence) pan(x, y float64) {
	for t := range q.shake {
		k := 2*float64(t)/float64(q.n-1) - 1
		q.shake[t] = [2]float64{40 * x * k, 15 * y * k}
	}
}

// frame draws frame t, from 0.
func (q *sequence) frame(t int) *image.RGBA {
	rng := rand.New(rand.NewPCG(q.seed, uint64(t)+1e6))
	turn := 0.0
	for _, f := range q.faults {
		if f.turn != 0 && t+1 >= f.first {
			turn = f.turn * math.Pi / 180
		}
	}
	img := turned(q.base(t), margin, q.w, q.h, q.shake[t][0], q.shake[t][1], turn, rng)
	if q.flicker > 0 {
		toned(img, q.flicker*rng.NormFloat64())
	}
	for k, f := range q.faults {
		if t+1 < f.first || t+1 > f.last {
			continue
		}
		same := rand.New(rand.NewPCG(q.seed, uint64(k)+77))
		switch f.kind {
		case "blurred":
			img = f.laid(img, blurred(img, max(1.5, f.size*float64(q.w)/720)))
		case "covered":
			c := newCover(same, q.w, q.h, f.size, means(img))
			c.over(img)
		case "cast":
			g := [3]float64{1, 1, 1}
			j := 2 * same.IntN(2)
			if means(img)[j] < 40 { // of red there is none under water
				j = 2 - j
			}
			g[j] += f.size
			gain(img, g[0], g[1], g[2])
		case "soft":
			k, with := float64(t+1-f.first)/float64(f.last-f.first), img
			if k > 0.05 {
				with = blurred(img, f.size*k*float64(q.w)/720)
			} else if f.wide > 0 {
				continue
			}
			veiled(with, 0.35*k)
			img = f.laid(img, with)
		case "spot":
			spotted(img, f)
		case "black":
			gain(img, 0.02, 0.02, 0.02)
		case "blown":
			for i := range img.Pix {
				img.Pix[i] = clamped(240 + 3*float64(img.Pix[i]))
			}
		}
	}
	noisy(img, rng, q.noise)
	return img
}

// laid is img with the part of the fault from with, its edge soft.
func (f fault) laid(img, with *image.RGBA) *image.RGBA {
	if f.wide == 0 {
		return with
	}
	b := img.Bounds()
	w, h := float64(b.Dx()), float64(b.Dy())
	for y := range b.Dy() {
		for x := range b.Dx() {
			k := min(max((f.wide-math.Hypot(float64(x)-f.x*w, float64(y)-f.y*h)/w)/0.05, 0), 1)
			for i := img.PixOffset(x, y); k > 0 && i < img.PixOffset(x, y)+3; i++ {
				img.Pix[i] = clamped((1-k)*float64(img.Pix[i]) + k*float64(with.Pix[i]))
			}
		}
	}
	return img
}

// still is the name of frame t.
func (q *sequence) still(t int) string { return fmt.Sprintf("STIL%04d.JPG", t+1) }

// write draws all frames into a folder.
func (q *sequence) write(ctx context.Context, dir string) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	start := time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for t := range q.n {
		g.Go(func() error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			var b bytes.Buffer
			if err := jpeg.Encode(&b, q.frame(t), &jpeg.Options{Quality: q.quality}); err != nil {
				return err
			}
			data, err := stamp.JPEG(b.Bytes(), stamp.Fields{DateTimeOriginal: start.Add(time.Duration(5*t) * time.Second).Format("2006:01:02 15:04:05")})
			if err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(dir, q.still(t)), data, 0o666)
		})
	}
	return g.Wait()
}

// photos lists one photograph of each set of real ones.
func photos(root string) []string {
	var out []string
	for _, p := range []string{"brighton-reduced/DJI_0024.JPG", "banana-reduced/DSC_0430.JPG", "seneca-reduced", "argus_pier/c1", "iss_window", "gopro_chamber/133GOPRO", "brighton-original/DJI_0020.JPG"} {
		p = filepath.Join(root, p)
		if info, err := os.Stat(p); err == nil && info.IsDir() {
			list, _ := os.ReadDir(p)
			var jpegs []string
			for _, e := range list {
				if strings.HasSuffix(strings.ToLower(e.Name()), ".jpg") {
					jpegs = append(jpegs, filepath.Join(p, e.Name()))
				}
			}
			if len(jpegs) == 0 {
				continue
			}
			p = jpegs[len(jpegs)/2]
		}
		if _, err := os.Stat(p); err == nil {
			out = append(out, p)
		}
	}
	return out
}
