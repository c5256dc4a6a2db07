package ingest

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"regexp"
	"slices"
	"strings"
	"time"

	"stillspan/ingest/account"
)

// body is the frames of one camera, or of several of one model that nothing
// tells apart.
type body struct {
	frames []Frame
	serial bool // its header names the very body
}

// bodies tells cameras apart by serial, else by make and model. A frame whose
// header says neither joins the camera that wrote the frames around it: same
// card and name pattern, or the folder of another day there.
func bodies(frames, movies []Frame) []body {
	slices.SortStableFunc(frames, func(a, b Frame) int { return naturally(a.Name, b.Name) })
	for i, n := range readNames(frames, movies) {
		frames[i].named = n
	}
	home := make(map[string]string) // series -> camera
	for i := range frames {
		if k := cameraKey(&frames[i]); k != "" {
			home[frames[i].named.series] = k
		}
	}
	at := make(map[string]int)
	var list []body
	for i := range frames {
		k := cmp.Or(cameraKey(&frames[i]), home[frames[i].named.series], "\x00"+anyDay.ReplaceAllString(frames[i].named.series, "#"))
		j, found := at[k]
		if !found {
			j = len(list)
			at[k] = j
			list = append(list, body{})
		}
		list[j].frames = append(list[j].frames, frames[i])
		list[j].serial = list[j].serial || frames[i].Facts.Serial != ""
	}
	return list
}

// anyDay is a day in the path of a folder, with the hours below it.
var anyDay = regexp.MustCompile(`(19|20)\d\d[-_./]?(0[1-9]|1[0-2])[-_./]?(0[1-9]|[12]\d|3[01])(/\d\d?)*`)

// cameraKey is empty when the header names no camera.
func cameraKey(f *Frame) string {
	if f.Facts.Make == "" && f.Facts.Model == "" && f.Facts.Serial == "" {
		return ""
	}
	return f.Facts.Make + "\x00" + f.Facts.Model + "\x00" + f.Facts.Serial
}

// accountFiles puts all bodies' frames into the account's terms. Numbers that run
// through several bodies by turns are told so.
func accountFiles(list []body, opt Options) [][]account.File {
	var all []account.File
	var parts [][]int
	ids := make(map[string]int)
	id := func(kind, key string) int {
		key = kind + key
		if _, seen := ids[key]; !seen {
			ids[key] = len(ids)
		}
		return ids[key]
	}
	for b := range list {
		f := list[b].frames
		stamps := stampsOf(f)
		classes := classesOf(f, opt)
		var part []int
		for i := range f {
			n := &f[i].named
			f[i].contradicted = stamps[i].conflict
			part = append(part, len(all))
			all = append(all, account.File{
				Series: id("series", n.series), Pattern: id("pattern", n.pattern), Folder: n.folder, Number: n.number, Wrap: n.wrap, Skip: n.skip, Session: n.session,
				T: stamps[i].t, Grain: stamps[i].grain, ExposureS: f[i].Facts.ExposureS, LightEV: lightEV(&f[i]), Look: lookOf(&f[i], id), Class: classes[i], Planned: opt.plannedAt(&f[i]),
			})
		}
		parts = append(parts, part)
	}
	var out [][]account.File
	for _, p := range account.Share(all, parts) {
		out = append(out, p.Files())
	}
	return out
}

// plannedAt is the number, from 1, of the planned shoot whose window or folder
// holds the frame, of several the one whose window opens last; 0 for none.
func (o *Options) plannedAt(f *Frame) int {
	at := wallClock(f.Facts.Taken)
	if at.IsZero() {
		at = f.named.stamp
	}
	dir := "/" + strings.ToLower(path.Dir(f.Name)) + "/"
	best := 0
	for k, p := range o.Planned {
		if p.Folder != "" && !strings.Contains(dir, "/"+strings.ToLower(p.Folder)+"/") {
			continue
		}
		if !p.From.IsZero() && (at.IsZero() || at.Before(p.From)) || !p.To.IsZero() && (at.IsZero() || at.After(p.To)) {
			continue
		}
		stated := p.Folder != "" || !p.From.IsZero() || !p.To.IsZero()
		if stated && (best == 0 || p.From.After(o.Planned[best-1].From)) {
			best = k + 1
		}
	}
	return best
}

// lookOf numbers the settings a frame was shot with; -1 where none are known.
func lookOf(f *Frame, id func(kind, key string) int) int {
	x := &f.Facts
	if x.ExposureS == 0 && x.FNumber == 0 && x.ISO == 0 {
		return -1
	}
	return id("look", fmt.Sprint(x.ExposureS, x.FNumber, x.ISO, x.FocalMM))
}

// lightEV is the light that the settings let in, in stops; NaN for unknown.
func lightEV(f *Frame) float64 {
	x := &f.Facts
	if !(x.ExposureS > 0) {
		return math.NaN()
	}
	ev := math.Log2(x.ExposureS)
	if x.FNumber > 0 {
		ev -= 2 * math.Log2(x.FNumber)
	}
	if x.ISO > 0 {
		ev += math.Log2(x.ISO)
	}
	return ev
}

// classesOf numbers the framings of a body's frames: pictures of one class can
// play in one clip as they are. -1 stands for a header that could not be read, or not be
// believed.
func classesOf(f []Frame, opt Options) []int {
	out := make([]int, len(f))
	var like []*Frame // the last of each class
	for i := range f {
		out[i] = -1
		if f[i].Facts.Width == 0 || f[i].Problem != nil {
			continue
		}
		for k := range like {
			if sameFraming(like[k], &f[i], opt) {
				out[i], like[k] = k, &f[i]
				break
			}
		}
		if out[i] < 0 {
			out[i] = len(like)
			like = append(like, &f[i])
		}
	}
	return out
}

// moment is when a frame was shot, of a frame as the account sees it.
type moment struct {
	t, grain float64
	conflict bool // header and name contradict each other, which they do not elsewhere
}

// stampsOf finds each frame's moment: by its header, else by its name. Where the
// two go together but for a few frames, a frame's name is believed before a header
// that contradicts it.
func stampsOf(f []Frame) []moment {
	out := make([]moment, len(f))
	zoned := true
	for i := range f {
		zoned = zoned && (f[i].Facts.Taken.IsZero() || f[i].Facts.HasOffset)
	}
	header := func(i int) float64 {
		t := f[i].Facts.Taken
		if !zoned {
			t = wallClock(t)
		}
		return seconds(t)
	}
	// By series: what lies between name and header.
	told := func(i int) bool { // a time of change tells less than a name
		return !f[i].Facts.Taken.IsZero() && !(f[i].Facts.Changed && !f[i].named.stamp.IsZero())
	}
	apart := make(map[string][]float64)
	for i := range f {
		if told(i) && !f[i].named.stamp.IsZero() {
			apart[f[i].named.series] = append(apart[f[i].named.series], header(i)-seconds(f[i].named.stamp))
		}
	}
	usual := make(map[string]float64)
	agree := make(map[string]bool)
	for k, v := range apart {
		slices.Sort(v)
		usual[k] = v[len(v)/2]
		near := 0
		for _, d := range v {
			if math.Abs(d-usual[k]) <= sameStampS {
				near++
			}
		}
		agree[k] = 4*near >= 3*len(v)
	}
	grain := headerGrain(f)
	for i := range f {
		n := &f[i].named
		byName := seconds(n.stamp) + usual[n.series]
		switch {
		case !told(i) && n.stamp.IsZero():
			out[i] = moment{t: math.NaN(), grain: 1}
		case !told(i):
			out[i] = moment{t: byName, grain: n.grain.Seconds()}
		case agree[n.series] && math.Abs(header(i)-byName) > max(sameStampS, n.grain.Seconds()):
			out[i] = moment{t: byName, grain: n.grain.Seconds(), conflict: true}
		default:
			out[i] = moment{t: header(i), grain: grain}
		}
	}
	return out
}

// sameStampS is how far header and name may tell of one moment differently.
const sameStampS = 3

func seconds(t time.Time) float64 {
	return float64(t.Unix()) + float64(t.Nanosecond())/1e9
}

// wallClock is what the camera's clock showed, held in UTC.
func wallClock(t time.Time) time.Time {
	if t.IsZero() {
		return t
	}
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
}

// headerGrain is the coarsest of the usual clock steps that all times are whole
// multiples of: 1, 0.1, 0.01 or 0.001 s. A camera that writes two digits but
// only ever fills the first has a grain of 0.1 s.
func headerGrain(f []Frame) float64 {
	grain := time.Second
	for i := range f {
		for ns := time.Duration(f[i].Facts.Taken.Nanosecond()); grain > time.Millisecond && ns%grain != 0; {
			grain /= 10
		}
	}
	return grain.Seconds()
}
