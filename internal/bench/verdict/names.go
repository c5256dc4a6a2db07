package main

import (
	"fmt"
	"path"
	"regexp"
	"slices"
)

// style is how files are named by a camera, or by an import after it.
type style struct {
	name    string
	pattern string
	number  bool    // names carry the body's counter
	ordered bool    // numbered by an import in order of shooting: what was deleted in the camera leaves no hole
	grainS  float64 // of the time in the name, seconds; 0 for none
	top     int     // after this the counter begins anew; 9999 where 0
	leastS  float64 // shortest interval at which names differ
}

// styles are common practice of cameras, drones, telephones, trail cameras
// and imports; no published source but for DCF (CIPA DC-009: folders of three
// digits and five characters, files of four characters and four digits).
var styles = []style{
	{name: "dcf", pattern: "DCIM/{folder}STILL/{prefix}{count:04d}.JPG", number: true},
	{name: "dcf-flat", pattern: "{prefix}{count:04d}.JPG", number: true},
	{name: "dcf-day-folders", pattern: "{time:2006-01-02}/{prefix}{count:04d}.JPG", number: true},
	{name: "dcf-month-day", pattern: "DCIM/{folder}OLDCA/P{month}{time:02}{count:04d}.JPG", number: true},
	{name: "five-digits", pattern: "DCIM/{folder}MSDCF/DSC{count:05d}.JPG", number: true, top: 99999},
	{name: "action-group", pattern: "DCIM/{folder}ACTIO/G003{count:04d}.JPG", number: true},
	{name: "drone", pattern: "DCIM/{folder}MEDIA/DJI_{count:04d}.JPG", number: true, top: 999},
	{name: "drone-date", pattern: "DCIM/{folder}_0001/DJI_{time:20060102150405}_{count:04d}_V.JPG", number: true, grainS: 1},
	{name: "date-in-name", pattern: "IMG_{time:20060102_150405}.jpg", grainS: 1, leastS: 1.2},
	{name: "date-only-name", pattern: "{time:20060102_150405}.jpg", grainS: 1, leastS: 1.2},
	{name: "date-with-spaces", pattern: "{time:2006-01-02 15-04-05}.jpg", grainS: 1, leastS: 1.2},
	{name: "date-ms", pattern: "IMG_{time:20060102_150405}{ms}.jpg", grainS: 0.001},
	{name: "date-dot-ms", pattern: "{time:2006-01-02 15.04.05}.{ms}.jpg", grainS: 0.001},
	{name: "date-and-count", pattern: "{time:20060102_150405}_{count:04d}.jpg", number: true, grainS: 1},
	{name: "epoch", pattern: "{epoch}.jpg", grainS: 1, leastS: 1.2},
	{name: "epoch-words", pattern: "{epoch}.{time:Mon.Jan.02_15_04_05.GMT.2006}.tower.c1.jpg", grainS: 1, leastS: 1.2},
	{name: "epoch-ms", pattern: "cam_{epoch}{ms}.jpg", grainS: 0.001},
	{name: "trail-minute", pattern: "{time:01021504}.jpg", grainS: 60, leastS: 90},
	{name: "trail-folders", pattern: "DCIM/{folder}TRAIL/{time:0102}{count:04d}.JPG", number: true},
	{name: "trail-minutes", pattern: "{time:01021504}.jpg", grainS: 60, leastS: 60},
	{name: "trail-minute-count", pattern: "{time:01021504}_{count:04d}.JPG", number: true},
	{name: "trail-seconds", pattern: "{time:0102150405}.jpg", grainS: 1, leastS: 1.2},
	{name: "seven-digits", pattern: "P{count:07d}.JPG", number: true, top: 9999999},
	{name: "letter-folder", pattern: "P100{count:04d}.JPG", number: true},
	{name: "hour-folders", pattern: "{time:2006-01-02}/{time:15}/{time:15-04-05}.jpg", leastS: 1.2},
	{name: "n-of-m", pattern: "ridge-{place:d}-of-{all}.jpg", number: true, ordered: true},
	{name: "parentheses", pattern: "IMG ({place:d}).jpg", number: true, ordered: true},
	{name: "letter-after", pattern: "{place:d}a.jpg", number: true, ordered: true},
	{name: "unpadded", pattern: "harbour{place:d}.jpg", number: true, ordered: true},
	{name: "day-and-count", pattern: "{day:20060102}-harbour-{place:04d}.jpg", number: true, ordered: true},
	{name: "count-and-day", pattern: "{place:05d}_{day:2006-01-02}.jpg", number: true, ordered: true},
	{name: "bare", pattern: "{place:04d}.jpg", number: true, ordered: true},
	{name: "six-digits", pattern: "frame{place:06d}.jpg", number: true, ordered: true},
	{name: "eight-digits", pattern: "{count:08d}.jpg", number: true, top: 99999999},
	{name: "folder-in-name", pattern: "DCIM/{folder}CLICK/{folder}_{count:04d}.JPG", number: true},
	{name: "iso-8601", pattern: "{time:20060102T150405Z}.jpg", grainS: 1, leastS: 1.2},
	{name: "date-then-place", pattern: "capture-{time:2006-01-02-150405}-{place:d}.jpg", number: true, ordered: true, grainS: 1},
	{name: "hexadecimal", pattern: "img_{count:04x}.jpg", number: true},
	{name: "letters", pattern: "still_{letters}.jpg"},
	{name: "hashes", pattern: "{hash:08x}.jpg"},
	{name: "one-burst", pattern: "{first:IMG_20060102_150405_BURST}{count:03d}.jpg", number: true, top: 99999},
}

var token = regexp.MustCompile(`\{([a-z]+):?([^}]*)\}`)

// file is the name of a shot in a style; place of all: among the stills at
// the import, from 1.
func (st style) file(s *shot, place, all int) string {
	shown := s.clock.Add(s.body.nameAhead)
	return token.ReplaceAllStringFunc(st.pattern, func(t string) string {
		m := token.FindStringSubmatch(t)
		switch m[1] {
		case "folder":
			return fmt.Sprintf("%03d", s.folder)
		case "prefix":
			return s.body.prefix
		case "count":
			return fmt.Sprintf("%"+m[2], s.number)
		case "place":
			return fmt.Sprintf("%"+m[2], place)
		case "all":
			return fmt.Sprint(all)
		case "month": // 1 to 9, A, B, C
			return fmt.Sprintf("%X", int(shown.Month()))
		case "time":
			return shown.Format(m[2])
		case "day":
			return s.body.start.Format(m[2])
		case "first":
			return s.body.tape[0].clock.Format(m[2])
		case "epoch":
			return fmt.Sprint(shown.Unix())
		case "ms":
			return fmt.Sprintf("%03d", shown.Nanosecond()/1e6)
		case "letters":
			return string([]byte{'a' + byte(place/676%26), 'a' + byte(place/26%26), 'a' + byte(place%26)})
		case "hash": // no two alike: the factor is odd
			return fmt.Sprintf("%"+m[2], (uint32(place)^uint32(s.body.start.Unix()))*2654435761)
		}
		panic("no token " + t)
	})
}

func styleNamed(name string) style {
	for _, s := range styles {
		if s.name == name {
			return s
		}
	}
	panic("no style " + name)
}

// name gives every still and clip the name it came home with. Each body's are
// named in the order of shooting; a second card has a folder of its own.
func (d *dump) name() {
	var all []*shot
	for _, b := range d.bodies {
		for i, s := range b.copied() {
			all = append(all, s)
			name := b.style.file(s, i+1, len(b.copied()))
			if d.cards {
				name = path.Join(fmt.Sprintf("card %c", 'A'+s.card), name)
			}
			name = path.Join(b.dir, name)
			name = s.rename(name)
			if s.paths = []string{name}; s.role == movie {
				s.paths[0] = suffixed(name, ".MOV")
			} else if b.pair {
				s.paths = append(s.paths, path.Join(path.Dir(name), b.raws, suffixed(path.Base(name), ".DNG")))
			}
		}
	}
	if d.together { // one import numbered all bodies' stills by their stamps
		slices.SortStableFunc(all, func(a, b *shot) int { return a.clock.Compare(b.clock) })
		for i, s := range all {
			s.paths[0] = fmt.Sprintf("harbour%d.jpg", d.numberOf(i))
		}
	}
}

// suffixed puts another suffix in place of the last.
func suffixed(name, suffix string) string { return name[:len(name)-len(path.Ext(name))] + suffix }
