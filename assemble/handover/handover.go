// Package handover writes the lists that go with finished clips to an editor:
// an edit list, a timeline, and a table of which still became which frame.
// Clips in, bytes out.
package handover

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"stillspan/internal/playback"
	"stillspan/internal/timecode"
	"stillspan/internal/words"
)

// Clip is a finished clip.
type Clip struct {
	File     string // in the folder handed over
	Sequence string // its ID
	Shoot    string // planned name; may be empty
	Camera   string
	Rate     playback.Rate
	// Timecode is the label of the first frame; a clip without counts from 0,
	// as editing suites take it.
	Timecode string
	Frames   []Frame
}

// Frame is a frame of a clip.
type Frame struct {
	// Still is the file it was made of, as the report names it; for a frame made
	// up to fill a gap that of the frame before, for one of a slate none.
	Still string
	// LastStill is set where it was blended of Still and those after it up to this.
	LastStill    string
	Taken        string // by the camera's clock; empty when unknown
	CorrectionEV float64
	MadeUp       bool
}

// start is the label of the first frame. ok is false at a rate without time
// code.
func (c *Clip) start() (timecode.Code, bool) {
	_, drop, ok := timecode.Counts(c.Rate)
	if t, err := timecode.Parse(c.Timecode, c.Rate); err == nil {
		return t, true
	}
	return timecode.Code{Rate: c.Rate, Drop: drop}, ok
}

// pastMidnight tells whether the labels begin anew within the clip, so that its out-point
// comes before its in-point.
func (c *Clip) pastMidnight() bool {
	in, ok := c.start()
	return ok && in.Add(len(c.Frames)).Frame < in.Frame
}

// maxEvents is how many events an edit list of CMX 3600 form numbers.
const maxEvents = 999

// recordStart is where a list's record side begins: at one hour, as edited
// programmes do (common practice, no published source).
func recordStart(r playback.Rate) timecode.Code {
	_, drop, _ := timecode.Counts(r)
	n, _, _ := timecode.Counts(r)
	c := timecode.Code{Frame: 3600 * n, Rate: r, Drop: drop}
	if drop {
		c.Frame -= 54 * n / 15
	}
	return c
}

// List is an edit list.
type List struct {
	Name string // of its file
	Text []byte
}

// EditLists lays the clips end to end as cuts, in CMX 3600 form: an event a
// clip, by its own time code. Such a list has one rate, so that there is one for
// each; left says which clips are in none, at a rate without time code or beyond
// the 999 events.
func EditLists(title string, clips []Clip) (lists []List, left []string) {
	byRate := map[playback.Rate][]*Clip{}
	var rates []playback.Rate
	for i := range clips {
		c := &clips[i]
		if _, ok := c.start(); !ok || len(c.Frames) == 0 || len(byRate[c.Rate]) == maxEvents {
			left = append(left, c.File)
			continue
		}
		if byRate[c.Rate] == nil {
			rates = append(rates, c.Rate)
		}
		byRate[c.Rate] = append(byRate[c.Rate], c)
	}
	slices.SortFunc(rates, func(a, b playback.Rate) int { return cmp.Compare(a.FPS(), b.FPS()) })
	for _, r := range rates {
		lists = append(lists, List{editListName(r), editList(title, byRate[r])})
	}
	return lists, left
}

func editListName(r playback.Rate) string {
	return fmt.Sprintf("clips-%s.edl", words.Number(r.FPS(), 3))
}

func editList(title string, clips []*Clip) []byte {
	var b bytes.Buffer
	at := recordStart(clips[0].Rate)
	fmt.Fprintf(&b, "TITLE: %s\n", words.OneLine(title))
	mode := "NON-DROP FRAME"
	if at.Drop {
		mode = "DROP FRAME"
	}
	fmt.Fprintf(&b, "FCM: %s\n\n", mode)
	reels := reelNames(clips)
	for i, c := range clips {
		in, _ := c.start()
		n := len(c.Frames)
		fmt.Fprintf(&b, "%03d  %-8s V     C        %s %s %s %s\n", i+1, reels[i], in, in.Add(n), at, at.Add(n))
		fmt.Fprintf(&b, "* FROM CLIP NAME: %s\n", words.OneLine(c.File))
		fmt.Fprintf(&b, "* SOURCE FILE: %s\n", words.OneLine(c.File))
		at = at.Add(n)
	}
	return b.Bytes()
}

// reelLetters is how long a reel's name may be.
const reelLetters = 8

// reelNames gives each clip a reel of its own: the last letters and digits of
// its name, or where these do not tell it from another, its number.
func reelNames(clips []*Clip) []string {
	out := make([]string, len(clips))
	count := map[string]int{"": 2, "BL": 2, "AX": 2} // BL is black, AX no reel
	for i, c := range clips {
		name := strings.Map(func(r rune) rune {
			if r > unicode.MaxASCII || !unicode.IsLetter(r) && !unicode.IsDigit(r) {
				return -1
			}
			return unicode.ToUpper(r)
		}, strings.TrimSuffix(c.File, path.Ext(c.File)))
		out[i] = name[max(0, len(name)-reelLetters):]
		count[out[i]]++
	}
	for i, name := range out {
		if count[name] > 1 {
			out[i] = fmt.Sprintf("CLIP%04d", i+1)
		}
	}
	return out
}

// Table is a row a frame of a clip with the still it was made of (RFC 4180,
// UTF-8).
func Table(clips []Clip) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write([]string{"clip", "frame", "timecode", "sequence", "still", "taken", "correction_ev", "made_up", "last_still"})
	for i := range clips {
		c := &clips[i]
		at, ok := c.start()
		for k, f := range c.Frames {
			label := ""
			if ok && c.Timecode != "" {
				label = at.Add(k).String()
			}
			_ = w.Write([]string{
				c.File, strconv.Itoa(k + 1), label, c.Sequence, f.Still, f.Taken,
				strconv.FormatFloat(f.CorrectionEV, 'f', 4, 64), strconv.FormatBool(f.MadeUp), f.LastStill,
			})
		}
	}
	w.Flush() // to memory, which takes all
	return b.Bytes()
}
