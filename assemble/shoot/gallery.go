package shoot

import (
	"bytes"
	"context"
	"image"
	"image/jpeg"
	"slices"
	"time"

	"stillspan/assemble"
	"stillspan/internal/files"
	"stillspan/internal/picture"
	"stillspan/internal/process"
)

// Still is a frame that is shown by itself because something is wrong with it.
type Still struct {
	Frame int         // index in the sequence
	Small image.Image // nil where nothing of it can be shown
	JPEG  []byte      // at full size; nil alike
}

// Most of a gallery: frames, the pixels of one and the bytes of its JPEG.
const (
	galleryFrames = 24
	galleryPixels = 200 << 20
	galleryBytes  = 96 << 20 // of all together
	gallerySmall  = 240
)

// TakeGallery takes the pictures of frames that are damaged, and of those that
// TakeStrip took for findings about pictures, as much of each as can be decoded.
func (s *Shoot) TakeGallery(ctx context.Context) error {
	var list []int
	for k := range s.Sequence.Frames {
		if !s.Sound(k) {
			list = append(list, k)
		}
	}
	for i := range s.Pictures.Exhibits {
		if k := s.Measured.Seen.Findings[i].Shown; !slices.Contains(list, k) {
			list = append(list, k)
		}
	}
	slices.Sort(list)
	room := galleryBytes
	for _, k := range list[:min(len(list), galleryFrames)] {
		still := Still{Frame: k}
		if b := s.whatIsLeft(ctx, k, room); b != nil {
			if img, err := jpeg.Decode(bytes.NewReader(b)); err == nil {
				still.JPEG, still.Small = b, picture.Fit(img, gallerySmall)
				room -= len(b)
			}
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		s.Pictures.Gallery = append(s.Pictures.Gallery, still)
	}
	return nil
}

// whatIsLeft is as much of a still as ffmpeg can make of it, as a JPEG; nil for
// nothing, or for more than room bytes.
func (s *Shoot) whatIsLeft(ctx context.Context, k, room int) []byte {
	f := &s.Sequence.Frames[k]
	pixels := int64(f.Facts.Width) * int64(f.Facts.Height)
	if f.Facts.Raw || pixels == 0 || pixels > galleryPixels || !slices.Contains([]string{"jpeg", "png", "tiff"}, f.Facts.Format) {
		return nil
	}
	file, _, err := files.Open(f.Path)
	if err != nil {
		return nil // a pipe may have taken its place
	}
	file.Close()
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	cmd, _ := assemble.FFmpeg(ctx, "-err_detect", "ignore_err",
		"-f", "image2", "-pattern_type", "none", "-i", "file:"+f.Path, "-frames:v", "1", "-q:v", "3", "-map_metadata", "-1", "-f", "mjpeg", "pipe:1")
	out := process.Output{Limit: room}
	cmd.Stdout = &out
	if process.Run(cmd, process.Memory(16*pixels)) != nil && len(out.Bytes()) == 0 {
		return nil
	}
	return out.Bytes()
}
