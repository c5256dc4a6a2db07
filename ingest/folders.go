package ingest

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"
)

// FolderGap is a run of folders that a card should hold between two that are
// here, since the camera's file numbers run on over it.
type FolderGap struct {
	Before, After string // the last still before and the first after it
	First, Last   string // the folders that are not here; the same for one
	Numbers       int    // file numbers that are not here
}

// counter is what the folders and files of one camera on one card have in common,
// by the design rule for camera file systems (CIPA DC-009-2010, 3.2): DCIM, folders
// of three digits and five free characters, files of four free ones and four
// digits; some cameras have fewer or more free ones.
type counter struct{ parent, suffix, prefix string }

// counted is a file of a counter.
type counted struct {
	folder, number int
	name           string
}

// mostAFolder is how many files cameras put into one folder at most before they
// begin another (common practice, no published source).
const mostAFolder = 1000

func countedOf(name string) (c counter, f counted, ok bool) {
	dir, file := path.Split(name)
	parent, folder := path.Split(strings.TrimSuffix(dir, "/"))
	stem := strings.TrimSuffix(file, path.Ext(file))
	if len(folder) < 4 || len(stem) < 5 || !strings.EqualFold(path.Base(parent), "DCIM") {
		return c, f, false
	}
	n, err := strconv.ParseUint(folder[:3], 10, 16)
	k, err2 := strconv.ParseUint(stem[len(stem)-4:], 10, 16)
	return counter{parent, folder[3:], stem[:len(stem)-4]}, counted{int(n), int(k), name}, err == nil && err2 == nil && n >= 100 && k >= 1
}

// folderGaps finds the folders that are not here though the numbers of stills and
// movies run on over them.
func folderGaps(stills, movies []Frame) (gaps []FolderGap) {
	cards := make(map[counter][]counted)
	for _, list := range [][]Frame{stills, movies} {
		for i := range list {
			if c, f, ok := countedOf(list[i].Name); ok {
				cards[c] = append(cards[c], f)
			}
		}
	}
	for c, list := range cards {
		slices.SortFunc(list, func(a, b counted) int { return cmp.Or(a.folder-b.folder, a.number-b.number) })
		folder := func(n int) string { return fmt.Sprintf("%s%03d%s", c.parent, n, c.suffix) }
		for i := 1; i < len(list); i++ {
			a, b := list[i-1], list[i]
			numbers := (b.number - a.number - 1 + 9999) % 9999 // after 9999 comes 0001
			if gone := b.folder - a.folder - 1; gone > 0 && numbers > 0 && numbers <= gone*mostAFolder {
				gaps = append(gaps, FolderGap{a.name, b.name, folder(a.folder + 1), folder(b.folder - 1), numbers})
			}
		}
	}
	slices.SortFunc(gaps, func(a, b FolderGap) int { return cmp.Compare(a.Before, b.Before) })
	return gaps
}
