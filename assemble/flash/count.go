package flash

// ring is how many of a pixel's latest changes are kept: 32 changes a second
// are counted as 16 flashes, more as no more.
const ring = 32

// counter keeps, for each pixel, the frames of its latest changes. Two
// opposing changes are one flash. All flashes of a pixel within the same
// second are taken as concurrent with those of its neighbours, which errs on
// the side of warning.
type counter struct {
	at   []int32 // ring per pixel
	n    []uint32
	any  bool // a change happened in this frame
	risk []int32
}

func newCounter(pixels int) counter {
	return counter{at: make([]int32, ring*pixels), n: make([]uint32, pixels)}
}

func (c *counter) start() { c.any = false }

func (c *counter) change(i, t int) {
	c.at[ring*i+int(c.n[i]%ring)] = int32(t)
	c.n[i]++
	c.any = true
}

// flashes counts pixel i's flashes in the second that ends with frame t.
func (c *counter) flashes(i, t int, rate float64) int {
	k := 0
	for ; k < ring && uint32(k) < c.n[i]; k++ {
		at := c.at[ring*i+int((c.n[i]-1-uint32(k))%ring)]
		if float64(t)-float64(at) >= rate {
			break
		}
	}
	return k / 2
}

// judge opens, extends or leaves a passage after a frame.
func (a *Analyzer) judge(c *counter, kind Kind, open *int) {
	if !c.any {
		return // nothing new, so no more flashes than in the frame before
	}
	most, area := a.riskArea(c)
	if area <= areaShare {
		return
	}
	from := a.start(c)
	if *open > 0 {
		if p := &a.found[*open-1]; from <= p.To+int(a.o.Rate) {
			p.To, p.Flashes, p.Area = a.t, max(p.Flashes, most), max(p.Area, area)
			return
		}
	}
	a.found = append(a.found, Passage{From: from, To: a.t, Kind: kind, Flashes: most, Area: area})
	*open = len(a.found)
}

// start is the earliest change among the flashes that made this frame risky.
func (a *Analyzer) start(c *counter) int {
	from := a.t
	for i := range c.n {
		f := c.flashes(i, a.t, a.o.Rate)
		if f > mostFlashes {
			from = min(from, int(c.at[ring*i+int((c.n[i]-uint32(2*f))%ring)]))
		}
	}
	return from
}

// riskArea finds the 10 degree field with the most pixels that flash more
// than three times in the last second, and the most flashes of any of them.
func (a *Analyzer) riskArea(c *counter) (most int, share float64) {
	w, h := a.o.Width, a.o.Height
	if c.risk == nil {
		c.risk = make([]int32, (w+1)*(h+1))
	}
	any := false
	for y := range h {
		var row int32
		for x := range w {
			i := y*w + x
			if c.n[i] > 2*mostFlashes+1 {
				if f := c.flashes(i, a.t, a.o.Rate); f > mostFlashes {
					row++
					most = max(most, f)
					any = true
				}
			}
			c.risk[(y+1)*(w+1)+x+1] = c.risk[y*(w+1)+x+1] + row
		}
	}
	if !any {
		return 0, 0
	}
	var best int32
	for y := 0; y+a.winH <= h; y++ {
		for x := 0; x+a.winW <= w; x++ {
			n := c.risk[(y+a.winH)*(w+1)+x+a.winW] - c.risk[y*(w+1)+x+a.winW] - c.risk[(y+a.winH)*(w+1)+x] + c.risk[y*(w+1)+x]
			best = max(best, n)
		}
	}
	return most, float64(best) / float64(a.winW*a.winH)
}
