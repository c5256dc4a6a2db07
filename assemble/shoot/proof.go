package shoot

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"os"
	"slices"

	"stillspan/assemble"
	"stillspan/deflicker"
	"stillspan/ingest/format"
	"stillspan/internal/orientation"
	"stillspan/internal/process"
)

// Proof is a small copy of a clip: assemble.Pipeline.Proof.
type Proof struct {
	Path string
	W, H int // of one of the two pictures
	// Frames are those of the clip in order, Source their index in the sequence.
	Frames []assemble.Shown
}

// Slice is one column from the middle of some frames in order, as shot and as
// they are in the clip.
type Slice struct {
	// Frames are the indices in the sequence, one a column of the pictures.
	Frames     []int
	Shot, Clip *image.RGBA
	// Forecast is set where Clip is reckoned and no clip was looked at.
	Forecast bool
}

// sliceFrames is the most frames a slice shows; of longer clips it takes every
// second, third and so on.
const sliceFrames = 1200

// TakeProof takes a finished proof, and the slice that is cut from it. One that
// cannot be read is none: the page does without.
func (s *Shoot) TakeProof(ctx context.Context, path string) error {
	if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() || s.Rendered == nil {
		return nil
	}
	p := &Proof{Path: path}
	p.W, p.H = assemble.ProofSize(s.Rendered.Clip.Width, s.Rendered.Clip.Height)
	index := slices.Concat(s.picked()...) // of the sources
	job := s.Job("")
	p.Frames = job.Shown()
	for i := range p.Frames {
		p.Frames[i].Source = index[p.Frames[i].Source]
	}
	slice, err := p.slice(ctx)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return nil
	}
	s.Pictures.Proof, s.Pictures.Slice = p, slice
	return nil
}

// slice decodes the proof and keeps the middle column of the frames that are
// stills.
func (p *Proof) slice(ctx context.Context) (*Slice, error) {
	var at []int // of the clip
	for i, f := range p.Frames {
		if !f.MadeUp && !f.Held {
			at = append(at, i)
		}
	}
	s := &Slice{}
	every := (len(at) + sliceFrames - 1) / sliceFrames
	want := map[int]int{} // column by frame of the clip
	for k := 0; k < len(at); k += every {
		want[at[k]] = len(s.Frames)
		s.Frames = append(s.Frames, p.Frames[at[k]].Source)
	}
	s.Shot, s.Clip = image.NewRGBA(image.Rect(0, 0, len(s.Frames), p.H)), image.NewRGBA(image.Rect(0, 0, len(s.Frames), p.H))
	cmd, tail := assemble.FFmpeg(ctx, "-i", "file:"+p.Path, "-vf", fmt.Sprintf("format=rgb24,crop=1:%d:%d:0", 2*p.H, p.W/2), "-vsync", "passthrough", "-f", "rawvideo", "-pix_fmt", "rgb24", "pipe:1")
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := process.Start(cmd, process.Memory(0)); err != nil {
		return nil, err
	}
	column := make([]byte, 3*2*p.H)
	var short error
	for i := range p.Frames {
		if _, short = io.ReadFull(out, column); short != nil {
			break
		}
		if x, ok := want[i]; ok {
			paint(s.Shot, x, column[:3*p.H])
			paint(s.Clip, x, column[3*p.H:])
		}
	}
	if err := errors.Join(short, cmd.Wait()); err != nil {
		return nil, fmt.Errorf("cannot read the proof: %s: %w", tail.Last(), err)
	}
	return s, nil
}

// paint sets column x of img, packed R'G'B' from the top.
func paint(img *image.RGBA, x int, column []byte) {
	for y := range len(column) / 3 {
		img.SetRGBA(x, y, color.RGBA{column[3*y], column[3*y+1], column[3*y+2], 255})
	}
}

// columns keeps the middle column of every frame's cells as it was measured.
type columns struct {
	turn orientation.Turn
	rows [][]float64 // R', G' and B' from the top; nil where not measured
}

func (c *columns) add(g *deflicker.Grid) {
	if g == nil {
		c.rows = append(c.rows, nil)
		return
	}
	w, h := c.turn.Size(g.W, g.H)
	col := make([]float64, 0, 3*h)
	for y := range h {
		x, v := w/2, y
		if c.turn.FlipY {
			v = h - 1 - y
		}
		if c.turn.Transpose {
			x, v = v, x
		}
		for ch := range g.Code {
			col = append(col, g.Code[ch][v*g.W+x])
		}
	}
	c.rows = append(c.rows, col)
}

// TakeForecast makes the slice of a shoot of which there is no clip: as it was
// measured, and with the corrections that a render would make.
func (s *Shoot) TakeForecast() {
	if s.Measured == nil || s.Solved == nil || s.Pictures.Slice != nil {
		return
	}
	rows := s.Measured.columns
	out := &Slice{Forecast: true}
	h := 0
	every := (len(rows) + sliceFrames - 1) / sliceFrames
	for k := 0; k < len(rows); k += max(every, 1) {
		if s.InClip(k) && rows[k] != nil && (h == 0 || len(rows[k]) == 3*h) {
			h = len(rows[k]) / 3
			out.Frames = append(out.Frames, k)
		}
	}
	if len(out.Frames) < 2 {
		return
	}
	out.Shot, out.Clip = image.NewRGBA(image.Rect(0, 0, len(out.Frames), h)), image.NewRGBA(image.Rect(0, 0, len(out.Frames), h))
	for x, k := range out.Frames {
		src := s.source(k)
		ev := deflicker.Channels(src.CorrectionEV, src.ColourEV[0], src.ColourEV[1])
		for y := range h {
			var was, is [3]uint8
			for c := range was {
				v := rows[k][3*y+c]
				was[c] = uint8(255*v + 0.5)
				is[c] = uint8(255*s.Measured.Response.Tone(c, v, ev[c]) + 0.5)
			}
			out.Shot.SetRGBA(x, y, color.RGBA{was[0], was[1], was[2], 255})
			out.Clip.SetRGBA(x, y, color.RGBA{is[0], is[1], is[2], 255})
		}
	}
	s.Pictures.Slice = out
}

// turn is how the stills stand upright, by the first.
func (s *Shoot) turn() orientation.Turn {
	exif := 1
	if len(s.Sequence.Frames) > 0 {
		_, _, exif = format.Decoded(&s.Sequence.Frames[0].Facts)
	}
	return orientation.Of(exif)
}
