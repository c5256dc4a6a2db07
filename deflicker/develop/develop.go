// Package develop makes pictures of raw stills with LibRaw's command-line
// tools, all frames of a sequence alike, and of HEIF with libheif's.
package develop

import (
	"context"
	"errors"
	"fmt"
	"image"
	"os/exec"
	"regexp"
	"strconv"
	"time"

	"stillspan/ingest/meta"
	"stillspan/internal/process"
)

// The tools, and the words for where they come from.
const (
	Tool       = "dcraw_emu"
	identifier = "raw-identify"
	Package    = "LibRaw's tools from the system's packages (Debian: apt-get install libraw-bin)"
)

// Available reports whether LibRaw's tools are installed.
func Available() bool {
	_, err1 := exec.LookPath(Tool)
	_, err2 := exec.LookPath(identifier)
	return err1 == nil && err2 == nil
}

// Settings are how every raw file of a sequence is developed.
type Settings struct {
	W, H int // pixels of a developed picture
	// Balance is the white balance, multipliers of R, G, B and G as LibRaw
	// prints them; empty where the camera states none: LibRaw's daylight then.
	Balance []string
	// Wide keeps the colours outside sRGB: the primaries are those of
	// icc.ProPhoto.
	Wide bool
}

var (
	imageSize = regexp.MustCompile(`(?m)^Image size:\s+(\d+) x (\d+)`)
	asShot    = regexp.MustCompile(`(?m)^\s*As shot\s+([0-9.]+)\s+([0-9.]+)\s+([0-9.]+)\s+([0-9.]+)`)
)

// ErrUnknown says that LibRaw does not know a raw file.
var ErrUnknown = errors.New("LibRaw does not know it")

// Identify asks LibRaw for the size and white balance of a sequence's first
// raw file. The error is ErrUnknown, or that of ctx. A size beyond
// meta.MaxPixels is none, since memory is made for it.
func Identify(parent context.Context, path string) (Settings, error) {
	var s Settings
	ctx, cancel := context.WithTimeout(parent, timeout)
	defer cancel()
	out, err := process.Text(ctx, identifier, "-v", plainName(path))
	if parent.Err() != nil {
		return s, parent.Err()
	}
	m := imageSize.FindStringSubmatch(out)
	if err != nil || m == nil {
		return s, ErrUnknown
	}
	s.W, _ = strconv.Atoi(m[1])
	s.H, _ = strconv.Atoi(m[2])
	if s.W < 1 || s.H < 1 || s.W > meta.MaxPixels/s.H {
		return Settings{}, ErrUnknown
	}
	if b := asShot.FindStringSubmatch(out); b != nil {
		s.Balance = b[1:]
		if g, _ := strconv.ParseFloat(s.Balance[3], 64); g == 0 {
			s.Balance[3] = s.Balance[1] // one green multiplier for both
		}
	}
	return s, nil
}

// Args develop one raw file to a 16-bit PPM on standard output: the transfer
// curve and, unless Wide, the primaries of sRGB, and nothing that would judge each frame by
// itself. Automatic brightening is off, highlights clip at a fixed white, the
// saturation level is not adjusted to the picture, and the picture is left
// lying as it was stored, since the orientation is applied later. With half
// set, four sensor pixels make one of the picture, which costs no
// interpolation.
func (s Settings) Args(path string, half bool) []string {
	primaries := "1"
	if s.Wide {
		primaries = "4"
	}
	a := []string{"-Z", "-", "-6", "-W", "-g", "2.4", "12.92", "-o", primaries, "-H", "0", "-c", "0", "-t", "0"}
	if s.Balance != nil {
		a = append(append(a, "-r"), s.Balance...)
	}
	if half {
		a = append(a, "-h")
	}
	return append(a, plainName(path))
}

// plainName keeps a file name from being taken for an option.
func plainName(path string) string {
	if len(path) > 0 && path[0] == '-' {
		return "./" + path
	}
	return path
}

// PPM develops one raw file in full: a header and W x H pixels of three 16-bit
// codes, highest byte first. The error says what LibRaw said.
func (s Settings) PPM(ctx context.Context, path string) ([]byte, error) {
	ppm, w, h, err := s.run(ctx, path, false)
	if err == nil && (w != s.W || h != s.H) {
		err = fmt.Errorf("it develops to %dx%d pixels, not to %dx%d like the first frame", w, h, s.W, s.H)
	}
	return ppm, err
}

// Half develops one raw file to about a quarter of its pixels, for measuring.
func (s Settings) Half(ctx context.Context, path string) (image.Image, error) {
	ppm, w, h, err := s.run(ctx, path, true)
	if err != nil {
		return nil, err
	}
	img := image.NewRGBA64(image.Rect(0, 0, w, h))
	from := ppm[len(ppm)-6*w*h:]
	for i := range w * h {
		to := img.Pix[8*i : 8*i+8]
		copy(to, from[6*i:6*i+6])
		to[6], to[7] = 0xFF, 0xFF
	}
	return img, nil
}

// libRawBytes is more than LibRaw takes for a pixel: its codes, four of a
// picture in work, three of one that is done, and its interpolation.
const libRawBytes = 48

// timeout ends a tool that hangs on a broken file.
const timeout = 5 * time.Minute

// ending is what the end of a tool means: err is what Run gave, under ctx, which
// is parent with the timeout.
func ending(parent, ctx context.Context, library string, err error, t *process.Tail) error {
	switch last := t.Last(); {
	case parent.Err() != nil:
		return parent.Err()
	case ctx.Err() != nil:
		return fmt.Errorf("%s did not come to an end", library)
	case err != nil && last != "":
		return fmt.Errorf("%s: %s", library, last)
	case err != nil:
		return fmt.Errorf("%s: %w", library, err)
	}
	return nil
}

// run develops a file to a PPM of w x h pixels.
func (s Settings) run(parent context.Context, path string, half bool) (ppm []byte, w, h int, err error) {
	ctx, cancel := context.WithTimeout(parent, timeout)
	defer cancel()
	cmd, t := process.Command(ctx, Tool, s.Args(path, half)...)
	// The picture that was promised, and a little for its header.
	pixels := s.W * s.H
	if half {
		pixels = (s.W/2 + 1) * (s.H/2 + 1)
	}
	out := process.Output{Limit: 6*pixels + 64}
	out.Reserve()
	cmd.Stdout = &out
	if err := ending(parent, ctx, "LibRaw", process.Run(cmd, process.Memory(libRawBytes*int64(s.W)*int64(s.H))), t); err != nil {
		return nil, 0, 0, err
	}
	ppm = out.Bytes()
	if n, _ := fmt.Sscanf(string(ppm[:min(len(ppm), 40)]), "P6\n%d %d\n65535\n", &w, &h); n != 2 || w < 1 || h < 1 || len(ppm) <= 6*w*h || len(ppm) > 6*w*h+40 {
		if last := t.Last(); last != "" {
			return nil, 0, 0, fmt.Errorf("LibRaw: %s", last)
		}
		return nil, 0, 0, errors.New("LibRaw made no picture of it")
	}
	return ppm, w, h, nil
}
