package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"

	"golang.org/x/sync/errgroup"

	"stillspan/internal/scene"
	"stillspan/internal/stamp"
)

// sequence is a scene as stills on disk, with the truth of its light.
type sequence struct {
	dir   string
	kind  kind
	w, h  int
	scene *scene.Scene
	tones [][]uint8 // by frame and pixel: the sixth, or lost
	truth truth
	strip *strip // nil for none
}

// lost marks pixels whose light only the camera's errors clipped.
const lost = sixths

func newSequence(dir string, k kind, frames int, seed uint64) *sequence {
	o := scene.Options{Width: 720, Height: 480, Frames: frames, Seed: seed}
	k.set(&o)
	frames = o.Frames
	if k.grid == [2]int{} {
		k.grid = [2]int{4, 3}
	}
	return &sequence{
		dir: dir, kind: k, w: o.Width, h: o.Height, scene: scene.New(o),
		tones: make([][]uint8, frames),
		truth: truth{patches: k.grid[0] * k.grid[1], light: make([]light, frames), event: make([]bool, frames), step: make([]bool, frames)},
	}
}

// draw writes the stills and notes the true light.
func (q *sequence) draw(ctx context.Context) error {
	if err := os.MkdirAll(q.stills(), 0o777); err != nil {
		return err
	}
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for t := range q.tones {
		g.Go(func() error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			frame, wanted := q.scene.Both(t)
			q.tones[t] = sixthsOf(wanted)
			q.truth.light[t] = q.sum(t, func(i, c int) float64 { return float64(wanted[3*i+c]) })
			q.truth.event[t] = q.scene.Truth(t).Event
			q.truth.step[t] = t > 0 && q.scene.Truth(t).ExposureEV != q.scene.Truth(t-1).ExposureEV
			return q.write(t, frame)
		})
	}
	return g.Wait()
}

func (q *sequence) stills() string { return filepath.Join(q.dir, "stills") }

func (q *sequence) write(t int, frame *image.RGBA) error {
	tr := q.scene.Truth(t)
	at := time.Date(2026, 5, 1, 18, 0, 0, 0, time.UTC).Add(time.Duration(t) * 5 * time.Second)
	fields := stamp.Fields{Make: "Stillspan", Model: "Bench", DateTimeOriginal: at.Format("2006:01:02 15:04:05"), Orientation: 1}
	if !q.kind.bare {
		fields.ExposureS, fields.FNumber, fields.ISO = tr.ExposureS, tr.FNumber, tr.ISO
	}
	if q.kind.turned {
		frame, fields.Orientation = turn(frame), 6 // to be shown turned clockwise
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, frame, &jpeg.Options{Quality: 98}); err != nil {
		return err
	}
	data, err := stamp.JPEG(buf.Bytes(), fields)
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(q.stills(), fmt.Sprintf("FRAM%04d.JPG", t+1)), data, 0o666)
}

// turn turns a picture counter-clockwise.
func turn(m *image.RGBA) *image.RGBA {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	out := image.NewRGBA(image.Rect(0, 0, h, w))
	for y := range h {
		for x := range w {
			copy(out.Pix[out.PixOffset(y, w-1-x):][:4], m.Pix[m.PixOffset(x, y):][:4])
		}
	}
	return out
}

// sixthsOf parts the pixels by luminance; those of which there is no truth are
// lost.
func sixthsOf(wanted []float32) []uint8 {
	const bins = 1 << 12
	var count [bins]int
	bin := make([]uint16, len(wanted)/3)
	n := 0
	for i := range bin {
		p := wanted[3*i:]
		l := 0.2126*p[0] + 0.7152*p[1] + 0.0722*p[2]
		if l != l {
			bin[i] = bins
			continue
		}
		bin[i] = uint16(math.Sqrt(float64(l)) * (bins - 1))
		count[bin[i]]++
		n++
	}
	var class [bins + 1]uint8
	below := 0
	for b, c := range count {
		class[b] = uint8(min((below+c/2)*sixths/max(n, 1), sixths-1))
		below += c
	}
	class[bins] = lost
	out := make([]uint8, len(bin))
	for i, b := range bin {
		out[i] = class[b]
	}
	return out
}

// sum sums the light of frame t, given by pixel and channel.
func (q *sequence) sum(t int, at func(pixel, channel int) float64) light {
	l := light{rgb: make([][3]float64, q.truth.patches*sixths), n: make([]int, q.truth.patches*sixths)}
	gw, gh := q.kind.grid[0], q.kind.grid[1]
	for i, tone := range q.tones[t] {
		if tone == lost {
			continue
		}
		x, y := i%q.w, i/q.w
		c := (y*gh/q.h*gw+x*gw/q.w)*sixths + int(tone)
		for j := range 3 {
			l.rgb[c][j] += at(i, j)
		}
		l.n[c]++
	}
	return l
}

// told is what the tool's own report says.
type told struct {
	flickerEV float64 // of the clip
	corrEV    float64 // its corrections, rms
	local     bool    // the corners were corrected by themselves
}

// render has the tool make a clip of the stills.
func (q *sequence) render(ctx context.Context, tool, clip string) (told, error) {
	report := filepath.Join(q.dir, "report.json")
	cmd := exec.CommandContext(ctx, tool, "render", q.stills(), "-o", clip, "--preset", "edit", "--aspect", "source",
		"--no-cache", "--workers", "1", "--json", report, "--quiet")
	out, err := cmd.CombinedOutput()
	// Flicker that was found is a finding, and findings have an exit code.
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		return told{}, err
	}
	data, readErr := os.ReadFile(report)
	if readErr != nil {
		return told{}, fmt.Errorf("render: %w: %s", errors.Join(err, readErr), out)
	}
	var r struct {
		Sequences []struct {
			Luminance struct {
				After float64 `json:"flicker_ev_after"`
				Local bool    `json:"local_pass"`
			} `json:"luminance"`
			Rows []struct {
				EV float64 `json:"correction_ev"`
			} `json:"frame_list"`
		} `json:"sequences"`
	}
	if err := json.Unmarshal(data, &r); err != nil {
		return told{}, fmt.Errorf("report: %w", err)
	}
	if len(r.Sequences) != 1 || len(r.Sequences[0].Rows) != len(q.tones) {
		return told{}, fmt.Errorf("report: %d sequences, want one of %d frames: %s", len(r.Sequences), len(q.tones), out)
	}
	s := r.Sequences[0]
	var corr []float64
	for _, row := range s.Rows {
		corr = append(corr, row.EV)
	}
	return told{s.Luminance.After, rms(corr), s.Luminance.Local}, nil
}
