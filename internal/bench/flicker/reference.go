package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
)

// settings of ffmpeg's deflicker filter that are tried; the first is its
// default. In the versions tried, geometric and power means overflow from size
// 18 on and the median compares addresses; harmonic and cubic means were never
// the best in longer trials.
var settings = []struct {
	size int
	mode string
}{
	{5, "am"}, {31, "am"}, {61, "am"}, {129, "am"}, {129, "qm"},
}

// reference runs ffmpeg's filter over the stills and measures its decoded
// frames, without any encoding in between, which favours it.
func (q *sequence) reference(ctx context.Context, out *outcome) error {
	for i, s := range settings {
		got, err := q.filtered(ctx, fmt.Sprintf("deflicker=size=%d:mode=%s", s.size, s.mode))
		if err != nil {
			return err
		}
		left, trend := split(errorEV(got, q.wanted))
		if i == 0 {
			out.ffDefault = left
		}
		if i == 0 || left < out.ffBest {
			out.ffBest, out.ffTrend = left, trend
			out.ffSetting = fmt.Sprintf("%d/%s", s.size, s.mode)
		}
	}
	return nil
}

func (q *sequence) filtered(ctx context.Context, filter string) ([][3]float64, error) {
	var got [][3]float64
	err := rawFrames(ctx, 3*width*height, func(rgb []byte) {
		if len(got) < q.n {
			got = append(got, means(rgb, 3, q.still[len(got)]))
		}
	}, "-framerate", "24", "-start_number", "0", "-i", filepath.Join(q.dir, "%06d.jpg"),
		"-vf", filter+",scale=in_color_matrix=bt601:in_range=pc:flags=accurate_rnd,format=rgb24")
	if err == nil && len(got) != q.n {
		err = fmt.Errorf("ffmpeg %s: %d frames, want %d", filter, len(got), q.n)
	}
	return got, err
}

// rawFrames runs ffmpeg with args and hands on its raw frames of size bytes.
func rawFrames(ctx context.Context, size int, each func(frame []byte), args ...string) error {
	args = append([]string{"-hide_banner", "-nostdin", "-loglevel", "error", "-threads", "1"}, args...)
	cmd := exec.CommandContext(ctx, "ffmpeg", append(args, "-f", "rawvideo", "pipe:1")...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	buf := make([]byte, size)
	r := bufio.NewReader(pipe)
	for {
		if _, err := io.ReadFull(r, buf); err != nil {
			break
		}
		each(buf)
	}
	if err := cmd.Wait(); err != nil {
		return fmt.Errorf("ffmpeg %v: %w: %s", args, err, stderr.String())
	}
	return nil
}
