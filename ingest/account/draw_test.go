package account

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
)

// world draws one body's dump whose truth is known. It knows nothing of the
// solver: it plays what a camera, its owner and a copy do.
type world struct {
	rng    *rand.Rand
	now    float64 // true time, seconds
	offset float64 // the camera's clock less true time
	number int     // of the last frame
	folder int
	series int
	shoot  int // being shot; -1 for test stills
	shots  []shot
	class  int
	jitter float64
	grain  float64
	truth  truth
	what   []string
}

type shot struct {
	at       float64 // on the camera's clock
	number   int
	folder   int
	series   int
	shoot    int
	class    int
	exposure float64
	ev       float64
	lost     bool
	wrong    bool
}

type truth struct {
	never, lost, spare, unknown int
	shoots                      int
	hand                        bool // of no interval: nobody can say what never fired
	of                          []int
	ambiguous                   bool
}

func (w *world) note(format string, args ...any) {
	w.what = append(w.what, fmt.Sprintf(format, args...))
}

func (w *world) pick(v ...float64) float64 { return v[w.rng.IntN(len(v))] }

func (w *world) fire() {
	w.number++
	if w.number > 9999 {
		w.number = 1
	}
	w.shots = append(w.shots, shot{at: w.now + w.offset + w.jitter*w.rng.NormFloat64(), number: w.number, folder: w.folder, series: w.series, shoot: w.shoot, class: w.class})
}

// plan is one shoot to come.
type plan struct {
	n        int
	interval func(i int) float64
	walk     float64       // of the interval's own
	at       map[int]fault // by slot
}

type fault struct {
	kind string
	n    int
	by   float64
}

// slots picks k slots far from each other and from the ends.
func (w *world) slots(n, k, apart int) []int {
	var out []int
	for tries := 0; len(out) < k && tries < 200; tries++ {
		s := apart + w.rng.IntN(max(1, n-2*apart))
		ok := true
		for _, o := range out {
			ok = ok && (s-o >= apart || o-s >= apart)
		}
		if ok {
			out = append(out, s)
		}
	}
	sort.Ints(out)
	return out
}

func (w *world) run(p plan) {
	for i := 0; i < p.n; i++ {
		step := p.interval(i)
		f := p.at[i]
		next := w.now + step + p.walk*w.rng.NormFloat64()
		switch f.kind {
		case "never":
			for range f.n {
				w.now += p.interval(i)
				w.truth.never++
			}
			w.now -= p.interval(i)
			next = w.now + step
			w.now = next
			continue
		case "lost":
			first := len(w.shots)
			for range f.n {
				w.fire()
				w.now += p.interval(i)
			}
			for k := first; k < len(w.shots); k++ {
				w.shots[k].lost = true
				w.truth.lost++
			}
			continue
		case "spare":
			w.number += f.n
			w.truth.spare += f.n
		case "late":
			w.now += f.by
			w.fire()
			w.now -= f.by
			w.now = next
			continue
		case "delay":
			w.now += f.by
			next += f.by
		case "double":
			w.fire()
			w.now += f.by
			w.fire()
			w.now = next
			continue
		case "clock":
			w.offset += f.by
		case "wrong":
			w.fire()
			s := &w.shots[len(w.shots)-1]
			s.at += f.by
			s.wrong = true
			w.now = next
			continue
		case "reset":
			w.number = f.n - 1
			w.series++
		case "pause":
			w.now += f.by
			next += f.by
		}
		w.fire()
		w.now = next
	}
}

// files are what is left of the dump, shuffled, with the truth in step.
func (w *world) files(numbers, times bool) []File {
	var out []File
	var of []int
	for _, s := range w.shots {
		if s.lost {
			continue
		}
		f := File{Series: s.series, Folder: s.folder, Number: s.number, Wrap: 9999, T: math.Floor(s.at/w.grain+1e-6) * w.grain, Grain: w.grain, Class: s.class, LightEV: math.NaN()}
		if s.exposure > 0 {
			f.ExposureS, f.LightEV, f.Look = s.exposure, s.ev, int(1e6*s.exposure)
		}
		if !numbers {
			f.Number, f.Wrap = -1, 0
		}
		if !times {
			f.T = math.NaN()
		}
		out = append(out, f)
		of = append(of, s.shoot)
	}
	w.truth.of = of
	if times {
		w.rng.Shuffle(len(out), func(i, j int) {
			out[i], out[j] = out[j], out[i]
			of[i], of[j] = of[j], of[i]
		})
	}
	w.truth.shoots = len(slices.Compact(slices.Sorted(slices.Values(slices.DeleteFunc(slices.Clone(of), func(k int) bool { return k < 0 })))))
	return out
}

func newWorld(rng *rand.Rand) *world {
	w := &world{rng: rng, now: 1.79e9 + float64(rng.IntN(3e7)) + rng.Float64(), folder: 100, number: rng.IntN(8000), shoot: 0}
	w.grain = w.pick(1, 1, 0.01, 0.01, 0.001, 0.1)
	return w
}

// interval draws one an intervalometer may keep.
func (w *world) interval() float64 {
	p := w.pick(1, 1.5, 2, 2, 3, 4, 5, 5, 5, 6, 7, 8, 10, 10, 12, 15, 20, 30, 60, 120, 300)
	switch w.rng.IntN(6) {
	case 0:
		p = math.Exp(math.Log(1.2) + w.rng.Float64()*math.Log(3000))
	case 1:
		p *= 1 + 0.004*w.rng.NormFloat64()
	}
	return p
}

var kinds = []string{"clean", "never", "lost", "block", "spare", "late", "delay", "double", "clock", "clock+block", "wrong", "wrong ends",
	"two shoots", "two intervals", "tests", "tests after", "change", "change and back", "factor", "ramp", "hand", "hand lost", "nights", "reset", "rollover", "no times", "no numbers",
	"near grain", "near grain lost", "near grain never", "several", "jitter", "running", "drift", "epoch", "view", "short", "pause", "folders", "cards", "block at other interval",
	"bracket", "bracket lost", "bracket lost one", "bracket never", "bracket pause"}

// draw is one dump of a kind.
func draw(rng *rand.Rand, kind string) (files []File, t *truth, what string) {
	w := newWorld(rng)
	n := 40 + rng.IntN(260)
	p := w.interval()
	if rng.IntN(3) == 0 {
		w.jitter = p * 0.01 * rng.Float64()
	}
	numbers, times := true, true
	pl := plan{n: n, at: map[int]fault{}}
	even := func(int) float64 { return p }
	pl.interval = even
	put := func(kind string, n int, by float64) {
		for _, s := range w.slots(pl.n, 1, 8) {
			if _, taken := pl.at[s]; !taken {
				pl.at[s] = fault{kind, n, by}
			}
		}
	}
	spread := func(kind string, most int, size func() int, by func() float64) {
		for _, s := range w.slots(pl.n, 1+rng.IntN(most), 8) {
			pl.at[s] = fault{kind, size(), by()}
		}
	}
	few := func() int { return 1 + int(rng.ExpFloat64()*2) }
	zero := func() float64 { return 0 }
	one := func() int { return 1 }
	w.note("%s n=%d p=%.4g g=%g jitter=%.3g", kind, n, p, w.grain, w.jitter)
	switch kind {
	case "late", "several", "drift", "pause", "tests", "tests after":
		p = max(p, 3*w.grain) // else the clock cannot tell
	}
	switch kind {
	case "clean":
	case "never":
		spread("never", 6, few, zero)
	case "lost":
		spread("lost", 6, few, zero)
	case "block":
		put("lost", 20+rng.IntN(n*3), 0)
	case "spare":
		spread("spare", 3, few, zero)
	case "late":
		spread("late", 5, one, func() float64 { return (0.25 + 0.5*rng.Float64()) * max(p, 3*w.grain) * w.pick(1, 1, -1) })
	case "delay":
		p = max(p, 3*w.grain)
		spread("delay", 3, one, func() float64 { return max((0.25+0.25*rng.Float64())*p, w.grain) })
	case "double":
		if p < 4*w.grain {
			p = 5
		}
		spread("double", 3, one, func() float64 { return p * (0.3 + 0.4*rng.Float64()) })
	case "clock":
		put("clock", 0, w.clock(p))
	case "clock+block":
		s := w.slots(n, 1, 8)[0]
		pl.at[s] = fault{"lost", 10 + rng.IntN(n), 0}
		pl.at[s+1] = fault{"clock", 0, w.clock(p)}
	case "wrong":
		spread("wrong", 3, one, w.wrong)
	case "wrong ends":
		pl.at[int(w.pick(0, float64(n-1), float64(n-1)))] = fault{"wrong", 1, w.wrong()}
	case "two shoots":
		w.run(pl)
		w.now += max(40*p, 200) + w.pick(600, 3600, 7200, 1800, 86400)*rng.Float64()*2
		w.shoot++
		if rng.IntN(2) == 0 {
			p = w.interval()
		}
	case "two intervals":
		w.run(pl)
		w.now += p*(5+10*rng.Float64()) + 10*rng.Float64()
		w.shoot++
		p = w.pick(p*2.3, p*3.1, p*1.7+1, p/1.7+1)
	case "block at other interval":
		w.run(pl)
		k := 10 + rng.IntN(100)
		w.number += k
		w.truth.spare += k
		w.now += max(40*p, 200) + 3600*rng.Float64()*2
		w.shoot++
		p = w.pick(p*2.3, p*3.1, p*1.7+1)
	case "tests":
		w.tests(p)
	case "tests after":
		w.run(pl)
		w.now += p*3 + 20*rng.Float64()
		w.tests(p)
		pl.n = 0
	case "change", "change and back", "factor":
		q := w.pick(p*1.5, p*2, p*0.6, p*1.25, p*3)
		if kind == "factor" {
			q = w.pick(p*2, p*3, p*4)
		}
		if q < 1.5*w.grain {
			q = p * 2
		}
		w.note("to %.4g", q)
		a := 15 + rng.IntN(n-30)
		b := n
		if kind == "change and back" {
			b = min(n, a+12+rng.IntN(40))
		}
		pl.interval = func(i int) float64 {
			if i >= a && i < b {
				return q
			}
			return p
		}
	case "ramp":
		q := p * w.pick(3, 5, 10, 0.3)
		p, q = max(p, 2*w.grain), max(q, 2*w.grain)
		w.note("to %.4g", q)
		geo := rng.IntN(2) == 0
		a, b := p, q
		pl.interval = func(i int) float64 {
			x := float64(i) / float64(n)
			if geo {
				return a * math.Pow(b/a, x)
			}
			return a + (b-a)*x
		}
		if rng.IntN(2) == 0 {
			spread("lost", 3, few, zero)
		}
		if rng.IntN(2) == 0 {
			put("never", 1, 0)
		}
	case "hand", "hand lost":
		pl.interval = func(int) float64 { return max(2*w.grain, p) * (0.4 + 1.6*rng.Float64()) }
		if kind == "hand lost" {
			spread("lost", 6, few, zero)
		}
		w.truth.hand = true
	case "nights":
		p = w.pick(60, 300, 600, 900, 1800, 3600, 120)
		from, to := 5+rng.IntN(4), 17+rng.IntN(5)
		perDay := int(float64(to-from) * 3600 / p)
		days := 2 + rng.IntN(5)
		if perDay*days > 3000 {
			days = 2
		}
		start := math.Floor(w.now/86400)*86400 + float64(from)*3600 + 10*rng.Float64()
		for d := range days {
			w.now = start + float64(d)*86400
			day := plan{n: perDay, interval: even, at: map[int]fault{}}
			if rng.IntN(3) == 0 && perDay > 20 {
				day.at[8+rng.IntN(perDay-16)] = fault{w.kindOf("never", "lost"), 1 + rng.IntN(3), 0}
			}
			w.run(day)
		}
		pl.n = 0
	case "reset":
		put("reset", int(w.pick(1, 1, 1, 5000)), 0)
		if rng.IntN(2) == 0 {
			put("lost", few(), 0)
		}
	case "cards":
		s := w.slots(n, 1, 10)[0]
		k := rng.IntN(3)
		if k > 0 {
			pl.at[s] = fault{"lost", k, 0}
		}
		w.run(plan{n: s + 1, interval: even, at: pl.at})
		w.series++
		pl = plan{n: n - s, interval: even, at: map[int]fault{}}
	case "rollover":
		w.number = 9999 - 10 - rng.IntN(n-20)
		if rng.IntN(2) == 0 {
			put("lost", few(), 0)
		}
	case "folders":
		s := w.slots(n, 1, 10)[0]
		w.run(plan{n: s, interval: even, at: pl.at})
		w.folder++
		pl = plan{n: n - s, interval: even, at: map[int]fault{}}
		put("lost", few(), 0)
	case "no times":
		times = false
		spread("lost", 6, few, zero)
		w.truth.hand = true
	case "no numbers":
		numbers = false
		spread("never", 4, few, zero)
		w.truth.unknown, w.truth.never = 0, 0
	case "near grain", "near grain lost", "near grain never":
		w.grain = 1
		p = w.pick(0.5, 0.7, 0.9, 1, 1, 1.05, 1.1, 1.3)
		w.jitter = 0
		w.note("p=%.3g", p)
		if kind == "near grain lost" {
			spread("lost", 3, one, zero)
		}
		if kind == "near grain never" {
			w.truth.ambiguous = true
			put("never", 2+rng.IntN(4), 0)
		}
	case "several":
		for range 3 {
			switch k := w.kindOf("never", "lost", "spare", "late", "delay", "wrong", "clock"); k {
			case "late", "delay":
				put(k, 1, max(0.4*p, w.grain))
			case "wrong":
				put(k, 1, w.wrong())
			case "clock":
				put(k, 1, w.clock(p))
			default:
				put(k, few(), 0)
			}
		}
	case "jitter":
		w.jitter = p * 0.02 * (1 + 2*rng.Float64())
		put("lost", few(), 0)
	case "running":
		pl.walk = p * 0.02 * (0.5 + 2*rng.Float64())
		put("lost", few(), 0)
	case "drift":
		rate := 0.03 * (rng.Float64() - 0.5) * 2
		pl.interval = func(i int) float64 { return p * (1 + rate*float64(i)/float64(n)) }
		put("never", few(), 0)
	case "epoch":
		s := w.slots(n, 1, 8)[0]
		w.run(plan{n: s, interval: even, at: pl.at})
		w.now += 60 + 600*rng.Float64()
		w.offset = 946684800 - w.now
		pl = plan{n: n - s, interval: even, at: map[int]fault{}}
	case "view":
		w.run(pl)
		w.now += p + 40*rng.Float64()
		w.shoot++
		w.class++
	case "short":
		pl.n = 6 + rng.IntN(14)
		if rng.IntN(2) == 0 && pl.n > 12 {
			pl.at[pl.n/2] = fault{"lost", 1, 0}
		}
	case "bracket", "bracket lost", "bracket lost one", "bracket never", "bracket pause":
		p = max(p, 3)
		m := int(w.pick(3, 3, 3, 5, 7))
		w.jitter = 0.02 * rng.Float64()
		apart := min(0.2+0.5*rng.Float64(), p/float64(m)/3)
		w.note("%d each %.3g s, %.3g apart", m, p, apart)
		gone := w.slots(n, 1+rng.IntN(2), 5)
		for i := range n {
			first := len(w.shots)
			if kind == "bracket never" && slices.Contains(gone, i) {
				w.truth.never++
				w.now += p
				continue
			}
			for k := range m {
				w.now += apart
				w.fire()
				s := &w.shots[len(w.shots)-1]
				s.ev = float64([]int{0, -2, 2, -4, 4, -1, 1}[k])
				s.exposure = 0.01 * math.Pow(2, s.ev)
			}
			w.now -= apart * float64(m)
			if kind == "bracket lost" && slices.Contains(gone, i) {
				for k := first; k < len(w.shots); k++ {
					w.shots[k].lost = true
					w.truth.lost++
				}
			}
			if kind == "bracket lost one" && slices.Contains(gone, i) {
				w.shots[first+rng.IntN(m)].lost = true
				w.truth.lost++
			}
			if kind == "bracket pause" && i == gone[0] {
				w.now += p * 4
				w.truth.never += 4
			}
			w.now += p
		}
		pl.n = 0
	case "pause":
		k := 2 + rng.IntN(10)
		put("delay", 1, p*(float64(k)+w.pick(0.2, 0.7)+0.15*rng.Float64()))
		for _, f := range pl.at {
			w.truth.never += int(math.Round(f.by / p))
		}
	}
	w.run(pl)
	if !numbers {
		for range 1 {
			// what never fired cannot be told from what was lost
		}
	}
	files = w.files(numbers, times)
	if !numbers {
		w.truth.unknown, w.truth.never = w.truth.never+w.truth.lost, 0
	}
	return files, &w.truth, fmt.Sprint(w.what, " ", faultsOf(pl.at))
}

func faultsOf(at map[int]fault) string {
	var out []string
	for _, s := range slices.Sorted(mapKeys(at)) {
		out = append(out, fmt.Sprintf("%d:%s %d %.4g", s, at[s].kind, at[s].n, at[s].by))
	}
	return fmt.Sprint(out)
}

func mapKeys(m map[int]fault) func(func(int) bool) {
	return func(yield func(int) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

func (w *world) kindOf(v ...string) string { return v[w.rng.IntN(len(v))] }

func (w *world) clock(p float64) float64 {
	return w.pick(3600, -3600, 7200, -3600, -60-3000*w.rng.Float64(), -100*p, 9*3600, -86400*30)
}

func (w *world) wrong() float64 {
	return w.pick(946684800-w.now, 73*365.25*86400, 3600, -3600, -86400*400)
}

func (w *world) tests(p float64) {
	was := w.shoot
	w.shoot = -1
	for range 1 + w.rng.IntN(7) {
		w.fire()
		w.now += 3 + 40*w.rng.Float64()
	}
	w.now += 5 + 200*w.rng.Float64()
	w.shoot = was
}
