package assemble

import (
	"context"
	"errors"
	"fmt"
	"io"

	"golang.org/x/sync/errgroup"

	"stillspan/deflicker/develop"
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

// Develops reports whether raw stills are developed, and not shown by their
// previews, on this machine.
func (o Options) Develops() bool {
	if o.Raw == RawAuto {
		return o.Preset != "proof" && develop.Available()
	}
	return o.Raw == RawDevelop
}

// identify settles how the sequence's raw files are developed.
func identify(ctx context.Context, path string) (develop.Settings, error) {
	d, err := develop.Identify(ctx, path)
	if errors.Is(err, develop.ErrUnknown) {
		err = &Error{Text: fmt.Sprintf("LibRaw does not know the raw file %q", path), Try: "its embedded previews, or a newer LibRaw", Err: err}
	}
	return d, err
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
	ppm, err := p.raw.PPM(ctx, path)
	if err != nil && ctx.Err() == nil {
		err = &Error{Text: fmt.Sprintf("cannot develop %q: %s", path, err), Try: "leaving it out", Err: err}
	}
	return ppm, err
}
