package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"stillspan/ingest/plan"
	"stillspan/internal/playback"
	"stillspan/internal/process"
	"stillspan/internal/scene"
	"stillspan/internal/settings"
	"stillspan/internal/stamp"
)

var demoCommand = command{
	name: "demo", summary: "make a day of invented shoots with known faults; check and render it",
	usage: "[DIR] [OPTIONS]",
	about: `Draws the stills of an invented day into DIR/card (default ./stillspan-demo),
with faults that are named as they are planted, writes its plan, then runs
check and render on it. DIR must not be there yet.
`,
	examples: `demo
demo /tmp/try --size 480x320
`,
	run: runDemo,
}

// demoShoot is one invented shoot and its faults.
type demoShoot struct {
	name      string
	start     time.Time // camera's wall clock
	intervalS float64   // planned
	reallyS   float64   // what the intervalometer really did
	frames    int       // planned
	folder    int       // DCF folder number of the first frame
	number    int       // DCF file number of the first frame
	body      demoBody
	scene     scene.Options
	notFired  []int           // slots at which the camera did not fire
	lost      []int           // slots whose files did not survive the copy
	truncated []int           // slots whose files end early
	empty     []int           // slots whose files hold nothing
	late      map[int]float64 // slot: seconds
	isoFrom   int             // slot from which ISO is doubled and the shutter halved; 0 for never
	bare      bool            // without EXIF
	faults    []string        // the same in words
}

type demoBody struct{ make, model, serial, prefix, folder string }

func demoDay() []demoShoot {
	rail := demoBody{"Stillspan", "Demo One", "1001", "RAIL", "STILL"}
	tripod := demoBody{"Stillspan", "Demo Two", "2002", "POLE", "SPARE"}
	day := func(h, m, s int) time.Time { return time.Date(2026, 5, 1, h, m, s, 0, time.UTC) }
	return []demoShoot{
		{
			name: "harbour dawn", start: day(5, 12, 4), intervalS: 5, reallyS: 5, frames: 150,
			folder: 100, number: 9931, body: rail,
			scene:    scene.Options{Seed: 11, ScatterEV: 0.06, LightEV: [2]float64{-3.4, -0.6}, Clouds: 0.35, PanPixelsPerFrame: 0.6, Noise: 0.015},
			notFired: []int{40, 41, 97}, lost: []int{58, 59}, late: map[int]float64{120: 3},
			faults: []string{"3 frames never fired", "2 files lost in the copy", "1 frame fired 3 s late", "numbers run over from 9999 to 0001"},
		},
		{
			name: "market noon", start: day(12, 30, 0), intervalS: 2, reallyS: 2, frames: 100,
			folder: 100, number: 212, body: tripod,
			scene:     scene.Options{Seed: 5, ScatterEV: 0.05, Clouds: 0.7, Noise: 0.01},
			truncated: []int{33}, empty: []int{71}, isoFrom: 60,
			faults: []string{"1 file cut short", "1 empty file", "ISO and shutter moved in mid-shoot"},
		},
		{
			name: "ridge dusk", start: day(19, 48, 30), intervalS: 10, reallyS: 10.04, frames: 120,
			folder: 101, number: 402, body: rail,
			scene:  scene.Options{Seed: 23, ScatterEV: 0.04, LightEV: [2]float64{-0.5, -5.5}, StepEV: 1.0 / 3, Follow: 0.75, Clouds: 0.4, Headlights: true, Noise: 0.02},
			faults: []string{"the interval ran 0.4 % long", "exposure opened by third stops as the light fell"},
		},
	}
}

func runDemo(ctx context.Context, c *call) error {
	// The pictures are small so that a day of them is drawn, checked and
	// rendered in under a minute on two cores.
	size := settings.StillSize.Of(c.stated)
	dir := "stillspan-demo"
	switch {
	case len(c.args) > 1:
		return usagef("unexpected argument %q: one folder at a time", c.args[1])
	case len(c.args) == 1:
		dir = c.args[0]
	}
	if err := (scene.Options{Width: size.W, Height: size.H, Frames: 1}).Validate(); err != nil {
		return usage(err)
	}
	if _, err := os.Lstat(dir); err == nil {
		return withHint(fmt.Errorf("%q is there already", dir), "another folder: stillspan demo DIR")
	} else if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("cannot make the demo: %w", err)
	}
	shoots := demoDay()
	if err := c.drawDay(ctx, dir, shoots, size.W, size.H); err != nil {
		return err
	}
	if err := writeDemoPlan(filepath.Join(dir, "plan.toml"), shoots); err != nil {
		return err
	}
	if !c.quiet() {
		fmt.Fprintf(c.stdout, "An invented day lies in %s. Planted faults:\n", filepath.Join(dir, "card"))
		for _, s := range shoots {
			for _, f := range s.faults {
				fmt.Fprintf(c.stdout, "  %-13s %s\n", s.name, f)
			}
		}
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	for _, run := range []struct {
		command
		line []string
	}{
		{checkCommand, []string{in("card"), "--plan", in("plan.toml"), "--html", in("check.html")}},
		{renderCommand, []string{in("card"), "--plan", in("plan.toml"), "-o", in("clips") + "/", "--html", in("report.html"),
			"--json", in("report.json"), "--csv", in("frames.csv"), "--quiet"}},
	} {
		if c.quiet() {
			run.line = append(run.line, "--quiet")
		} else {
			fmt.Fprintf(c.stdout, "\n$ stillspan %s %s\n\n", run.name, process.Quote(run.line...))
		}
		// The planted faults are findings, and meant to be.
		if err := c.call(ctx, run.command, run.line); err != nil && !errors.Is(err, errFindings) {
			return err
		}
	}
	if !c.quiet() {
		fmt.Fprintf(c.stdout, "clips are in %s, the report is %s\n", in("clips"), in("report.html"))
	}
	return nil
}

// drawDay draws all stills of the day.
func (c *call) drawDay(ctx context.Context, dir string, shoots []demoShoot, w, h int) error {
	total := 0
	for _, s := range shoots {
		total += s.frames
	}
	bar := c.progress("drawing stills", total)
	defer bar.finish()
	done := 0
	for _, s := range shoots {
		s.scene.Width, s.scene.Height, s.scene.Frames = w, h, s.frames
		sc := scene.New(s.scene)
		if err := s.drawAll(ctx, sc, filepath.Join(dir, "card")); err != nil {
			return err
		}
		done += s.frames
		bar.set(done, total)
	}
	return drawOdds(filepath.Join(dir, "card"), shoots, w, h)
}

// drawAll draws the stills of one shoot that came home.
func (s *demoShoot) drawAll(ctx context.Context, sc *scene.Scene, card string) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for _, shot := range s.shots() {
		g.Go(func() error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return s.draw(sc, shot, card)
		})
	}
	return g.Wait()
}

// demoShot is one still to be written.
type demoShot struct {
	slot int
	name string // relative to the card
	at   time.Time
}

// shots lists the stills that came home, with names and times as a camera
// gives them.
func (s *demoShoot) shots() []demoShot {
	var out []demoShot
	number, folder := s.number, s.folder
	for slot := range s.frames {
		if slices.Contains(s.notFired, slot) {
			continue
		}
		name := filepath.Join("DCIM", fmt.Sprintf("%03d%s", folder, s.body.folder), fmt.Sprintf("%s%04d.JPG", s.body.prefix, number))
		number++
		if number > 9999 {
			number, folder = 1, folder+1
		}
		if slices.Contains(s.lost, slot) {
			continue
		}
		t := float64(slot)*s.reallyS + s.late[slot]
		out = append(out, demoShot{slot, name, s.start.Add(time.Duration(t * float64(time.Second)))})
	}
	return out
}

// fields is what the camera says of one still.
func (s *demoShoot) fields(tr scene.Truth, shot demoShot) stamp.Fields {
	iso, shutter := tr.ISO, tr.ExposureS
	if s.isoFrom > 0 && shot.slot >= s.isoFrom {
		iso, shutter = 2*iso, shutter/2
	}
	return stamp.Fields{
		Make: s.body.make, Model: s.body.model, Serial: s.body.serial, Lens: "Demo 24 mm",
		DateTimeOriginal: shot.at.Format("2006:01:02 15:04:05"), OffsetTimeOriginal: "+02:00",
		ExposureS: shutter, FNumber: tr.FNumber, ISO: iso, FocalMM: 24,
		WhiteBalance: "manual", ExposureMode: "manual", Program: "manual",
	}
}

// draw writes one still with its EXIF, and damages it where that is planned.
func (s *demoShoot) draw(sc *scene.Scene, shot demoShot, card string) error {
	var fields *stamp.Fields
	if !s.bare {
		f := s.fields(sc.Truth(shot.slot), shot)
		fields = &f
	}
	data, err := stampedJPEG(sc.Frame(shot.slot), fields)
	if err != nil {
		return err
	}
	switch {
	case slices.Contains(s.truncated, shot.slot):
		data = data[:len(data)*3/5]
	case slices.Contains(s.empty, shot.slot):
		data = nil
	}
	return put(filepath.Join(card, shot.name), data)
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
func drawOdds(card string, shoots []demoShoot, w, h int) error {
	s := shoots[1]
	s.number, s.frames, s.start, s.reallyS = 190, 3, s.start.Add(-20*time.Minute), 31
	s.notFired, s.lost, s.truncated, s.empty, s.late, s.isoFrom = nil, nil, nil, nil, nil, 0
	s.scene.Width, s.scene.Height, s.scene.Frames = w, h, s.frames
	sc := scene.New(s.scene)
	for _, shot := range s.shots() {
		if err := s.draw(sc, shot, card); err != nil {
			return err
		}
	}
	folder := filepath.Join(card, "DCIM", "100SPARE")
	return errors.Join(
		put(filepath.Join(folder, "POLE0193.MOV"), []byte("not a still")),
		put(filepath.Join(folder, "POLE0192.XMP"), []byte("<x:xmpmeta/>")),
		put(filepath.Join(folder, "._POLE0192.JPG"), []byte{0}),
	)
}

func put(path string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return err
	}
	return os.WriteFile(path, data, 0o666)
}

func writeDemoPlan(path string, shoots []demoShoot) error {
	f := &plan.File{Rate: playback.Rate{Num: 24, Den: 1}}
	for _, s := range shoots {
		f.Shoots = append(f.Shoots, plan.Shoot{
			Name: s.name, From: s.start.Add(-10 * time.Minute), To: s.start.Add(10 * time.Minute),
			Frames: s.frames, IntervalS: s.intervalS, Rate: f.Rate,
		})
	}
	return writeFile(path, func(w io.Writer) error { return plan.Write(w, f) })
}
