package jpeg

import (
	"fmt"
	"math"

	"stillspan/internal/problem"
)

// note keeps the first trouble.
func (b *Picture) note(text string) {
	if b.trouble == "" {
		b.trouble = text
	}
}

// left is the share of the picture's blocks that were read.
func (b *Picture) left() float64 {
	read, all := 0, 0
	for i := range b.parts[:b.n] {
		p := &b.parts[i]
		for row := range p.down {
			for _, mean := range p.means[row*p.stride : row*p.stride+p.across] {
				if mean != unread {
					read++
				}
			}
		}
		all += p.across * p.down
	}
	return float64(read) / float64(all)
}

// Damage tells what is wrong with the picture; nil for nothing.
func (b *Picture) Damage() *problem.Still {
	left := b.left()
	if b.trouble == "" && !b.ended {
		if left == 1 {
			return nil
		}
		b.note("picture data are missing")
	}
	percent := math.Floor(100 * left)
	var d *problem.Still
	switch {
	case b.trouble != "":
		d = problem.Corrupt(fmt.Sprintf("the picture is damaged: %s; %.0f %% of it can be decoded", b.trouble, percent))
	case left < 1:
		d = problem.Truncated(fmt.Sprintf("the file ends before the picture does: %.0f %% of it is left", percent))
	case b.progressive:
		d = problem.Truncated("the file ends before the picture does: all of it is there, but without its finer detail")
	default:
		d = problem.Truncated("the file ends without its end marker: all of the picture is there")
	}
	d.Left = left
	return d
}
