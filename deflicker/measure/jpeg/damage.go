package jpeg

import (
	"fmt"
	"math"
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

// Damage is what is wrong with a picture that was read.
type Damage struct {
	Truncated bool    // the data end early; else they make no sense in places
	Text      string  // one clear sentence
	Left      float64 // share of the picture that could be read, 0 to 1
}

// Damage tells what is wrong with the picture; nil for nothing.
func (b *Picture) Damage() *Damage {
	left := b.left()
	if b.trouble == "" && !b.ended {
		if left == 1 {
			return nil
		}
		b.note("picture data are missing")
	}
	percent := math.Floor(100 * left)
	d := &Damage{Left: left, Truncated: b.trouble == ""}
	switch {
	case b.trouble != "":
		d.Text = fmt.Sprintf("the picture is damaged: %s; %.0f %% of it can be decoded", b.trouble, percent)
	case left < 1:
		d.Text = fmt.Sprintf("the file ends before the picture does: %.0f %% of it is left", percent)
	case b.progressive:
		d.Text = "the file ends before the picture does: all of it is there, but without its finer detail"
	default:
		d.Text = "the file ends without its end marker: all of the picture is there"
	}
	return d
}
