package ingest

import (
	"fmt"
	"testing"
	"time"
)

// Numbers that are missing beside a shoot are told, wherever what is beside it lies;
// none are where the counter runs on, where too much time lies between, or where
// the numbers are two bodies'.
func TestNumberGaps(t *testing.T) {
	minute := time.Minute
	for name, c := range map[string]struct {
		beside string // folder of the stills before the shoot
		first  int    // number of the shoot's first still; those before end at 10
		pause  time.Duration
		want   int
	}{
		"runs on":           {"", 11, 5 * minute, 0},
		"in one folder":     {"", 80, 15 * minute, 69},
		"in another folder": {"tests/", 310, 40 * minute, 299},
		"days later":        {"", 80, 50 * time.Hour, 0},
		"another card's":    {"", 5000, 90 * minute, 0},
	} {
		dir := t.TempDir()
		for i := range 3 {
			still(t, dir, fmt.Sprintf("%sIMG_%04d.JPG", c.beside, 8+i), evening.Add(time.Duration(i*i)*time.Minute), nil)
		}
		for i := range 20 {
			still(t, dir, fmt.Sprintf("shoot/IMG_%04d.JPG", c.first+i), evening.Add(4*minute+c.pause+time.Duration(i)*10*time.Second), nil)
		}
		d := scan(t, dir)
		got := 0
		for _, g := range d.NumberGaps {
			got += g.Count
		}
		for _, s := range d.Sequences {
			for _, g := range s.Timing.Gaps {
				got += g.Count
			}
		}
		if len(d.Sequences) != 1 || got != c.want {
			t.Errorf("%s: %d missing, want %d (%+v)", name, got, c.want, d.NumberGaps)
		}
	}
}
