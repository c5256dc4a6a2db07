package ingest

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"stillspan/ingest/account"
	"stillspan/internal/stamp"
)

// spot is one still of a case: its name, seconds after the evening began, and what
// else its header says.
type spot struct {
	name string
	at   float64
	also func(f *stamp.Fields)
}

// run is n frames every interval from second at on, numbered from first in a
// pattern; without those whose places are gone.
func run(pattern string, first, n int, at, interval float64, gone ...int) (out []spot) {
	for i := range n {
		if !slices.Contains(gone, i) {
			out = append(out, spot{name: fmt.Sprintf(pattern, first+i), at: at + float64(i)*interval})
		}
	}
	return out
}

func span(from, n int) (out []int) {
	for i := range n {
		out = append(out, from+i)
	}
	return out
}

// later moves the stamps from frame k on.
func later(list []spot, k int, by float64) []spot {
	for i := k; i < len(list); i++ {
		list[i].at += by
	}
	return list
}

func with(list []spot, also func(f *stamp.Fields)) []spot {
	for i := range list {
		list[i].also = also
	}
	return list
}

// steps are frames numbered on whose steps are given in turn.
func steps(first, n int, step func(i int) float64) (out []spot) {
	at := 0.0
	for i := range n {
		out = append(out, spot{name: fmt.Sprintf("DSC_%04d.JPG", first+i), at: at})
		at += step(i)
	}
	return out
}

func noSerial(f *stamp.Fields) { f.Serial = "" }

// renumbered gives files numbers by their order in time, as an import does.
func renumbered(list []spot, number func(i int) int) []spot {
	slices.SortStableFunc(list, func(a, b spot) int { return int(math.Copysign(1, a.at-b.at)) })
	for i := range list {
		list[i].name = fmt.Sprintf("quay%04d.jpg", number(i))
	}
	return list
}

func bracketed(n int, gone ...int) (out []spot) {
	for i := range 3 * n {
		ev := []float64{0, -2, 2}[i%3]
		s := spot{fmt.Sprintf("DSC_%04d.JPG", i+1), float64(i/3)*20 + 0.7*float64(i%3), func(f *stamp.Fields) { f.ExposureS = 0.01 * math.Exp2(ev) }}
		if i/3 >= n/2 {
			s.at += 130 // a pause
		}
		if !slices.Contains(gone, i) {
			out = append(out, s)
		}
	}
	return out
}

// Each was misread once. Sequences by their count of frames, and what is missing.
// Names, pairs, orientation, dates, exposures and plans stand elsewhere: names_test
// here, verdict_counts and verdict_plan among the scripts.
func TestCases(t *testing.T) {
	const number = "DSC_%04d.JPG"
	for _, c := range []struct {
		what      string
		files     []spot
		sequences []int
		missing   map[account.Cause]int
		also      func(s *Sequence) bool // of the first
	}{
		{"1: a block of 31 of 300 lost", run(number, 1, 300, 0, 5, span(100, 31)...), []int{269}, map[account.Cause]int{account.FileLost: 31}, nil},
		{"1: half lost", run(number, 1, 400, 0, 5, span(90, 200)...), []int{200}, map[account.Cause]int{account.FileLost: 200}, nil},
		{"1: and the clock set there", later(run(number, 1, 400, 0, 5, span(90, 200)...), 90, -3600), []int{200}, map[account.Cause]int{account.FileLost: 200},
			func(s *Sequence) bool { return len(s.Timing.ClockSets) == 1 }},
		{"2: by hand", slices.Delete(steps(1, 60, func(i int) float64 { return []float64{2, 9, 4, 7, 3, 8, 5}[i%7] }), 20, 24), []int{56}, nil,
			func(s *Sequence) bool {
				return !s.Timing.Judged && len(s.Timing.Gaps) == 1 && s.Timing.Gaps[0].Count == 4
			}},
		{"5: two bodies in one folder, far ranges", with(slices.Concat(run(number, 100, 80, 0, 5), run(number, 7300, 80, 61, 5)), noSerial), []int{80, 80}, nil, nil},
		{"5: near ranges", with(slices.Concat(run(number, 100, 80, 0, 5), run(number, 310, 80, 61, 5)), noSerial), []int{80, 80}, nil, nil},
		{"5: of one length, folders that fill up", with(slices.Concat(run("100DSCIM/"+number, 100, 60, 0, 5), run("101DSCIM/"+number, 160, 20, 300, 5),
			run("100DSCIM/"+number, 410, 60, 61, 7), run("101DSCIM/"+number, 470, 20, 481, 7)), noSerial), []int{80, 80}, nil, nil},
		{"5: numbered by turns, 29 and 31 s", with(renumbered(slices.Concat(run(number, 1, 60, 0, 60), run(number, 1, 60, 29, 60)), func(i int) int { return i + 1 }), noSerial), []int{60, 60}, nil, nil},
		{"5: numbered in steps of 2 and 4", with(renumbered(slices.Concat(run(number, 1, 60, 0, 60), run(number, 1, 60, 25, 60)), func(i int) int { return 3*i + 1 + i%2 }), noSerial), []int{60, 60}, nil, nil},
		{"6: an interval near the clock's grain", run(number, 1, 120, 0, 0.7, 60), []int{119}, nil, func(s *Sequence) bool { return len(s.Timing.Gaps) == 1 && s.Timing.Gaps[0].Cause != account.NotFired }},
		{"8: changed and changed back", steps(1, 120, func(i int) float64 { return map[bool]float64{false: 5, true: 10}[i >= 40 && i < 80] }), []int{120}, nil,
			func(s *Sequence) bool { return len(s.Timing.Changes) == 2 }},
		{"8: ramped", steps(1, 120, func(i int) float64 { return 2 + 0.15*float64(i) }), []int{120}, nil, func(s *Sequence) bool { return len(s.Timing.Ramps) == 1 }},
		{"9: one stamp an hour off", slices.Concat(run(number, 1, 30, 0, 5), later(run(number, 31, 1, 150, 5), 0, 3600), run(number, 32, 30, 155, 5)), []int{61}, nil,
			func(s *Sequence) bool { return len(s.Timing.WrongStamps) == 1 && s.Timing.Slot[60] == 60 }},
		{"9: the last of 2000", slices.Concat(run(number, 1, 60, 0, 5), with(run(number, 61, 1, 0, 0), func(f *stamp.Fields) { f.DateTimeOriginal = "2000:01:01 00:00:00" })), []int{61}, nil,
			func(s *Sequence) bool { return len(s.Timing.WrongStamps) == 1 && s.Frames[60].Name == "DSC_0061.JPG" }},
		{"10: another view after 20 s", slices.Concat(run(number, 1, 60, 0, 5), with(run(number, 61, 60, 315, 8), func(f *stamp.Fields) { f.FocalMM = 85 })), []int{60, 60}, nil, nil},
		{"10: test stills before", slices.Concat(steps(1, 3, func(i int) float64 { return 17 + 9*float64(i) }), run(number, 4, 60, 100, 5)), []int{60}, nil, nil},
		{"12: brackets with a pause", bracketed(30), []int{30}, nil, func(s *Sequence) bool { return s.Timing.Bracket == 3 && len(s.Exposures) == 60 }},
		{"15: a pause near half an hour", later(run(number, 1, 120, 0, 5), 60, 1811), []int{60, 60}, nil, nil},
		{"16: rests at night", slices.Concat(run(number, 1, 57, 0, 900), run(number, 58, 57, 86400, 900), run(number, 115, 57, 2*86400, 900)), []int{171}, nil, nil},
		{"18: test stills after", slices.Concat(run(number, 1, 60, 0, 5), run(number, 61, 1, 309, 0), run(number, 62, 1, 340, 0)), []int{60}, nil, nil},
		{"18: one exposure of a bracket lost", bracketed(30, 28), []int{30}, nil, func(s *Sequence) bool { return s.Timing.Bracket == 3 && len(s.Timing.Gaps) >= 1 }},
		{"18: a card changed and a frame lost there", slices.Concat(run("A/"+number, 1, 39, 0, 5), run("B/"+number, 41, 40, 200, 5)), []int{79}, map[account.Cause]int{account.FileLost: 1}, nil},
		{"18: numbers reset by a format", slices.Concat(run("A/"+number, 701, 40, 0, 5), run("B/"+number, 1, 40, 200, 5)), []int{80}, nil, nil},
		{"18: the battery's end", slices.Concat(run(number, 1, 40, 0, 5), later(run(number, 41, 40, 0, 5), 0, -26*365*86400)), []int{80}, nil,
			func(s *Sequence) bool { return s.Frames[0].Name == "DSC_0001.JPG" }},
		{"the time of change where no other is", with(run(number, 1, 40, 0, 5, 20), func(f *stamp.Fields) { f.DateTime, f.DateTimeOriginal = f.DateTimeOriginal, "" }), []int{39},
			map[account.Cause]int{account.FileLost: 1}, nil},
		{"and a name that tells it better", with(run("20261125_1000%02d.jpg", 10, 40, 0, 5), func(f *stamp.Fields) { f.DateTime, f.DateTimeOriginal = "2026:12:01 08:00:00", "" }), []int{40}, nil,
			func(s *Sequence) bool { return s.Timing.Judged && math.Abs(s.Timing.IntervalS-1) < 0.01 }},
		{"lost over 9999", slices.Concat(run("P100%04d.JPG", 9960, 40, 0, 5, 38, 39), run("P100%04d.JPG", 2, 40, 205, 5)), []int{78}, map[account.Cause]int{account.FileLost: 3}, nil},
		{"a group of files and a folder begun after a pause", slices.Concat(run("133ACTIO/G002%04d.JPG", 9809, 24, 0, 5), run("134ACTIO/G003%04d.JPG", 27, 32, 1080, 5)), []int{24, 32}, nil, nil},
		{"three bodies at one interval are no bracket", with(slices.Concat(run(number, 100, 60, 0, 10), run(number, 2100, 60, 2, 10), run(number, 5100, 60, 5, 10)), noSerial), []int{60, 60, 60}, nil, nil},
	} {
		t.Run(c.what, func(t *testing.T) {
			dir := t.TempDir()
			for _, f := range c.files {
				still(t, dir, f.name, evening.Add(time.Duration(f.at*float64(time.Second))), f.also)
			}
			d := scan(t, dir)
			var counts []int
			missing := map[account.Cause]int{}
			for _, s := range d.Sequences {
				counts = append(counts, len(s.Frames))
				for _, g := range s.Timing.Gaps {
					missing[g.Cause] += g.Count
				}
			}
			if !slices.Equal(counts, c.sequences) || c.also == nil && fmt.Sprint(missing) != fmt.Sprint(c.missing) {
				t.Errorf("sequences %v, missing %v; want %v, %v", counts, missing, c.sequences, c.missing)
			} else if c.also != nil && !c.also(&d.Sequences[0]) {
				t.Errorf("%+v", d.Sequences[0].Timing)
			}
		})
	}
}
