package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"

	"stillspan/internal/srgb"
)

// linear is the linear light of 16-bit sRGB codes.
var linear = func() (t [1 << 16]float64) {
	for i := range t {
		t[i] = srgb.Decode(float64(i) / (1<<16 - 1))
	}
	return t
}()

// clip measures the decoded frames of a clip. They are decoded to 16 bits:
// colour flicker is smaller than what 8 bits would round away.
func (q *sequence) clip(ctx context.Context, clip string) ([]light, error) {
	return q.decode(ctx, 1, "-i", clip, "-vf", "scale=in_color_matrix=bt709:in_range=tv:flags=accurate_rnd+full_chroma_int")
}

// filters are settings of ffmpeg's deflicker filter, size and mode; the first
// is its default. In the versions tried, geometric and power means overflow
// from size 18 on and the median compares addresses; other means were
// never the best in longer trials.
var filters = []string{"size=5:mode=am", "size=31:mode=am", "size=61:mode=am", "size=129:mode=am"}

// shot measures the stills as the camera wrote them.
func (q *sequence) shot(ctx context.Context) ([]light, error) { return q.stillsThrough(ctx, "null", 0) }

// filtered measures the stills as ffmpeg's filter leaves them, without any
// encoding, which favours it.
func (q *sequence) filtered(ctx context.Context, filter string) ([]light, error) {
	return q.stillsThrough(ctx, "deflicker="+filter, -1)
}

func (q *sequence) stillsThrough(ctx context.Context, filter string, half int) ([]light, error) {
	chain := filter + ",scale=in_color_matrix=bt601:in_range=pc:flags=accurate_rnd+full_chroma_int"
	if q.kind.turned {
		chain += ",transpose=clock"
	}
	return q.decode(ctx, half, "-noautorotate", "-start_number", "1", "-i", filepath.Join(q.stills(), "FRAM%04d.JPG"), "-vf", chain)
}

// decode measures frames and puts them into a half of the strip, -1 for none.
func (q *sequence) decode(ctx context.Context, half int, input ...string) ([]light, error) {
	var got []light
	pixels := q.w * q.h
	err := rawFrames(ctx, 2*3*pixels, func(frame []byte) {
		t := len(got)
		if t >= len(q.tones) {
			got = append(got, light{})
			return
		}
		sample := func(i, c int) uint16 {
			plane := [3]int{2, 0, 1}[c] // R, G, B of planes G, B, R
			return binary.LittleEndian.Uint16(frame[2*(plane*pixels+i):])
		}
		got = append(got, q.sum(t, func(i, c int) float64 { return linear[sample(i, c)] }))
		q.strip.add(half, t, q.h, func(i, c int) uint8 { return uint8(sample(i, c) >> 8) })
	}, append(input, "-pix_fmt", "gbrp16le")...)
	if err == nil && len(got) != len(q.tones) {
		err = fmt.Errorf("ffmpeg %v: %d frames, want %d", input, len(got), len(q.tones))
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
	r := bufio.NewReaderSize(pipe, 1<<20)
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
