package assemble

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os/exec"
	"regexp"
	"strconv"

	"golang.org/x/sync/errgroup"
)

// RawMode says where the pixels of raw files come from.
type RawMode string

// What can be made of raw files.
const (
	// RawAuto develops them, but takes previews for proofs and where LibRaw
	// is not installed.
	RawAuto    RawMode = ""
	RawDevelop RawMode = "develop"
	RawPreview RawMode = "preview" // the largest embedded JPEG
)

// LibRaw's command-line tools, from its packages.
const (
	developer  = "dcraw_emu"
	identifier = "raw-identify"
	rawPackage = "LibRaw's tools from the system's packages (Debian: apt-get install libraw-bin)"
)

func hasDeveloper() bool {
	_, err1 := exec.LookPath(developer)
	_, err2 := exec.LookPath(identifier)
	return err1 == nil && err2 == nil
}

// development is how every raw file of a sequence is developed.
type development struct {
	w, h int
	// balance is the white balance of the first frame, multipliers of R, G, B
	// and G; empty where the camera states none: LibRaw's daylight then.
	balance []string
}

var (
	imageSize = regexp.MustCompile(`(?m)^Image size:\s+(\d+) x (\d+)`)
	asShot    = regexp.MustCompile(`(?m)^\s*As shot\s+([0-9.]+)\s+([0-9.]+)\s+([0-9.]+)\s+([0-9.]+)`)
)

// identify asks LibRaw for the size and white balance of the first raw file.
func identify(ctx context.Context, path string) (development, error) {
	var d development
	cmd, t := process(ctx, identifier, "-v", plainName(path))
	out, err := cmd.Output()
	m := imageSize.FindSubmatch(out)
	if err != nil || m == nil {
		if err := failure(ctx, "", err, t); ctx.Err() != nil {
			return d, err
		}
		return d, &Error{Text: fmt.Sprintf("LibRaw does not know the raw file %q", path), Try: "its embedded previews, or a newer LibRaw", Err: err}
	}
	d.w, _ = strconv.Atoi(string(m[1]))
	d.h, _ = strconv.Atoi(string(m[2]))
	if b := asShot.FindSubmatch(out); b != nil {
		for _, v := range b[1:] {
			d.balance = append(d.balance, string(v))
		}
		if g, _ := strconv.ParseFloat(d.balance[3], 64); g == 0 {
			d.balance[3] = d.balance[1] // one green multiplier for both
		}
	}
	return d, nil
}

// args develop one raw file to a 16-bit PPM on standard output: sRGB
// primaries and transfer curve, and nothing that would judge each frame by
// itself. Automatic brightening is off, highlights clip at a fixed white, the
// saturation level is not adjusted to the picture, and the picture is left
// lying as it was stored, since the orientation is applied later.
func (d development) args(path string) []string {
	a := []string{"-Z", "-", "-6", "-W", "-g", "2.4", "12.92", "-o", "1", "-H", "0", "-c", "0", "-t", "0"}
	if d.balance != nil {
		a = append(append(a, "-r"), d.balance...)
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

// developAhead is how many raw files are developed at once, and with the one
// being handed on, all the developed pictures in memory.
const developAhead = 2

// feed develops the job's raw files and writes them to out in order.
func (p *Pipeline) feed(ctx context.Context, out io.WriteCloser) error {
	g, ctx := errgroup.WithContext(ctx)
	queue := make(chan chan []byte, developAhead-1)
	g.Go(func() error {
		defer close(queue)
		for _, s := range p.job.Sources {
			done := make(chan []byte, 1)
			select {
			case queue <- done:
			case <-ctx.Done():
				return ctx.Err()
			}
			g.Go(func() error {
				ppm, err := p.develop(ctx, s.Path)
				if err != nil {
					return err
				}
				done <- ppm
				return nil
			})
		}
		return nil
	})
	g.Go(func() error {
		defer out.Close()
		for done := range queue {
			select {
			case ppm := <-done:
				if _, err := out.Write(ppm); err != nil {
					return fmt.Errorf("%w: %w", errStopped, err)
				}
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	return g.Wait()
}

func (p *Pipeline) develop(ctx context.Context, path string) ([]byte, error) {
	cmd, t := process(ctx, developer, p.raw.args(path)...)
	var buf bytes.Buffer
	// A PPM of the size that was promised, and a little for its header.
	buf.Grow(6*p.raw.w*p.raw.h + 64)
	cmd.Stdout = &buf
	if err := cmd.Run(); err != nil {
		return nil, failure(ctx, fmt.Sprintf("LibRaw cannot develop %q", path), err, t)
	}
	if head := fmt.Sprintf("P6\n%d %d\n65535\n", p.raw.w, p.raw.h); !bytes.HasPrefix(buf.Bytes(), []byte(head)) {
		return nil, &Error{
			Text: fmt.Sprintf("%q does not develop to %dx%d pixels like the first frame: %s", path, p.raw.w, p.raw.h, t.last()),
			Try:  "leaving it out",
		}
	}
	return buf.Bytes(), nil
}
