package main

import (
	"context"
	"image/jpeg"
	"os"
	"path/filepath"

	"stillspan/assemble"
	"stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/ingest/meta"
)

// runCore makes a clip of a folder's JPEGs, in the order of their names:
// measure, smooth, assemble.
func runCore(ctx context.Context, dir, out string, w, h int) error {
	names, err := filepath.Glob(filepath.Join(dir, "*.JPG"))
	if err != nil {
		return err
	}
	in := make([]measure.Input, len(names))
	job := assemble.Job{Options: assemble.DefaultOptions()}
	job.Out, job.Width, job.Height = out, w, h
	labels := make([]float64, len(names))
	for i, name := range names {
		info, err := os.Stat(name)
		if err != nil {
			return err
		}
		f, err := os.Open(name)
		if err != nil {
			return err
		}
		size, err := jpeg.DecodeConfig(f)
		f.Close()
		if err != nil {
			return err
		}
		facts := meta.Facts{Format: "jpeg", Width: size.Width, Height: size.Height, Orientation: 1}
		in[i] = measure.Input{Path: name, Facts: facts, ModTime: info.ModTime(), Size: info.Size()}
		job.Sources = append(job.Sources, assemble.Source{Path: name, Format: "jpeg", Width: size.Width, Height: size.Height, Orientation: 1})
	}
	meter := deflicker.NewMeter(deflicker.MeterOptions{})
	err = measure.All(ctx, in, measure.Options{NoCache: true}, func(_ int, g *measure.Grid, _ *measure.Finding) error {
		meter.Add(g.Light())
		return nil
	})
	if err != nil {
		return err
	}
	r, err := deflicker.Solve(meter.Curve(), labels, deflicker.DefaultOptions())
	if err != nil {
		return err
	}
	for i := range job.Sources {
		job.Sources[i].CorrectionEV = r.CorrectionEV[i]
	}
	p, err := assemble.Prepare(ctx, job)
	if err != nil {
		return err
	}
	_, err = p.Run(ctx, nil)
	return err
}
