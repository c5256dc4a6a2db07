package measure

import (
	"context"
	"runtime/debug"

	"golang.org/x/sync/errgroup"
)

// result is what one worker found.
type result struct {
	grid    *Grid
	finding *Finding
}

// All measures the stills of one sequence with Options.Workers workers and
// hands each result to each, in order, from one goroutine. At most three
// stills per worker are in flight. A still's trouble is its Finding; an error
// of each, or ctx at its end, stops the work and is returned.
//
// Unless Options.Source names one, all stills are measured from one source, as
// a change of source from frame to frame would look like flicker: previews,
// where every still has one and a trial on a few finds them true to the main
// pictures, otherwise the main pictures. Grid.Source says which.
func All(ctx context.Context, in []Input, opt Options, each func(i int, g *Grid, f *Finding) error) error {
	if err := opt.Validate(); err != nil {
		return err
	}
	opt = opt.filled()
	c := openCache(opt)
	defer c.prune()
	defer debug.FreeOSMemory() // the readers' stills, before an encoder needs as much
	source, err := choose(ctx, in, opt, c)
	if err != nil {
		return err
	}
	jobs := make([]job, len(in))
	for i := range in {
		jobs[i] = job{in[i], source}
	}
	return all(ctx, jobs, opt, c, each)
}

// job is a still and what of it to measure.
type job struct {
	in     Input
	source string
}

// all keeps the results in order by a queue of one-place channels, one a
// still: its bound is that of the stills in flight.
func all(ctx context.Context, todo []job, opt Options, c *cache, each func(i int, g *Grid, f *Finding) error) error {
	type order struct {
		job
		out chan result
	}
	group, ctx := errgroup.WithContext(ctx)
	orders := make(chan order)
	queue := make(chan chan result, 2*opt.Workers)
	group.Go(func() error {
		defer close(orders)
		defer close(queue)
		for _, j := range todo {
			out := make(chan result, 1)
			select {
			case queue <- out:
			case <-ctx.Done():
				return context.Cause(ctx)
			}
			select {
			case orders <- order{j, out}:
			case <-ctx.Done():
				return context.Cause(ctx)
			}
		}
		return nil
	})
	for range min(opt.Workers, len(todo)) {
		group.Go(func() error {
			r := newReader(opt, c)
			for o := range orders {
				g, f, err := r.measure(ctx, o.in, o.source)
				if err != nil {
					return err
				}
				o.out <- result{g, f}
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
