package flash

import (
	"cmp"
	"math"
	"slices"
)

// seamS is how much of the clip, on either side of a seam between two parts,
// is looked at again when they are joined, seconds. A passage is told by one
// second; the second before lets the pixels' state settle.
const seamS = 2

// Part is the check of one part of a clip that is made in several, and what
// the check of the whole needs of it. It can be kept as JSON or gob.
type Part struct {
	Options
	Frames int
	Found  []Passage // frames count from the part's first
	// Head and Tail are the part's first and last frames, packed RGB, seamS
	// seconds of them or all there are.
	Head, Tail [][]byte

	check *Analyzer
}

// NewPart begins the check of a part. It panics on options that Validate
// refuses.
func NewPart(o Options) *Part { return &Part{Options: o, check: New(o)} }

// Add takes the part's next frame; see Analyzer.Add.
func (p *Part) Add(rgb []byte) {
	p.check.Add(rgb)
	p.Frames++
	most := int(math.Ceil(seamS * p.Rate))
	if len(p.Head) < most {
		p.Head = append(p.Head, slices.Clone(rgb))
	}
	if len(p.Tail) < most {
		p.Tail = append(p.Tail, slices.Clone(rgb))
		return
	}
	oldest := p.Tail[0]
	copy(oldest, rgb)
	p.Tail = append(p.Tail[1:], oldest)
}

// End fills in Found when all frames were added.
func (p *Part) End() *Part {
	p.Found = p.check.Findings()
	return p
}

// Join is the check of the clip that the parts make in their order.
func Join(parts []Part) []Passage {
	var all []Passage
	at := 0
	for k := range parts {
		p := &parts[k]
		for _, f := range p.Found {
			all = append(all, f.later(at))
		}
		at += p.Frames
		if k+1 == len(parts) {
			break
		}
		seam := New(p.Options)
		for _, rgb := range slices.Concat(p.Tail, parts[k+1].Head) {
			seam.Add(rgb)
		}
		for _, f := range seam.Findings() {
			all = append(all, f.later(at-len(p.Tail)))
		}
	}
	slices.SortStableFunc(all, func(a, b Passage) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
	open := map[Kind]int{} // index+1 of the passage that may go on
	var out []Passage
	for _, f := range all {
		if i := open[f.Kind]; i > 0 {
			if last := &out[i-1]; f.From <= last.To+int(parts[0].Rate) {
				last.To, last.Flashes, last.Area = max(last.To, f.To), max(last.Flashes, f.Flashes), max(last.Area, f.Area)
				continue
			}
		}
		out = append(out, f)
		open[f.Kind] = len(out)
	}
	for i := range out {
		out[i].Start, out[i].End = timecode(out[i].From, parts[0].Rate), timecode(out[i].To, parts[0].Rate)
	}
	slices.SortStableFunc(out, func(a, b Passage) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Kind, b.Kind)) })
	return out
}

// later is the passage as many frames on.
func (p Passage) later(frames int) Passage {
	p.From += frames
	p.To += frames
	return p
}
