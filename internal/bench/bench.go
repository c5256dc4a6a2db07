// Package bench is what the benches share.
package bench

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"

	"stillspan/internal/scene"
)

// Program builds stillspan into dir and returns its path.
func Program(ctx context.Context, dir string) (string, error) {
	path := filepath.Join(dir, "stillspan")
	if out, err := exec.CommandContext(ctx, "go", "build", "-o", path, "stillspan/cmd/stillspan").CombinedOutput(); err != nil {
		return "", fmt.Errorf("cannot build the program: %w\n%s", err, out)
	}
	return path, nil
}

// Stills writes n JPEGs of w x h pixels by a pattern of ffmpeg's, numbered from
// start on: an invented landscape brought to size, with noise until one of 24
// megapixels has about 8 MB as a camera's has.
func Stills(ctx context.Context, pattern string, start, n, w, h int) error {
	s := scene.New(scene.Options{Width: 1500, Height: 1000, Frames: n, Seed: 7, ScatterEV: 0.06, Clouds: 0.5, Noise: 0.01})
	cmd := exec.CommandContext(ctx, "ffmpeg", "-hide_banner", "-loglevel", "error", "-f", "rawvideo", "-pix_fmt", "rgba", "-s", "1500x1000", "-i", "pipe:0",
		"-vf", fmt.Sprintf("scale=%d:%d:out_color_matrix=bt601:out_range=pc,format=yuvj422p,noise=c0s=18:c1s=8:c2s=8:allf=t:all_seed=7", w, h),
		"-q:v", "3", "-start_number", fmt.Sprint(start), pattern)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	for t := range n {
		if _, err := in.Write(s.Frame(t).Pix); err != nil {
			break // ffmpeg's own error says more
		}
	}
	in.Close()
	if err := cmd.Wait(); err != nil {
		return fmt.Errorf("cannot make stills: %w", err)
	}
	return nil
}
