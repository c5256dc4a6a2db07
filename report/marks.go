package report

import "strings"

// Marks stand near the beginning of what this program writes, so that it
// replaces nothing else unasked.
const (
	MarkJSON = `"made_by": "stillspan"`
	MarkHTML = `<meta name="generator" content="stillspan"/>`
	MarkSums = "# stillspan "
)

// MarkCSV is the header of a table of frames.
var MarkCSV = strings.Join(csvHeader, ",")
