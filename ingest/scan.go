package ingest

import (
	"cmp"
	"context"
	"slices"
	"sync/atomic"

	"golang.org/x/sync/errgroup"
)

// Scan reads the stills under root and puts them in order. Findings about
// single files are in the Dump; the error is for work that cannot go on.
// progress, unless nil, is called as headers are read, from several goroutines
// but never twice at once for the same count; it must not block.
func Scan(ctx context.Context, root string, opt Options, progress func(done, total int)) (*Dump, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	w, err := walk(ctx, root)
	if err != nil {
		return nil, err
	}
	w.preferRaw = opt.PreferRaw
	frames := w.pair()
	words := make([]map[string]string, opt.Workers)
	err = each(ctx, frames, opt.Workers, progress, func(worker int, f *Frame) {
		readFrame(f, opt.Thorough)
		if words[worker] == nil {
			words[worker] = make(map[string]string)
		}
		share(words[worker], &f.Facts)
	})
	if err != nil {
		return nil, err
	}
	d := &Dump{Root: root, FolderGaps: folderGaps(frames, w.movies)}
	frames, again := w.joinShots(frames)
	err = each(ctx, frames, opt.Workers, nil, func(_ int, f *Frame) {
		if f.Raw != "" || f.Picture != "" {
			readCompanion(f, opt.Thorough)
		}
	})
	if err != nil {
		return nil, err
	}
	for _, list := range [][]Frame{frames, again} {
		found := bodies(list, w.movies)
		for i, files := range accountFiles(found, opt) {
			d.addBody(found[i].frames, files, found[i].serial, opt)
		}
	}
	d.doubtLoose()
	d.Unreadable = append(d.Unreadable, w.broken...)
	slices.SortStableFunc(d.Sequences, func(a, b Sequence) int {
		return cmp.Or(a.Frames[0].Facts.Taken.Compare(b.Frames[0].Facts.Taken), cmp.Compare(a.Frames[0].Name, b.Frames[0].Name))
	})
	nameSequences(d.Sequences)
	d.NumberGaps = d.numberGaps()
	for _, list := range [][]Frame{d.Loose, d.Unreadable} {
		slices.SortStableFunc(list, func(a, b Frame) int { return cmp.Compare(a.Name, b.Name) })
	}
	for kind, n := range w.ignored {
		d.Ignored = append(d.Ignored, Ignored{kind, n})
	}
	slices.SortFunc(d.Ignored, func(a, b Ignored) int { return cmp.Compare(a.Kind, b.Kind) })
	return d, nil
}

// each hands all frames to do with a fixed number of workers. Each worker writes
// only the frames it draws, so their order stays.
func each(ctx context.Context, frames []Frame, workers int, progress func(done, total int), do func(worker int, f *Frame)) error {
	group, ctx := errgroup.WithContext(ctx)
	var next, done atomic.Int64
	for worker := range min(workers, max(1, len(frames))) {
		group.Go(func() error {
			for {
				if err := ctx.Err(); err != nil {
					return err
				}
				i := int(next.Add(1)) - 1
				if i >= len(frames) {
					return nil
				}
				do(worker, &frames[i])
				if n := done.Add(1); progress != nil {
					progress(int(n), len(frames))
				}
			}
		})
	}
	return group.Wait()
}
