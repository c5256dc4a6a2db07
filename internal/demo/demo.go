// Package demo draws an invented day of shoots with known faults.
package demo

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"stillspan/ingest/plan"
	"stillspan/internal/files"
	"stillspan/internal/playback"
	"stillspan/internal/scene"
	"stillspan/internal/stamp"
)

// Shoot is one invented shoot and its faults.
type Shoot struct {
	Name      string
	Start     time.Time // camera's wall clock
	IntervalS float64   // planned
	ReallyS   float64   // what the intervalometer really did
	Frames    int       // planned
	Folder    int       // DCF folder number of the first frame
	Number    int       // DCF file number of the first frame
	Body      Body
	Scene     scene.Options
	NotFired  []int           // slots at which the camera did not fire
	Lost      []int           // slots whose files did not survive the copy
	Truncated []int           // slots whose files end early
	Empty     []int           // slots whose files hold nothing
	Late      map[int]float64 // slot: seconds
	ISOFrom   int             // slot from which ISO is doubled and the shutter halved; 0 for never
	Bare      bool            // without EXIF
	Spoilt    map[int]Spoil   // by slot
	Dust      []Dust
	Faults    []string // the same in words
}

// Body is a camera: what it says of itself and how it names files and folders.
type Body struct{ Make, Model, Serial, Prefix, Folder string }

// Day is three shoots that have most faults there are.

func Day() []Shoot {
	rail := Body{"Stillspan", "Demo One", "1001", "RAIL", "STILL"}
	tripod := Body{"Stillspan", "Demo Two", "2002", "POLE", "SPARE"}
	day := func(h, m, s int) time.Time { return time.Date(2026, 5, 1, h, m, s, 0, time.UTC) }
	return []Shoot{
		{
			Name: "harbour dawn", Start: day(5, 12, 4), IntervalS: 5, ReallyS: 5, Frames: 150,
			Folder: 100, Number: 9931, Body: rail,
			Scene:    scene.Options{Seed: 11, ScatterEV: 0.06, LightEV: [2]float64{-3.4, -0.6}, Clouds: 0.35, PanPixelsPerFrame: 0.6, Noise: 0.015},
			NotFired: []int{40, 41, 97}, Lost: []int{58, 59}, Late: map[int]float64{120: 3},
			Dust:   []Dust{{0.71, 0.13, 0.011, 0.3}, {0.24, 0.22, 0.007, 0.25}},
			Faults: []string{"3 frames never fired", "2 files lost in the copy", "1 frame fired 3 s late", "numbers run over from 9999 to 0001", "dust on the sensor"},
		},
		{
			Name: "market noon", Start: day(12, 30, 0), IntervalS: 2, ReallyS: 2, Frames: 100,
			Folder: 100, Number: 212, Body: tripod,
			Scene:     scene.Options{Seed: 5, ScatterEV: 0.05, Clouds: 0.7, Noise: 0.01},
			Truncated: []int{33}, Empty: []int{71}, ISOFrom: 60,
			Spoilt: map[int]Spoil{18: {Passer: true}, 45: {MovedX: 0.015, MovedY: -0.006}, 80: {Blur: 0.004}, 81: {Blur: 0.004}},
			Faults: []string{"1 file cut short", "1 empty file", "ISO and shutter moved in mid-shoot", "somebody walked by, the tripod was bumped and 2 frames are blurred"},
		},
		{
			Name: "ridge dusk", Start: day(19, 48, 30), IntervalS: 10, ReallyS: 10.04, Frames: 120,
			Folder: 101, Number: 402, Body: rail,
			Scene:  scene.Options{Seed: 23, ScatterEV: 0.04, LightEV: [2]float64{-0.5, -5.5}, StepEV: 1.0 / 3, Follow: 0.75, Clouds: 0.4, Headlights: true, Noise: 0.02},
			Faults: []string{"the interval ran 0.4 % long", "exposure opened by third stops as the light fell"},
		},
	}
}

// DrawDay draws all stills of a day into a card's folder, each w x h pixels.
// progress may be nil.
func DrawDay(ctx context.Context, card string, shoots []Shoot, w, h int, progress func(done, total int)) error {
	done, total := 0, 0
	for _, s := range shoots {
		total += s.Frames
	}
	for _, s := range shoots {
		s.Scene.Width, s.Scene.Height, s.Scene.Frames = w, h, s.Frames
		if err := s.Draw(ctx, scene.New(s.Scene), card); err != nil {
			return err
		}
		if done += s.Frames; progress != nil {
			progress(done, total)
		}
	}
	return drawOdds(card, shoots, w, h)
}

// Draw draws the stills of one shoot that came home.
func (s *Shoot) Draw(ctx context.Context, sc *scene.Scene, card string) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for _, shot := range s.Shots() {
		g.Go(func() error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return s.draw(sc, shot, card)
		})
	}
	return g.Wait()
}

// Shot is one still to be written.
type Shot struct {
	Slot int
	Name string // relative to the card
	At   time.Time
}

// Shots lists the stills that came home, with names and times as a camera
// gives them.
func (s *Shoot) Shots() []Shot {
	var out []Shot
	number, folder := s.Number, s.Folder
	for slot := range s.Frames {
		if slices.Contains(s.NotFired, slot) {
			continue
		}
		name := filepath.Join("DCIM", fmt.Sprintf("%03d%s", folder, s.Body.Folder), fmt.Sprintf("%s%04d.JPG", s.Body.Prefix, number))
		number++
		if number > 9999 {
			number, folder = 1, folder+1
		}
		if slices.Contains(s.Lost, slot) {
			continue
		}
		t := float64(slot)*s.ReallyS + s.Late[slot]
		out = append(out, Shot{slot, name, s.Start.Add(time.Duration(t * float64(time.Second)))})
	}
	return out
}

// Fields is what the camera says of one still.
func (s *Shoot) Fields(tr scene.Truth, shot Shot) stamp.Fields {
	iso, shutter := tr.ISO, tr.ExposureS
	if s.ISOFrom > 0 && shot.Slot >= s.ISOFrom {
		iso, shutter = 2*iso, shutter/2
	}
	return stamp.Fields{
		Make: s.Body.Make, Model: s.Body.Model, Serial: s.Body.Serial, Lens: "Demo 24 mm",
		DateTimeOriginal: shot.At.Format("2006:01:02 15:04:05"), OffsetTimeOriginal: "+02:00",
		ExposureS: shutter, FNumber: tr.FNumber, ISO: iso, FocalMM: 24,
		WhiteBalance: "manual", ExposureMode: "manual", Program: "manual",
	}
}

// draw writes one still with its EXIF, and damages it where that is planned.
func (s *Shoot) draw(sc *scene.Scene, shot Shot, card string) error {
	var fields *stamp.Fields
	if !s.Bare {
		f := s.Fields(sc.Truth(shot.Slot), shot)
		fields = &f
	}
	img := s.Spoilt[shot.Slot].over(sc.Frame(shot.Slot))
	if rgba, ok := img.(*image.RGBA); ok {
		for _, d := range s.Dust {
			d.over(rgba)
		}
	}
	data, err := stampedJPEG(img, fields)
	if err != nil {
		return err
	}
	switch {
	case slices.Contains(s.Truncated, shot.Slot):
		data = data[:len(data)*3/5]
	case slices.Contains(s.Empty, shot.Slot):
		data = nil
	}
	return Put(filepath.Join(card, shot.Name), data)
}

// stampedJPEG encodes a picture as a camera does; fields may be nil.
func stampedJPEG(img image.Image, fields *stamp.Fields) ([]byte, error) {
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: 92}); err != nil {
		return nil, err
	}
	if fields == nil {
		return buf.Bytes(), nil
	}
	return stamp.JPEG(buf.Bytes(), *fields)
}

// drawOdds adds what lies on every card beside the shoots: test shots, a
// video, a sidecar and a hidden file of a computer that had it mounted.
func drawOdds(card string, shoots []Shoot, w, h int) error {
	s := shoots[1]
	s.Number, s.Frames, s.Start, s.ReallyS = 190, 3, s.Start.Add(-20*time.Minute), 31
	s.NotFired, s.Lost, s.Truncated, s.Empty, s.Late, s.Spoilt, s.ISOFrom = nil, nil, nil, nil, nil, nil, 0
	s.Scene.Width, s.Scene.Height, s.Scene.Frames = w, h, s.Frames
	sc := scene.New(s.Scene)
	for _, shot := range s.Shots() {
		if err := s.draw(sc, shot, card); err != nil {
			return err
		}
	}
	folder := filepath.Join(card, "DCIM", "100SPARE")
	return errors.Join(
		Put(filepath.Join(folder, "POLE0193.MOV"), []byte("not a still")),
		Put(filepath.Join(folder, "POLE0192.XMP"), []byte("<x:xmpmeta/>")),
		Put(filepath.Join(folder, "._POLE0192.JPG"), []byte{0}),
	)
}

// Put writes a file and the folders it lies in.
func Put(path string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return err
	}
	return os.WriteFile(path, data, 0o666)
}

// WritePlan writes what the shoots were meant to be.
func WritePlan(path string, shoots []Shoot) error {
	f := &plan.File{Rate: playback.Rate{Num: 24, Den: 1}}
	for _, s := range shoots {
		f.Shoots = append(f.Shoots, plan.Shoot{
			Name: s.Name, From: s.Start.Add(-10 * time.Minute), To: s.Start.Add(10 * time.Minute),
			Frames: s.Frames, IntervalS: s.IntervalS, Rate: f.Rate,
		})
	}
	return files.Write(path, func(w io.Writer) error { return plan.Write(w, f) })
}
