package measure

import (
	"fmt"
	"math"
)

// note keeps the first trouble.
func (b *blocks) note(text string) {
	if b.trouble == "" {
		b.trouble = text
	}
}

// left is the share of the picture's blocks that were read.
func (b *blocks) left() float64 {
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

// finding tells the damage of the picture decoded last; nil for none.
func (b *blocks) finding() *Finding {
	left := b.left()
	if b.trouble == "" && !b.ended {
		if left == 1 {
			return nil
		}
		b.note("picture data are missing")
	}
	percent := math.Floor(100 * left)
	switch {
	case b.trouble != "":
		return &Finding{
			Kind: "corrupt", Left: left, Try: "copy it from the card again before the card is wiped",
			Text: fmt.Sprintf("the picture is damaged: %s; %.0f %% of it can be decoded", b.trouble, percent),
		}
	case b.ended && left == 1 && b.progressive:
		return &Finding{
			Kind: "truncated", Left: left, Try: "copy it from the card again before the card is wiped",
			Text: "the file ends before the picture does: all of it is there, but without its finer detail",
		}
	case b.ended && left == 1:
		return &Finding{
			Kind: "truncated", Left: left, Try: "copy it from the card again before the card is wiped",
			Text: "the file ends without its end marker: all of the picture is there",
		}
	}
	return &Finding{
		Kind: "truncated", Left: left, Try: "copy it from the card again before the card is wiped",
		Text: fmt.Sprintf("the file ends before the picture does: %.0f %% of it is left", percent),
	}
}
