package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"time"

	"stillspan/internal/bench"
	"stillspan/internal/stamp"
)

// unique is how many different pictures a set holds; the rest repeat them
// under other times and numbers.
const unique = 16

// makeSet draws stills and stamps times 5 s apart. It returns all bytes and the stills' size.
func makeSet(ctx context.Context, dir string, frames int, megapixels float64) (total int64, w, h int, err error) {
	h = int(math.Sqrt(megapixels*1e6/1.5)) / 16 * 16
	w = h * 3 / 2
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return 0, 0, 0, err
	}
	n := min(unique, frames)
	if err := bench.Stills(ctx, filepath.Join(dir, "%d.tmp.jpg"), 0, n, w, h); err != nil {
		return 0, 0, 0, err
	}
	start := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	for t := range frames {
		b, err := os.ReadFile(filepath.Join(dir, fmt.Sprintf("%d.tmp.jpg", t%n)))
		if err != nil {
			return 0, 0, 0, err
		}
		b, err = stamp.JPEG(b, stamp.Fields{
			Make: "Invented", Model: "One", Serial: "1", DateTimeOriginal: start.Add(time.Duration(t) * 5 * time.Second).Format("2006:01:02 15:04:05"),
			ExposureS: 0.01, FNumber: 8, ISO: 100, FocalMM: 24, Orientation: 1,
		})
		if err != nil {
			return 0, 0, 0, err
		}
		total += int64(len(b))
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("IMG_%04d.JPG", t+1)), b, 0o666); err != nil {
			return 0, 0, 0, err
		}
	}
	for t := range n {
		if err := os.Remove(filepath.Join(dir, fmt.Sprintf("%d.tmp.jpg", t))); err != nil {
			return 0, 0, 0, err
		}
	}
	return total, w, h, nil
}
