package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"stillspan/internal/stamp"
)

// dump is what one person brings home: bodies, what each did, and what the
// import left of it.
type dump struct {
	r               *rand.Rand
	styles          []string // names to choose from
	b               *body    // at work
	s               *script  // next to be run
	bodies          []*body
	runs            []*run
	families        int
	strides         []int // steps of the numbers of that import
	sure            bool  // the cause of what is lost over a counter's end can be told
	fileTimes       bool  // files have the times of the shots
	ends            bool  // holes lie near an end, beyond which may be test stills
	cards, together bool  // a folder for each card; one import numbered all bodies' stills
	aside           []aside
	plan            []planned

	says      []string // patterns of what the report has to mention
	remarks   bool     // something may fairly be remarked on: either exit code
	found     bool     // something is wrong that no count of frames tells: exit code 3
	irregular int      // frames that may fairly be called late, early or double
	what      []string // the dump in words
}

// aside is a file that is no frame.
type aside struct {
	path string
	of   *shot // a copy of this one; nil for data
	edit bool  // another picture with the same facts, not the same bytes
	data string
}

// planned is one shoot of the plan and what is true of it.
type planned struct {
	name, folder string
	frames       int
	intervalS    float64
	from, to     time.Time
	family       int  // 0 where it was not shot
	delivered    bool // all frames at the interval
	open         bool // another verdict is fair as well
	short        int  // frames missing from the count; -1 where the count is not the point
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// logBetween draws whole numbers, small ones more often.
func logBetween(r *rand.Rand, lo, hi int) int {
	return int(math.Exp(between(r, math.Log(float64(lo)), math.Log(float64(hi)+0.999))))
}

func oneOf[T any](r *rand.Rand, from ...T) T { return from[r.IntN(len(from))] }

func (d *dump) chance(p float64) bool { return d.r.Float64() < p }

func (d *dump) say(format string, args ...any) { d.what = append(d.what, fmt.Sprintf(format, args...)) }

// mayRemark lets so many frames be called late, early or double.
func (d *dump) mayRemark(frames int) {
	d.remarks = true
	d.irregular += frames
}

// camera puts another body to work. Its clock is off by some minutes and runs
// off by up to 60 ppm, as quartz clocks do.
func camera(d *dump) {
	r, st := d.r, styleNamed(oneOf(d.r, d.styles...))
	b := &body{
		index: len(d.bodies), style: st, maker: oneOf(r, "Alder", "Brume", "Corvo"), model: oneOf(r, "One", "X2", "Field"), prefix: oneOf(r, "IMG_", "DSC_", "RAIL", "CAM0"),
		look: look{exposureS: 1 / oneOf(r, 30.0, 60, 125, 250, 500, 1000), fNumber: oneOf(r, 2.8, 4, 5.6, 8, 11), iso: oneOf(r, 100.0, 200, 400),
			focalMM: oneOf(r, 14.0, 24, 35, 50, 85), orientation: oneOf(r, 1, 1, 1, 6, 8), program: "manual", mode: "manual"},
		exifGrainS: oneOf(r, 1, 1, 1, 1, 0.01, 0.01, 0.001, 0.1), ppm: between(r, -60, 60), folder: 100 + r.IntN(30), perFolder: oneOf(r, 0, 0, 0, 100, 500, 999),
		start: time.Date(2019+r.IntN(8), time.Month(1+r.IntN(10)), 1+r.IntN(28), r.IntN(24), r.IntN(60), r.IntN(60), r.IntN(1e9), time.UTC),
	}
	b.number = r.IntN(min(b.top(), 90000))
	if b.top() == 9999 {
		b.number = r.IntN(7000)
	}
	if st.ordered || st.name == "one-burst" {
		b.number = 0
	}
	if d.chance(0.6) {
		b.serial = fmt.Sprint(1000 + r.IntN(9000))
	}
	if st.grainS > 0 && d.chance(0.35) {
		b.exifGrainS = 0
	}
	if d.chance(0.2) {
		b.offset = oneOf(r, "+01:00", "+02:00", "-05:00", "+00:00")
	}
	if n := len(d.bodies); n > 0 { // one person's, on one day; each of another model
		b.start = d.bodies[0].start.Add(time.Duration(between(d.r, -3600, 3600) * 1e9))
		b.maker, b.model, b.dir = d.bodies[0].maker, []string{"Two", "Three"}[n-1], string(rune('A'+n))
		d.bodies[0].dir = "A"
	}
	d.b, d.bodies = b, append(d.bodies, b)
	fresh(d)
}

// fresh writes the script of a shoot without faults, whose interval the clock
// and the names can tell.
func fresh(d *dump) {
	least, v := max(2*d.b.grainS(), d.b.style.leastS), 0.0
	for v < least {
		v = oneOf(d.r, 2.0, 3, 4, 5, 5, 6, 8, 10, 10, 12, 15, 20, 30, 60, 120, 300, 600, 900, 1800)
		if d.chance(0.25) {
			v = math.Round(100*between(d.r, 1.5, 25)) / 100
		}
	}
	d.rescript(logBetween(d.r, 40, 240), v)
}

// rescript writes the script anew.
func (d *dump) rescript(frames int, intervalS float64) {
	d.s = newScript(d.r, frames, intervalS)
	d.b.look.exposureS = min(d.b.look.exposureS, intervalS/6)
}

// write puts the dump into dir, and its plan, if it has one, into planPath.
func (d *dump) write(dir, planPath string) error {
	made := map[string]bool{}
	put := func(name string, data []byte, err error) error {
		if err != nil {
			return err
		}
		name = filepath.Join(dir, filepath.FromSlash(name))
		if at := filepath.Dir(name); !made[at] {
			if err := os.MkdirAll(at, 0o777); err != nil {
				return err
			}
			made[at] = true
		}
		return os.WriteFile(name, data, 0o666)
	}
	for _, b := range d.bodies {
		for _, s := range b.copied() {
			for i, name := range s.paths {
				if s.lost || s.half && i == s.order%2 {
					continue
				}
				data, err := s.file(name, false)
				if s.empty {
					data = nil
				}
				if s.cut && err == nil {
					data = data[:len(data)-6] // within the picture's data
				}
				if err := put(name, data, err); err != nil {
					return err
				}
				if d.fileTimes {
					if err := os.Chtimes(filepath.Join(dir, filepath.FromSlash(name)), s.clock, s.clock); err != nil {
						return err
					}
				}
			}
		}
	}
	for _, a := range d.aside {
		data, err := []byte(a.data), error(nil)
		if a.of != nil {
			data, err = a.of.file(a.of.paths[0], a.edit)
		}
		if err := put(a.path, data, err); err != nil {
			return err
		}
	}
	if len(d.plan) == 0 {
		return nil
	}
	return os.WriteFile(planPath, d.planText(), 0o666)
}

func (d *dump) planText() []byte {
	var b bytes.Buffer
	for _, p := range d.plan {
		fmt.Fprintf(&b, "[[shoot]]\nname = %q\nframes = %d\ninterval_s = %g\n", p.name, p.frames, p.intervalS)
		if p.folder != "" {
			fmt.Fprintf(&b, "folder = %q\n", p.folder)
		}
		if !p.from.IsZero() {
			const local = "2006-01-02T15:04:05"
			fmt.Fprintf(&b, "from = %s\nto = %s\n", p.from.Format(local), p.to.Format(local))
		}
	}
	return b.Bytes()
}

// smallest is the picture of every still: its light is not what is judged.
var smallest = func() []byte {
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, image.NewGray(image.Rect(0, 0, 8, 8)), &jpeg.Options{Quality: 1}); err != nil {
		panic(err)
	}
	return buf.Bytes()
}()

// file is one still as the camera wrote it. An edit is the same still saved
// again by another program.
func (s *shot) file(name string, edit bool) ([]byte, error) {
	if s.role == movie {
		return append([]byte("\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  \x00\x00\x00\x08mdat"), name...), nil
	}
	if path.Ext(name) == ".DNG" {
		m := stamp.Mosaic{W: 2, H: 2, White: math.MaxUint16, Pix: []uint16{uint16(s.order * 7919), uint16(s.clock.Unix()), uint16(s.order), 900}}
		return stamp.DNG(m, s.facts(), s.picture(false), 8, 8)
	}
	if s.body.exifGrainS == 0 || s.bare {
		return s.picture(edit), nil
	}
	return stamp.JPEG(s.picture(edit), s.facts())
}

// picture carries the still's identity in a comment, since eight by eight
// pixels cannot: no two stills have the same bytes, nor all the same size.
func (s *shot) picture(edit bool) []byte {
	id := fmt.Sprintf("%d %d %d %v %s", s.body.index, s.order, s.clock.UnixNano(), edit, strings.Repeat("x", int(uint32(s.order)*2654435761>>27)))
	out := append([]byte(nil), smallest[:2]...)
	out = append(out, 0xFF, 0xFE)
	out = binary.BigEndian.AppendUint16(out, uint16(2+len(id)))
	return append(append(out, id...), smallest[2:]...)
}

func (s *shot) facts() stamp.Fields {
	b, l := s.body, s.look
	f := stamp.Fields{
		Make: b.maker, Model: b.maker + " " + b.model, Serial: b.serial, Orientation: l.orientation, ExposureS: l.exposureS, FNumber: l.fNumber, ISO: l.iso,
		FocalMM: l.focalMM, Program: l.program, ExposureMode: l.mode, WhiteBalance: "manual", PixelWidth: 6000, PixelHeight: 4000,
	}
	if b.exifGrainS > 0 {
		f.DateTimeOriginal, f.OffsetTimeOriginal = s.clock.Add(s.exifOff).Format("2006:01:02 15:04:05"), s.offset // cut to the second, as cameras do
	}
	if b.changeTime {
		f.DateTime, f.DateTimeOriginal, f.OffsetTimeOriginal = f.DateTimeOriginal, "", ""
		return f
	}
	switch ns := s.clock.Nanosecond(); b.exifGrainS {
	case 0.1: // two digits, of which the second is always 0, as some bodies write
		f.SubSecTimeOriginal = fmt.Sprintf("%d0", ns/1e8)
	case 0.01:
		f.SubSecTimeOriginal = fmt.Sprintf("%02d", ns/1e7)
	case 0.001:
		f.SubSecTimeOriginal = fmt.Sprintf("%03d", ns/1e6)
	}
	return f
}
