package plan

import (
	"errors"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Keys a plan file knows, by table.
var (
	topKeys    = []string{"defaults", "shoot"}
	renderKeys = []string{"rate", "aspect", "size", "codec", "smooth", "zone", "gaps", "deflicker"}
	shootKeys  = append([]string{
		"name", "folder", "from", "to", "frames", "interval_s", "shooting_time", "clip_s", "exposure",
	}, renderKeys...)
)

// explain turns the parser's error into one line: which line of the file,
// what is wrong there, what to try.
func explain(err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		e := strict.Errors[0]
		row, _ := e.Position()
		return unknownKey(row, e.Key())
	}
	var syntax *toml.DecodeError
	if errors.As(err, &syntax) {
		row, col := syntax.Position()
		what := strings.TrimPrefix(syntax.Error(), "toml: ")
		if key := strings.Join(syntax.Key(), "."); key != "" {
			return fmt.Errorf("line %d, key %q: %s%s", row, key, what, hintFor(syntax.Key()))
		}
		return fmt.Errorf("line %d, column %d: %s", row, col, what)
	}
	return err
}

// hintFor says how the value of a key that is easily mistyped is written.
func hintFor(key toml.Key) string {
	switch key[len(key)-1] {
	case "from", "to":
		return "; write the camera's wall clock without a zone: 2026-05-01T05:40:00"
	case "frames", "smooth":
		return "; write a whole number"
	case "name", "folder", "aspect", "size", "codec", "zone", "gaps":
		return "; write text in double quotes"
	}
	return ""
}

func unknownKey(row int, key toml.Key) error {
	known := topKeys
	switch {
	case len(key) > 1 && key[0] == "shoot":
		known = shootKeys
	case len(key) > 1 && key[0] == "defaults":
		known = renderKeys
	}
	last := key[len(key)-1]
	if best := closest(last, known); best != "" {
		return fmt.Errorf("line %d: unknown key %q: did you mean %q?", row, last, best)
	}
	return fmt.Errorf("line %d: unknown key %q: known here are %s", row, last, strings.Join(known, ", "))
}

// closest returns the known key closest to word, or "" when none is close.
func closest(word string, known []string) string {
	best, bestD := "", len(word)/3+2
	for _, k := range known {
		d := editDistance(strings.ToLower(word), k)
		if strings.HasPrefix(k, strings.ToLower(word)+"_") {
			d = 1
		}
		if d < bestD {
			best, bestD = k, d
		}
	}
	return best
}

// editDistance is the least number of single-byte insertions, deletions and
// replacements that turn a into b.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diag := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			diag, row[j] = row[j], min(row[j]+1, row[j-1]+1, diag+cost)
		}
	}
	return row[len(b)]
}
