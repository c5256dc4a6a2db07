package measure

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"strings"
	"time"

	"golang.org/x/image/tiff"

	"stillspan/internal/process"
)

// fullPixels bounds what Go's own decoders are given: at 8 bytes a pixel,
// their costliest, 256 MB. Larger pictures go to ffmpeg, which shrinks them
// on its side.
const fullPixels = 1 << 25

// decodeImage decodes a whole picture of a format that package image knows: JPEG,
// PNG or TIFF. ok is false where that is left to ffmpeg.
func decodeImage(data []byte, maxPixels int64) (img image.Image, ok bool, err error) {
	// The decoders are hardened, but a panic must cost no more than a frame.
	defer func() {
		if p := recover(); p != nil {
			img, ok, err = nil, true, fmt.Errorf("its decoder failed: %v", p)
		}
	}()
	c, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, !isUnsupported(err), err
	}
	if pixels := int64(c.Width) * int64(c.Height); pixels > maxPixels {
		return nil, true, fmt.Errorf("%dx%d is more than %d million pixels", c.Width, c.Height, maxPixels/1e6)
	} else if pixels > fullPixels {
		return nil, false, nil
	}
	img, _, err = image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, !isUnsupported(err), err
	}
	return img, true, nil
}

// isUnsupported reports whether err says that the picture is in order, but of
// a kind that this decoder does not read.
func isUnsupported(err error) bool {
	switch err.(type) {
	case jpeg.UnsupportedError, png.UnsupportedError, tiff.UnsupportedError:
		return true
	}
	return false
}

// ffmpegArgs are the arguments that make ffmpeg write path's first picture to
// its standard output as a PNG of 16 bits, as stored (not turned upright). A
// picture with more than MaxCells pixels along its longer side is reduced to
// the means of blocks of 8 x 8.
func ffmpegArgs(path string, maxPixels int64) []string {
	large := fmt.Sprintf("gt(max(iw,ih),%d)", MaxCells)
	scale := fmt.Sprintf("scale=w='if(%s,ceil(iw/8),iw)':h='if(%s,ceil(ih/8),ih)':flags=area+accurate_rnd+full_chroma_int", large, large)
	return []string{
		"-v", "error", "-nostdin", "-noautorotate",
		"-max_pixels", fmt.Sprint(maxPixels),
		"-i", "file:" + path,
		"-frames:v", "1", "-an", "-sn", "-dn",
		"-vf", scale + ",format=rgb48be",
		"-c:v", "png", "-compression_level", "1", "-f", "image2pipe", "pipe:1",
	}
}

// ffmpegBytes bounds the largest picture that ffmpegArgs can give.
const ffmpegBytes = 64 << 20

// ffmpegPixelBytes is more than ffmpeg takes for a pixel, JPEG XL's decoder with
// its floating-point planes included.
const ffmpegPixelBytes = 64

// ffmpegTimeout ends an ffmpeg that hangs on a broken still.
const ffmpegTimeout = 2 * time.Minute

// ffmpegImage decodes path with ffmpeg, reduced as ffmpegArgs says.
func ffmpegImage(ctx context.Context, program, path string, pixels, maxPixels int64) (image.Image, error) {
	ctx, cancel := context.WithTimeout(ctx, ffmpegTimeout)
	defer cancel()
	cmd, t := process.Command(ctx, program, ffmpegArgs(path, maxPixels)...)
	out := process.Output{Limit: ffmpegBytes}
	cmd.Stdout = &out
	err := process.Run(cmd, process.Memory(ffmpegPixelBytes*pixels))
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if err != nil {
		if line := t.Last(); line != "" {
			err = fmt.Errorf("ffmpeg: %s", strings.TrimPrefix(line, "file:"+path+": "))
		}
		return nil, err
	}
	img, err := png.Decode(bytes.NewReader(out.Bytes()))
	if err != nil {
		return nil, fmt.Errorf("ffmpeg found no picture in it")
	}
	return img, nil
}
