package main

import (
	"fmt"
	"path"
	"time"
)

// style is how files are named by a camera, or by an import after it.
type style struct {
	name    string
	number  bool                           // names carry the counter
	grainS  float64                        // seconds; of the time in the name, 0 for none
	import_ bool                           // numbered by the import, in the order of shooting: what was deleted in the camera leaves no hole
	top     int                            // numbers begin anew after this; 9999 where 0
	leastS  float64                        // shortest interval at which names differ
	path    func(s *shot, i, n int) string // i of n: place among the stills at the import, from 1
}

func dcfFolder(s *shot, suffix string) string { return fmt.Sprintf("DCIM/%03d%s", s.folder, suffix) }

func dated(layout string) func(s *shot, i, n int) string {
	return func(s *shot, _, _ int) string { return s.clock.Format(layout) + ".jpg" }
}

// styles are common practice of cameras, drones, telephones, trail cameras
// and imports; no published source but DCF (CIPA DC-009: folders of three
// digits and five characters, files of four characters and four digits).
var styles = []*style{
	{name: "dcf", number: true, path: func(s *shot, _, _ int) string {
		return dcfFolder(s, "STILL") + fmt.Sprintf("/%s%04d.JPG", s.body.prefix, s.number)
	}},
	{name: "dcf-flat", number: true, path: func(s *shot, _, _ int) string {
		return fmt.Sprintf("%s%04d.JPG", s.body.prefix, s.number)
	}},
	{name: "dcf-day-folders", number: true, path: func(s *shot, _, _ int) string {
		return s.clock.Format("2006-01-02/") + fmt.Sprintf("%s%04d.JPG", s.body.prefix, s.number)
	}},
	{name: "dcf-month-day", number: true, path: func(s *shot, _, _ int) string {
		return dcfFolder(s, "OLDCA") + fmt.Sprintf("/P%X%02d%04d.JPG", int(s.clock.Month()), s.clock.Day(), s.number)
	}},
	{name: "five-digits", number: true, top: 99999, path: func(s *shot, _, _ int) string {
		return dcfFolder(s, "MSDCF") + fmt.Sprintf("/DSC%05d.JPG", s.number)
	}},
	{name: "action-group", number: true, path: func(s *shot, _, _ int) string {
		return dcfFolder(s, "ACTIO") + fmt.Sprintf("/G003%04d.JPG", s.number)
	}},
	{name: "drone", number: true, top: 999, path: func(s *shot, _, _ int) string {
		return dcfFolder(s, "MEDIA") + fmt.Sprintf("/DJI_%04d.JPG", s.number)
	}},
	{name: "drone-date", number: true, grainS: 1, path: func(s *shot, _, _ int) string {
		return dcfFolder(s, "_0001") + s.clock.Format("/DJI_20060102150405_") + fmt.Sprintf("%04d_V.JPG", s.number)
	}},
	{name: "date-in-name", grainS: 1, leastS: 1.2, path: dated("IMG_20060102_150405")},
	{name: "date-only-name", grainS: 1, leastS: 1.2, path: dated("20060102_150405")},
	{name: "date-with-spaces", grainS: 1, leastS: 1.2, path: dated("2006-01-02 15-04-05")},
	{name: "date-ms", grainS: 0.001, path: func(s *shot, _, _ int) string {
		return s.clock.Format("IMG_20060102_150405") + fmt.Sprintf("%03d.jpg", s.clock.Nanosecond()/1e6)
	}},
	{name: "date-dot-ms", grainS: 0.001, path: dated("2006-01-02 15.04.05.000")},
	{name: "date-and-count", number: true, grainS: 1, path: func(s *shot, _, _ int) string {
		return s.clock.Format("20060102_150405_") + fmt.Sprintf("%04d.jpg", s.number)
	}},
	{name: "epoch", grainS: 1, leastS: 1.2, path: func(s *shot, _, _ int) string { return fmt.Sprintf("%d.jpg", s.clock.Unix()) }},
	{name: "epoch-words", grainS: 1, leastS: 1.2, path: func(s *shot, _, _ int) string {
		return fmt.Sprintf("%d.%s.tower.c1.jpg", s.clock.Unix(), s.clock.Format("Mon.Jan.02_15_04_05.GMT.2006"))
	}},
	{name: "epoch-ms", grainS: 0.001, path: func(s *shot, _, _ int) string { return fmt.Sprintf("cam_%d.jpg", s.clock.UnixMilli()) }},
	{name: "trail-minute", grainS: 60, leastS: 90, path: dated("01021504")},
	{name: "trail-folders", number: true, path: func(s *shot, _, _ int) string {
		return dcfFolder(s, "TRAIL") + s.clock.Format("/0102") + fmt.Sprintf("%04d.JPG", s.number)
	}},
	{name: "n-of-m", number: true, import_: true, path: func(_ *shot, i, n int) string { return fmt.Sprintf("ridge-%d-of-%d.jpg", i, n) }},
	{name: "parentheses", number: true, import_: true, path: func(_ *shot, i, _ int) string { return fmt.Sprintf("IMG (%d).jpg", i) }},
	{name: "letter-after", number: true, import_: true, path: func(_ *shot, i, _ int) string { return fmt.Sprintf("%da.jpg", i) }},
	{name: "unpadded", number: true, import_: true, path: func(_ *shot, i, _ int) string { return fmt.Sprintf("harbour%d.jpg", i) }},
	{name: "day-and-count", number: true, import_: true, path: func(s *shot, i, _ int) string {
		return s.body.start.Format("20060102-harbour-") + fmt.Sprintf("%04d.jpg", i)
	}},
	{name: "count-and-day", number: true, import_: true, path: func(s *shot, i, _ int) string {
		return fmt.Sprintf("%05d_", i) + s.body.start.Format("2006-01-02") + ".jpg"
	}},
	{name: "hexadecimal", number: true, path: func(s *shot, _, _ int) string { return fmt.Sprintf("img_%04x.jpg", s.number) }},
	{name: "hashes", path: func(s *shot, i, _ int) string {
		x := uint32(i)*2654435761 ^ uint32(s.body.start.Unix())*2246822519
		return fmt.Sprintf("%08x-%04x.jpg", x*2654435761, x>>9&0xffff)
	}},
	{name: "one-burst", number: true, top: 99999, path: func(s *shot, _, _ int) string {
		return s.body.tape[0].clock.Format("IMG_20060102_150405_BURST") + fmt.Sprintf("%03d.jpg", s.number)
	}},
}

func styleOf(name string) *style {
	for _, s := range styles {
		if s.name == name {
			return s
		}
	}
	panic("no style " + name)
}

// place names every file that was ever copied. Each body's stills are named in
// the order of shooting; a second card has a folder of its own.
func (d *dump) place() {
	for _, b := range d.bodies {
		copied := b.copied()
		for i, s := range copied {
			name := path.Join(b.dir, b.style.path(s, i+1, len(copied)))
			if d.cards {
				name = path.Join(b.dir, fmt.Sprintf("card %c", 'A'+s.card), b.style.path(s, i+1, len(copied)))
			}
			s.paths = []string{name}
			if s.role == ofMovie {
				s.paths[0] = withSuffix(name, ".MOV")
			} else if b.pair {
				s.paths = append(s.paths, path.Join(path.Dir(name), b.raws, withSuffix(path.Base(name), ".DNG")))
			}
		}
	}
}

func withSuffix(name, suffix string) string {
	return name[:len(name)-len(path.Ext(name))] + suffix
}

// stampTime is DateTimeOriginal, cut to the second as cameras do.
func stampTime(t time.Time) string { return t.Format("2006:01:02 15:04:05") }
