package assemble

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"stillspan/internal/files"
)

// errChanged says that a still is no longer the file that was measured.
var errChanged = errors.New("it is not the file that was measured, by its size and times")

// changed tells whether a still is no longer the file that was measured: asked
// once it was read, it tells what became of it before or on the way.
func (s *Source) changed() error {
	if s.Was == (files.Identity{}) {
		return nil
	}
	info, err := os.Stat(s.Path)
	if err == nil && info.Mode().IsRegular() && files.IdentityOf(info).Same(s.Was) {
		return nil
	}
	why := errChanged
	if err != nil {
		why = fmt.Errorf("%w: %w", errChanged, files.Cause(err))
	}
	return &Error{
		Text: fmt.Sprintf("%q changed while the clip was made", s.Path),
		Try:  "run again when nothing writes to the folder any more", Err: why,
	}
}

// inputWatch looks after the stills that are read next whenever no frame comes:
// where a pipe was put in the place of one, none ever would.
type inputWatch struct {
	p      *Pipeline
	mu     sync.Mutex
	done   int // frames that came
	found  error
	stop   chan struct{}
	ended  chan struct{}
	cancel func()
}

// stall is how long no frame may come before the next stills are looked at, and
// readAhead how many of them, which is more than a decoder opens ahead.
const (
	stall     = 2 * time.Second
	readAhead = 64
)

func (p *Pipeline) watchInputs(ctx context.Context, cancel func()) *inputWatch {
	w := &inputWatch{p: p, stop: make(chan struct{}), ended: make(chan struct{}), cancel: cancel}
	go w.run(ctx)
	return w
}

func (w *inputWatch) at(done int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.done = done
}

func (w *inputWatch) run(ctx context.Context) {
	defer close(w.ended)
	tick := time.NewTicker(stall)
	defer tick.Stop()
	last := -1
	for {
		select {
		case <-w.stop:
			return
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		w.mu.Lock()
		done := w.done
		w.mu.Unlock()
		if done != last {
			last = done
			continue
		}
		sources := w.p.job.Sources
		for i := done; i < min(done+readAhead, len(sources)); i++ {
			if err := sources[i].changed(); err != nil {
				w.found = err
				w.cancel()
				return
			}
		}
	}
}

// end stops the watch and returns what it found.
func (w *inputWatch) end() error {
	close(w.stop)
	<-w.ended
	return w.found
}
