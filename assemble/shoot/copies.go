package shoot

import (
	"context"
	"errors"

	"stillspan/ingest/copycheck"
)

// Copied says in how many verified copies each still of a shoot lies.
type Copied struct {
	// Frames are the copies of each frame, of a pair those of the file with
	// fewer: 0 where the list does not name its content, -1 where a file cannot
	// be read.
	Frames []int
}

// CountCopies reads every file of the shoot to its end and looks it up in a
// list that a comparison of a card with its copies wrote.
func (s *Shoot) CountCopies(ctx context.Context, sums []copycheck.Sum, progress func(done, total int64)) error {
	var paths []string
	var owner []int
	for k := range s.Sequence.Frames {
		f := &s.Sequence.Frames[k]
		for _, p := range []string{f.Path, f.Raw} {
			if p != "" {
				paths, owner = append(paths, p), append(owner, k)
			}
		}
	}
	copies, ok, err := copycheck.CopiesOf(ctx, paths, sums, progress)
	if err != nil {
		return err
	}
	if !ok {
		return errors.New("the list says nothing of copies")
	}
	c := &Copied{Frames: make([]int, len(s.Sequence.Frames))}
	for k := range c.Frames {
		c.Frames[k] = 1 << 30
	}
	for i, k := range owner {
		c.Frames[k] = min(c.Frames[k], copies[i])
	}
	s.Copied = c
	return nil
}
