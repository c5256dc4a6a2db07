package account

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
)

// judge compares an account with the truth.
func judge(files []File, t *truth, a Account) (verdict, why string) {
	var got tally
	for _, s := range a.Shoots {
		for _, g := range s.Gaps {
			switch g.Cause {
			case NotFired:
				got.never += int32(g.Count)
			case FileLost:
				got.lost += int32(g.Count)
			case NumberSkip:
				got.spare += int32(g.Count)
			case Unknown:
				got.unknown += int32(g.Count)
			}
		}
	}
	want := tally{int32(t.never), int32(t.lost), int32(t.spare), int32(t.unknown)}
	others := 0
	for _, s := range a.Shoots {
		others += len(s.Others)
	}
	why = fmt.Sprintf("shoots %d want %d, missing %+v want %+v, others %d", len(a.Shoots), t.shoots, got, want, others)
	missing := want.never + want.lost + want.unknown + want.spare
	said := got.never + got.lost + got.unknown + got.spare
	switch {
	case missing > 0 && said == 0 && others == 0:
		return "silent", why
	case len(a.Shoots) != t.shoots:
		return "split", why
	case missing == 0 && said > 0:
		return "invented", why
	case got != want:
		var sum tally
		for _, s := range a.Shoots {
			for _, o := range s.Others {
				alt := tally{int32(o.Missing[NotFired]), int32(o.Missing[FileLost]), int32(o.Missing[NumberSkip]), int32(o.Missing[Unknown])}
				if got.plus(alt) == want {
					return "either", why
				}
				sum = sum.plus(alt)
			}
		}
		if got.plus(sum) == want {
			return "either", why
		}
		return "miscount", why
	}
	for k, s := range a.Shoots {
		n := 0
		first := t.of[s.Files[len(s.Files)/2]]
		for i := range t.of {
			if t.of[i] == first {
				n++
			}
		}
		if n != len(s.Files)+len(s.Unused) {
			return "members", why + fmt.Sprintf("; shoot %d has %d of %d", k, len(s.Files), n)
		}
	}
	for _, s := range a.Shoots {
		for _, o := range s.Others {
			for _, n := range o.Missing {
				if missing == 0 && n > 0 && len(s.Irregular)+len(s.Delays)+len(s.ClockSets) == 0 {
					return "alarm", why + fmt.Sprintf(" %+v", o)
				}
			}
		}
	}
	return "right", why
}

func rateSeeds() (first, count int) {
	first, count = 0, 10
	if v, err := strconv.Atoi(os.Getenv("ACCOUNT_COUNT")); err == nil {
		count = v
	}
	if v, err := strconv.Atoi(os.Getenv("ACCOUNT_FIRST")); err == nil {
		first = v
	}
	return first, count
}

// Dumps of every kind, whose truth is known: none may pass a loss by in silence.
// ACCOUNT_COUNT, ACCOUNT_FIRST and ACCOUNT_KIND draw others, ACCOUNT_SHOW tells
// which went wrong.
func TestRates(t *testing.T) {
	first, count := rateSeeds()
	only := os.Getenv("ACCOUNT_KIND")
	total := map[string]int{}
	for _, kind := range kinds {
		if only != "" && kind != only {
			continue
		}
		by := map[string]int{}
		for seed := first; seed < first+count; seed++ {
			files, truth, what := draw(rand.New(rand.NewPCG(uint64(seed), 77)), kind)
			a := Solve(files, Options{MinFrames: 5, LateFraction: 0.2})
			verdict, why := judge(files, truth, a)
			by[verdict]++
			total[verdict]++
			if verdict != "right" && os.Getenv("ACCOUNT_SHOW") != "" {
				t.Logf("seed %d %s\n   %s: %s", seed, what, verdict, why)
			}
		}
		line := ""
		for _, v := range slices.Sorted(keysOf(by)) {
			line += fmt.Sprintf(" %s %d", v, by[v])
		}
		t.Logf("%-24s%s", kind, line)
	}
	t.Log(total)
	n := 0
	for _, k := range total {
		n += k
	}
	if total["silent"] > 0 || 100*(total["right"]+total["either"]) < 98*n {
		t.Errorf("%v: none may be silent, and 98 in 100 right", total)
	}
}

func keysOf(m map[string]int) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}
