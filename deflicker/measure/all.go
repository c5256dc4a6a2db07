package measure

import (
	"context"

	"golang.org/x/sync/errgroup"
)

// result is what one worker found.
type result struct {
	grid    *Grid
	finding *Finding
}

// All measures the stills in with Options.Workers workers and hands each
// result to each, in order, from one goroutine. At most two stills per worker
// are in flight. A still's trouble is its Finding; an error of each, or ctx at
// its end, stops the work and is returned.
func All(ctx context.Context, in []Input, opt Options, each func(i int, g *Grid, f *Finding) error) error {
	if err := opt.Validate(); err != nil {
		return err
	}
	return all(ctx, in, opt.filled(), each)
}

// all keeps the results in order by a queue of one-place channels, one a
// still: as long as its bound, so that no more stills are in flight.
func all(ctx context.Context, in []Input, opt Options, each func(i int, g *Grid, f *Finding) error) error {
	type job struct {
		in  Input
		out chan result
	}
	group, ctx := errgroup.WithContext(ctx)
	jobs := make(chan job)
	queue := make(chan chan result, 2*opt.Workers)
	group.Go(func() error {
		defer close(jobs)
		defer close(queue)
		for _, still := range in {
			out := make(chan result, 1)
			select {
			case queue <- out:
			case <-ctx.Done():
				return context.Cause(ctx)
			}
			select {
			case jobs <- job{still, out}:
			case <-ctx.Done():
				return context.Cause(ctx)
			}
		}
		return nil
	})
	for range opt.Workers {
		group.Go(func() error {
			r := newReader(opt)
			for j := range jobs {
				g, f, err := r.measure(ctx, j.in)
				if err != nil {
					return err
				}
				j.out <- result{g, f}
			}
			return nil
		})
	}
	group.Go(func() error {
		i := 0
		for out := range queue {
			select {
			case got := <-out:
				if err := each(i, got.grid, got.finding); err != nil {
					return err
				}
				i++
			case <-ctx.Done():
				return context.Cause(ctx)
			}
		}
		return nil
	})
	return group.Wait()
}
