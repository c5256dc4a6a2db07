package ingest

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
)

var (
	dcfFolder = regexp.MustCompile(`^\d{3}[0-9A-Za-z_]{5}$`)
	// monthName is a DCF name that may have the month, in hexadecimal, and the day
	// before the counter.
	monthName  = regexp.MustCompile(`^([A-Za-z_])(\d|[A-Ca-c](?:0[1-9]|[12]\d|3[01]))(\d+)$`)
	letterLast = regexp.MustCompile(`^(.*\D)?\d+[A-Za-z]?$`)
)

// aboves is how many numbers fit below one of those that stand above them.
const aboves = 1_000_000_000

func baseName(f *Frame) string {
	b := path.Base(f.Name)
	return strings.TrimSuffix(b, path.Ext(b))
}

// card is the folder that holds the frames of one card: the one above DCF
// folders such as 100STILL, which follow each other as they fill up.
func card(f *Frame) string {
	dir := path.Dir(f.Name)
	if dcfFolder.MatchString(path.Base(dir)) {
		return path.Dir(dir)
	}
	return dir
}

// naming is what a file's name says.
type naming struct {
	pattern string // the name without its digits: alike for files of one counter
	series  string // the same with the card
	folder  int    // the number of the DCF folder, or what stands above the number
	number  int    // -1 for none
	wrap    int    // the counter's last number; 0 for one without end
	session int    // a number that stands before the counter and changes with the folder
	skip    int    // numbers right before that movies have
	stamp   time.Time
	grain   time.Duration // to which the stamp is told
	noYear  bool          // the stamp's year is a guess
}

// readNames reads the names of a dump. What the digits of a name mean shows only
// beside the names like it: which of them count, and which are a date.
func readNames(frames, movies []Frame) []naming {
	out := make([]naming, len(frames))
	like := make(map[string]int) // files of a folder and a pattern
	for i := range frames {
		pattern, _ := splitName(baseName(&frames[i]), false)
		like[path.Dir(frames[i].Name)+"/"+pattern]++
	}
	groups := make(map[string]*nameGroup)
	var order []string
	owner := make(map[string]string) // a camera of each series
	hex := hexadecimal(frames)
	letters := suffixLetters(frames)
	for i := range frames {
		f := &frames[i]
		base := baseName(f)
		base = original(base, func(pattern string) int { return like[path.Dir(f.Name)+"/"+pattern] })
		pattern, digits := splitName(base, letters[card(f)])
		key, number := hexGroup(f)
		if hex[key] {
			pattern, digits = strings.ToLower(strings.TrimSuffix(baseName(f), number))+"#x", []string{number}
		}
		out[i].pattern, out[i].series = pattern, card(f)+"\x00"+pattern
		out[i].folder = dcfNumber(f)
		// Two cameras may name their files alike and mean different things.
		camera := cameraKey(f)
		if camera == "" {
			camera = owner[out[i].series]
		} else if owner[out[i].series] == "" {
			owner[out[i].series] = camera
		}
		id := out[i].series + "\x00" + camera
		g := groups[id]
		if g == nil {
			g = &nameGroup{pattern: pattern, base: 10}
			if hex[key] {
				g.base = 16
			}
			groups[id] = g
			order = append(order, id)
		}
		g.files = append(g.files, i)
		g.columns = append(g.columns, digits)
	}
	var shared []*nameGroup
	for _, k := range order {
		groups[k].read(frames, out)
		shared = groups[k].onOneCounter(shared, frames, out)
	}
	for _, g := range shared {
		g.skip(frames, movies, out)
	}
	return out
}

// onOneCounter adds g to the groups of a dump, or to the one of them whose numbers it
// shares: in a DCF folder a number stands for one shot, whatever stands before it (CIPA
// DC-009), and time goes with the numbers of both.
func (g *nameGroup) onOneCounter(list []*nameGroup, frames []Frame, out []naming) []*nameGroup {
	at := &frames[g.files[0]]
	named := func(h *nameGroup) bool {
		return out[h.files[0]].wrap == 9999 && len(baseName(&frames[h.files[0]])) == 8
	}
	if !named(g) || cameraKey(at) == "" {
		return append(list, g)
	}
	for _, h := range list {
		to := &frames[h.files[0]]
		if g.pattern == h.pattern || !named(h) || card(at) != card(to) || cameraKey(at) != cameraKey(to) {
			continue
		}
		both := slices.Concat(h.files, g.files)
		if falls(both, frames, out) > falls(g.files, frames, out)+falls(h.files, frames, out) {
			continue
		}
		like := out[h.files[0]]
		for _, i := range g.files {
			out[i].pattern, out[i].series = like.pattern, like.series
		}
		h.files = append(h.files, g.files...)
		return list
	}
	return append(list, g)
}

// falls counts where time falls along the numbers of files, or none has its own number.
func falls(files []int, frames []Frame, out []naming) (n int) {
	files = slices.Clone(files)
	slices.SortFunc(files, func(a, b int) int {
		return cmp.Or(cmp.Compare(out[a].folder, out[b].folder), cmp.Compare(out[a].number, out[b].number))
	})
	for k := 1; k < len(files); k++ {
		a, b := files[k-1], files[k]
		if out[a].folder == out[b].folder && out[a].number == out[b].number || frames[b].Facts.Taken.Before(frames[a].Facts.Taken) {
			n++
		}
	}
	return n
}

// original takes the mark of a copy or of an edited one off a name, if the names
// beside it are mostly like the rest. IMG (1), IMG (2) are no copies.
func original(base string, like func(pattern string) int) string {
	marked, _ := splitName(base, false)
	for _, plain := range []string{copyMark.ReplaceAllString(base, ""), unedited(base)} {
		if plain == "" || plain == base {
			continue
		}
		if pattern, digits := splitName(plain, false); len(digits) > 0 && like(pattern) >= like(marked) {
			return plain
		}
	}
	return base
}

func dcfNumber(f *Frame) int {
	dir := path.Base(path.Dir(f.Name))
	if !dcfFolder.MatchString(dir) {
		return 0
	}
	n, _ := strconv.Atoi(dir[:3])
	return n
}

// splitName parts a name into its digits and the pattern around them, where #
// stands for each run of digits. A letter after a number counts as one more
// column if letters says so.
func splitName(base string, letters bool) (pattern string, digits []string) {
	if m := monthName.FindStringSubmatch(base); m != nil && len(base) == 8 {
		month, _ := strconv.ParseInt(m[2][:1], 16, 8)
		return strings.ToLower(m[1]) + "#", []string{fmt.Sprintf("%02d", month) + m[2][1:] + m[3]}
	}
	if n := len(base); letters && n > 1 && isLetter(base[n-1]) && isDigit(base[n-2]) {
		pattern, digits = splitName(base[:n-1], false)
		return pattern + "@", append(digits, strconv.Itoa(int(unicode.ToLower(rune(base[n-1]))-'a')))
	}
	var b strings.Builder
	for at := 0; at < len(base); {
		end := at + 1
		for end < len(base) && isDigit(base[end]) == isDigit(base[at]) && isLetter(base[end]) == isLetter(base[at]) {
			end++
		}
		switch part := strings.ToLower(base[at:end]); {
		case isDigit(base[at]):
			b.WriteByte('#')
			digits = append(digits, part)
		case calendar[part]: // in names that spell the time out
			b.WriteByte('&')
		default:
			b.WriteString(part)
		}
		at = end
	}
	return b.String(), digits
}

var calendar = set("mon", "tue", "wed", "thu", "fri", "sat", "sun",
	"jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

func isDigit(c byte) bool  { return c >= '0' && c <= '9' }
func isLetter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' }

// hexadecimal finds the groups of names of one folder, length and beginning that
// are hexadecimal numbers, by hexGroup.
func hexadecimal(frames []Frame) map[string]bool {
	groups := make(map[string][]string)
	for i := range frames {
		if k, rest := hexGroup(&frames[i]); k != "" {
			groups[k] = append(groups[k], rest)
		}
	}
	out := make(map[string]bool)
	for k, names := range groups {
		digits, letters, ending := 0, 0, 0
		for _, n := range names {
			if strings.ContainsAny(n, "0123456789") {
				digits++
			}
			if strings.Trim(n, "0123456789") != "" {
				letters++
			}
			if isLetter(n[len(n)-1]) {
				ending++
			}
		}
		out[k] = digits > 0 && letters >= 2 && len(names) >= 5 &&
			(slices.ContainsFunc(names, func(n string) bool { return !letterLast.MatchString(n) }) || ending < len(names) && runsInHex(names))
	}
	return out
}

// hexGroup is the key of the files that could be named by hexadecimal numbers
// together, and the number; empty for a name that is none.
func hexGroup(f *Frame) (key, digits string) {
	base := baseName(f)
	before := base[:strings.LastIndexAny(base, "_- .")+1]
	digits = base[len(before):]
	if len(digits) < 2 || len(digits) > 40 || strings.Trim(strings.ToLower(digits), "0123456789abcdef") != "" {
		return "", ""
	}
	return path.Dir(f.Name) + "\x00" + before + "\x00" + strconv.Itoa(len(digits)), digits
}

// runsInHex reports whether names of one length follow each other as hexadecimal
// numbers.
func runsInHex(names []string) bool {
	v := make([]uint64, 0, len(names))
	for _, n := range names {
		x, err := strconv.ParseUint(n, 16, 64)
		if err != nil {
			return false
		}
		v = append(v, x)
	}
	return mostlyByOne(v)
}

// mostlyByOne reports whether more than half the numbers, put in order, are one
// above the one before.
func mostlyByOne[T int | uint64](v []T) bool {
	slices.Sort(v)
	ones := 0
	for i := 1; i < len(v); i++ {
		if v[i] == v[i-1]+1 {
			ones++
		}
	}
	return 2*ones > len(v)
}

// suffixLetters finds the cards on which names end in different letters after a
// number: 1a, 1b, 2a.
func suffixLetters(frames []Frame) map[string]bool {
	first := make(map[string]byte)
	out := make(map[string]bool)
	for i := range frames {
		base := strings.ToLower(baseName(&frames[i]))
		if n := len(base); n > 1 && isLetter(base[n-1]) && isDigit(base[n-2]) {
			k := card(&frames[i])
			if c, seen := first[k]; seen && c != base[n-1] {
				out[k] = true
			}
			first[k] = base[n-1]
		}
	}
	return out
}

// nameGroup is the files of one series with the digits of their names.
type nameGroup struct {
	pattern string
	base    int
	files   []int
	columns [][]string // by file
}

// stampForm is a way to write date and time in runs of digits of given widths.
type stampForm struct {
	widths []int
	layout string
	grain  time.Duration
}

var stampForms = []stampForm{
	{[]int{17}, "20060102150405.000", time.Millisecond},
	{[]int{14}, "20060102150405", time.Second},
	{[]int{12}, "200601021504", time.Minute},
	{[]int{8, 9}, "20060102150405.000", time.Millisecond},
	{[]int{8, 6, 3}, "20060102150405.000", time.Millisecond},
	{[]int{8, 6}, "20060102150405", time.Second},
	{[]int{8, 4}, "200601021504", time.Minute},
	{[]int{8, 2, 2, 2, 3}, "20060102150405.000", time.Millisecond},
	{[]int{8, 2, 2, 2}, "20060102150405", time.Second},
	{[]int{4, 2, 2, 2, 2, 2, 3}, "20060102150405.000", time.Millisecond},
	{[]int{4, 2, 2, 2, 2, 2}, "20060102150405", time.Second},
	{[]int{4, 2, 2, 6, 3}, "20060102150405.000", time.Millisecond},
	{[]int{4, 2, 2, 6}, "20060102150405", time.Second},
	{[]int{4, 2, 2, 2, 2}, "200601021504", time.Minute},
	{[]int{4, 2, 2, 4}, "200601021504", time.Minute},
	{[]int{6, 6}, "060102150405", time.Second},
	{[]int{2, 2, 2, 3}, "day 150405.000", time.Millisecond}, // the day is the folder's
	{[]int{2, 2, 2}, "day 150405", time.Second},
	{[]int{6}, "day 150405", time.Second},
	{[]int{13}, "epoch ms", time.Millisecond},
	{[]int{10}, noYear + "05", time.Second}, // of trail cameras
	{[]int{10}, "epoch", time.Second},
	{[]int{8}, noYear, time.Minute},
}

const noYear = "01021504"

// read finds what the group's digits mean: a date and time, a counter, or neither.
func (g *nameGroup) read(frames []Frame, out []naming) {
	for _, i := range g.files {
		out[i].number = -1
	}
	at, widths := g.readStamp(frames, out)
	n := len(g.columns[0])
	taken := make([]bool, n)
	for k := range widths {
		taken[at+k] = true
	}
	g.cutAlike()
	counter, above := -1, -1
	for k := n - 1; k >= 0; k-- {
		switch {
		case taken[k] || !g.fits(k) || g.partOfTime(k, out):
		case counter < 0 && g.varies(k):
			counter = k
		case above < 0 && counter >= 0 && g.varies(k):
			above = k
		}
	}
	if counter < 0 && len(g.files) == 1 {
		for k := n - 1; k >= 0 && counter < 0; k-- {
			if !taken[k] && g.fits(k) {
				counter = k
			}
		}
	}
	if counter < 0 {
		return
	}
	if above >= 0 && g.runsOn(counter, above) {
		above = -1
	}
	g.count(counter, above, out)
}

// runsOn reports whether the numbers of a column run on where those of the one above
// change: a day before a counter that does not begin anew.
func (g *nameGroup) runsOn(counter, above int) bool {
	order := make([]int, len(g.files))
	number := make([]int64, len(g.files))
	for c := range g.files {
		order[c] = c
		number[c], _ = strconv.ParseInt(g.columns[c][counter], g.base, 62)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(number[a], number[b]) })
	on := 0
	for k := 1; k < len(order); k++ {
		a, b := order[k-1], order[k]
		if number[a] == number[b] {
			return false
		}
		if g.columns[a][above] != g.columns[b][above] && number[b] == number[a]+1 {
			on++
		}
	}
	return on > 0
}

// partOfTime reports whether column k, of one or two digits, says once more what the stamp says: a day, an
// hour (of whatever zone), a minute or a second.
func (g *nameGroup) partOfTime(k int, out []naming) bool {
	for _, of := range []func(time.Time) int{time.Time.Day, time.Time.Hour, time.Time.Minute, time.Time.Second} {
		same := true
		var apart int
		for c, i := range g.files {
			v, err := strconv.Atoi(g.columns[c][k])
			if out[i].stamp.IsZero() || err != nil || v > 60 {
				return false
			}
			d := (v - of(out[i].stamp) + 24) % 24
			if c == 0 {
				apart = d
			}
			same = same && d == apart
		}
		if same {
			return true
		}
	}
	return false
}

// cutAlike takes off what all numbers of a column begin with where they are too long
// for a counter: a day before it without a mark between.
func (g *nameGroup) cutAlike() {
	for k := range g.columns[0] {
		if g.fits(k) {
			continue
		}
		first := g.columns[0][k]
		alike := len(first)
		for _, row := range g.columns {
			if len(row[k]) != len(first) {
				alike = 0
			}
			for alike > 0 && row[k][:alike] != first[:alike] {
				alike--
			}
		}
		if alike > 0 && alike < len(first) && len(first)-alike <= 9 {
			for c, row := range g.columns {
				g.columns[c] = slices.Clone(row)
				g.columns[c][k] = row[k][alike:]
			}
		}
	}
}

// fits reports whether column k may be a counter: a number that is not too long.
func (g *nameGroup) fits(k int) bool {
	return !slices.ContainsFunc(g.columns, func(c []string) bool { return g.base == 10 && len(c[k]) > 9 })
}

func (g *nameGroup) varies(k int) bool {
	return slices.ContainsFunc(g.columns, func(c []string) bool { return c[k] != g.columns[0][k] })
}

// count reads the numbers of the column counter, below those of the column above.
func (g *nameGroup) count(counter, above int, out []naming) {
	width := len(g.columns[0][counter])
	lo, hi := int64(1)<<62, int64(0)
	if low, session := g.below(counter, out); low != nil {
		for c, i := range g.files {
			if out[i].number, out[i].wrap = low[c], 9999; session != nil {
				out[i].session = session[c]
			}
		}
		return
	}
	for c, i := range g.files {
		v, err := strconv.ParseInt(g.columns[c][counter], g.base, 62)
		if err != nil {
			return
		}
		if len(g.columns[c][counter]) != width {
			width = 0
		}
		out[i].number = int(v)
		lo, hi = min(lo, v), max(hi, v)
		if above >= 0 {
			a, _ := strconv.Atoi(g.columns[c][above])
			out[i].folder = out[i].folder*aboves + a
		}
	}
	if strings.HasSuffix(g.pattern, "@") && above >= 0 { // 1a, 1b, 2a
		for _, i := range g.files {
			out[i].number, out[i].folder = out[i].folder%aboves*int(hi+1)+out[i].number, out[i].folder/aboves
		}
		return
	}
	if g.base == 16 && hi-lo > 4*int64(len(g.files))+16 {
		for _, i := range g.files { // names drawn at random
			out[i].number = -1
		}
		return
	}
	if g.base == 10 && width >= 3 && width <= 6 {
		wrap := 1
		for range width {
			wrap *= 10
		}
		if width > 4 && hi < 10_000 {
			wrap = 10_000 // DCF's counter behind a zero
		}
		for _, i := range g.files {
			out[i].wrap = wrap - 1
		}
	}
}

// skip counts the numbers before each file that movies on its card have.
func (g *nameGroup) skip(frames, movies []Frame, out []naming) {
	if len(movies) == 0 || out[g.files[0]].wrap == 0 {
		return
	}
	type place struct{ folder, number, file int }
	var all []place
	on := card(&frames[g.files[0]])
	for _, i := range g.files {
		all = append(all, place{out[i].folder, out[i].number, i})
	}
	for k := range movies {
		_, digits := splitName(baseName(&movies[k]), false)
		if card(&movies[k]) != on || len(digits) == 0 {
			continue
		}
		if n, err := strconv.Atoi(digits[len(digits)-1]); err == nil {
			if out[g.files[0]].wrap == 9999 {
				n %= 10_000 // as below cuts them
			}
			all = append(all, place{dcfNumber(&movies[k]), n, -1})
		}
	}
	slices.SortFunc(all, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.folder, b.folder), cmp.Compare(a.number, b.number), cmp.Compare(b.file, a.file))
	})
	begun, skipped, last := false, 0, -1
	for _, p := range all {
		switch {
		case p.file >= 0:
			if begun {
				out[p.file].skip = skipped
			}
			begun, skipped, last = true, 0, p.number
		case p.number != last: // not the movie that goes with a still
			skipped++
			last = p.number
		}
	}
}

// below reads a column of six to eight digits of which the last four are the file
// number (DCF, CIPA DC-009: a file's name is four characters of the maker's and
// four digits, 0001 to 9999). What stands before is the same for all, or a day, or
// goes by the folder; else the digits are one number and below is nil. session is
// what goes by the folder.
func (g *nameGroup) below(k int, out []naming) (low, session []int) {
	high := make([]int, len(g.files))
	low = make([]int, len(g.files))
	byFolder := make(map[int]int)
	same, folders := true, true
	width := len(g.columns[0][k])
	for c, i := range g.files {
		d := g.columns[c][k]
		if g.base != 10 || len(d) < 6 || len(d) > 8 || len(d) != width {
			return nil, nil
		}
		high[c], _ = strconv.Atoi(d[:len(d)-4])
		low[c], _ = strconv.Atoi(d[len(d)-4:])
		same = same && high[c] == high[0]
		h, seen := byFolder[out[i].folder]
		byFolder[out[i].folder] = high[c]
		folders = folders && (!seen || h == high[c]) && low[c] > 0
	}
	n := len(g.pattern) - 1 + width
	dcf := strings.Index(g.pattern, "#") == len(g.pattern)-1 && (n == 8 || n == 9 && len(g.pattern) == 2) // or with the month as two digits
	switch {
	case same && dcf:
		return low, nil
	case folders && dcf:
		return low, high
	case dcf && slices.Min(low) > 0 && ones(slices.Clone(low)) >= 0:
		return low, nil // no file has the number 0000
	case same && slices.Min(low) > 0 && spread(low) > 9000 && len(low) < 5000:
		return low, nil // both ends of four digits: it has begun again
	}
	whole := make([]int, len(low))
	for c := range low {
		whole[c] = high[c]*10_000 + low[c]
	}
	if spread(low) >= spread(whole) || ones(slices.Clone(low)) < 0 {
		return nil, nil
	}
	if dcf && len(byFolder) == 1 && slices.Min(high) >= 100 { // the folder's number, of files put into one
		for c, i := range g.files {
			out[i].folder = high[c]
		}
	}
	return low, nil
}

// readStamp reads the date and time that all names of the group hold in one form,
// and returns its columns. A counter may follow without a mark between: such a
// column is parted in two.
func (g *nameGroup) readStamp(frames []Frame, out []naming) (at, widths int) {
	for tail := range mostTail + 1 {
		for _, form := range stampForms {
			if tail > 0 && len(form.widths) > 1 {
				continue
			}
			for at := 0; at+len(form.widths) <= len(g.columns[0]); at++ {
				cut := *g
				if tail > 0 {
					if cut.columns = g.parted(at, form.widths[0], tail); cut.columns == nil {
						continue
					}
				}
				stamps := cut.stamps(form, at, frames)
				if stamps == nil || tail > 0 && !cut.varies(at+1) {
					continue
				}
				g.columns = cut.columns
				for c, i := range g.files {
					out[i].stamp, out[i].grain, out[i].noYear = stamps[c], form.grain, strings.HasPrefix(form.layout, noYear)
				}
				return at, len(form.widths)
			}
		}
	}
	return 0, 0
}

// mostTail is how many digits of a counter may follow those of a stamp.
const mostTail = 4

// parted are the columns with column k, of so many digits more than width, as two;
// nil where it is of another length, or one number that goes on.
func (g *nameGroup) parted(k, width, tail int) [][]string {
	out := make([][]string, len(g.columns))
	for c, row := range g.columns {
		if len(row[k]) != width+tail {
			return nil
		}
		out[c] = slices.Concat(row[:k], []string{row[k][:width], row[k][width:]}, row[k+1:])
	}
	all := make([]string, len(g.columns))
	for c, row := range g.columns {
		all[c] = row[k]
	}
	slices.Sort(all)
	for i := 1; i < len(all); i++ {
		a, _ := strconv.ParseUint(all[i-1], 10, 64)
		if b, _ := strconv.ParseUint(all[i], 10, 64); b == a+1 && all[i-1][:width] != all[i][:width] {
			return nil
		}
	}
	return out
}

func (g *nameGroup) stamps(form stampForm, at int, frames []Frame) []time.Time {
	if g.base != 10 {
		return nil
	}
	list := make([]time.Time, len(g.files))
	for c, i := range g.files {
		var b strings.Builder
		for k, width := range form.widths {
			digits := g.columns[c][at+k]
			if len(digits) != width {
				return nil
			}
			b.WriteString(digits)
		}
		t, ok := form.parse(b.String(), &frames[i])
		if !ok {
			return nil
		}
		list[c] = t
	}
	last := at + len(form.widths) - 1
	switch {
	case len(list) > 1 && !slices.ContainsFunc(list, func(t time.Time) bool { return !t.Equal(list[0]) }):
		return nil // a day or a session, and a counter elsewhere
	case !g.counts(last):
		return list
	case form.widths[len(form.widths)-1] == 3 || form.layout == "epoch ms" || firstMinute(list):
		return nil // one up from file to file
	}
	// A counter would not leave out 60 to 99 at every hour, nor go with the clock.
	with, told := g.besideHeader(list, frames, max(sameStampS, form.grain.Seconds()))
	if told && !with || !told && form.grain == time.Minute && oneHour(list) {
		return nil
	}
	return list
}

// besideHeader tells whether the stamps of most files lie equally far, within so many
// seconds, from those in their headers; told is false where too few have one.
func (g *nameGroup) besideHeader(stamps []time.Time, frames []Frame, within float64) (with, told bool) {
	var v []float64
	var last time.Time
	moves := 0 // a header that a program wrote to all alike tells nothing
	for c, i := range g.files {
		if t := wallClock(frames[i].Facts.Taken); !t.IsZero() {
			v = append(v, seconds(t)-seconds(stamps[c]))
			if !t.Equal(last) {
				moves++
			}
			last = t
		}
	}
	if len(v) < 3 || 2*moves < len(v) {
		return false, false
	}
	slices.Sort(v)
	near := 0
	for _, d := range v {
		if math.Abs(d-v[len(v)/2]) <= within {
			near++
		}
	}
	return 4*near >= 3*len(v), true
}

// oneHour reports whether all times lie in one hour.
func oneHour(list []time.Time) bool {
	return !slices.ContainsFunc(list, func(t time.Time) bool { return !t.Truncate(time.Hour).Equal(list[0].Truncate(time.Hour)) })
}

// firstMinute reports whether all times lie in the first minute of a day, as those
// do that are a counter.
func firstMinute(list []time.Time) bool {
	return !slices.ContainsFunc(list, func(t time.Time) bool { return t.Hour() > 0 || t.Minute() > 0 })
}

func spread(v []int) int { return slices.Max(v) - slices.Min(v) }

// ones counts how many of the numbers follow another one up; it is -1 where two are
// the same. It sorts v.
func ones(v []int) int {
	slices.Sort(v)
	n := 0
	for i := 1; i < len(v); i++ {
		switch v[i] - v[i-1] {
		case 0:
			return -1
		case 1:
			n++
		}
	}
	return n
}

// counts reports whether the digits of column k go up by one from file to file for
// the most part.
func (g *nameGroup) counts(k int) bool {
	v := make([]int, 0, len(g.columns))
	for _, c := range g.columns {
		n, err := strconv.Atoi(c[k])
		if err != nil {
			return false
		}
		v = append(v, n)
	}
	return mostlyByOne(v)
}

// folderDay is a day in the path of a folder.
var folderDay = regexp.MustCompile(`(?:^|\D)((?:19|20)\d\d)[-_./]?(0[1-9]|1[0-2])[-_./]?(0[1-9]|[12]\d|3[01])(?:\D|$)`)

// parse reads digits in the form. The year that trail cameras leave out is that of
// the file's time, or the one before.
func (form *stampForm) parse(digits string, f *Frame) (time.Time, bool) {
	layout := form.layout
	if rest, ok := strings.CutPrefix(layout, "day "); ok {
		m := folderDay.FindAllStringSubmatch(path.Dir(f.Name), -1)
		if len(m) == 0 {
			return time.Time{}, false
		}
		day := m[len(m)-1]
		layout, digits = "20060102"+rest, day[1]+day[2]+day[3]+digits
	}
	switch layout {
	case "epoch", "epoch ms":
		v, err := strconv.ParseInt(digits, 10, 64)
		t := time.Unix(v, 0)
		if layout == "epoch ms" {
			t = time.UnixMilli(v)
		}
		t = t.UTC()
		return t, err == nil && t.Year() >= 2001 && t.Year() < 2040
	case noYear, noYear + "05":
		t, err := time.Parse("2006"+layout, f.ModTime.UTC().Format("2006")+digits)
		if t.After(f.ModTime.Add(48 * time.Hour)) {
			t = t.AddDate(-1, 0, 0)
		}
		return t, err == nil
	}
	if n := len(digits); strings.HasSuffix(layout, ".000") {
		digits = digits[:n-3] + "." + digits[n-3:]
	}
	t, err := time.Parse(layout, digits)
	return t, err == nil && t.Year() >= 1990 && t.Year() < 2100
}

// naturally compares names as people order them: 2 before 10.
func naturally(a, b string) int {
	for a != "" && b != "" {
		if isDigit(a[0]) && isDigit(b[0]) {
			x, y := digitsOf(a), digitsOf(b)
			a, b = a[len(x):], b[len(y):]
			p, q := strings.TrimLeft(x, "0"), strings.TrimLeft(y, "0")
			if c := cmp.Or(cmp.Compare(len(p), len(q)), cmp.Compare(p, q)); c != 0 {
				return c
			}
			continue
		}
		if a[0] != b[0] {
			return cmp.Compare(a[0], b[0])
		}
		a, b = a[1:], b[1:]
	}
	return cmp.Compare(len(a), len(b))
}

func digitsOf(s string) string {
	n := 0
	for n < len(s) && isDigit(s[n]) {
		n++
	}
	return s[:n]
}
