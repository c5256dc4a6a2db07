package account

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

// Bodies of one model whose headers name no serial, in folders of their own or
// mingled and numbered anew by an import: each is told by itself.
func TestBodiesWithoutSerial(t *testing.T) {
	first, count := rateSeeds()
	for _, kind := range []string{"own series", "mingled by time", "mingled by name", "one body"} {
		by := map[string]int{}
		for seed := first; seed < first+3*count; seed++ {
			rng := rand.New(rand.NewPCG(uint64(seed), 78))
			bodies := 2
			if rng.IntN(4) == 0 {
				bodies = 3
			}
			if kind == "one body" {
				bodies = 1
			}
			var files []File
			var of []int
			start := 1.79e9 + rng.Float64()
			missing := 0
			p := []float64{2, 3, 5, 5, 8, 10, 30, 12.5}[rng.IntN(8)]
			grain := []float64{1, 0.01}[rng.IntN(2)]
			what := ""
			for b := range bodies {
				w := newWorld(rng)
				w.now, w.grain, w.series = start, grain, b
				w.offset = []float64{0, 1, 2, 60, 3600, -3600, 400}[rng.IntN(7)] * float64(min(b, 1)) * (0.3 + 0.7*rng.Float64())
				if rng.IntN(2) == 0 {
					p = []float64{2, 3, 5, 5, 8, 10, 30}[rng.IntN(7)]
				}
				w.now += p * rng.Float64()
				pl := plan{n: 40 + rng.IntN(150), interval: func(int) float64 { return p }, at: map[int]fault{}}
				if rng.IntN(2) == 0 {
					pl.at[10+rng.IntN(20)] = fault{"lost", 1 + rng.IntN(4), 0}
				}
				w.run(pl)
				list := w.files(true, true)
				missing += w.truth.lost
				what += fmt.Sprintf(" %d at %g s + %.4g, lost %d;", len(list), p, w.offset, w.truth.lost)
				for _, f := range list {
					files = append(files, f)
					of = append(of, b)
				}
			}
			if kind == "mingled by time" || kind == "mingled by name" {
				order := make([]int, len(files))
				for i := range order {
					order[i] = i
				}
				slices.SortStableFunc(order, func(a, b int) int {
					if kind == "mingled by name" {
						if c := files[a].Number - files[b].Number; files[a].Series == files[b].Series {
							return c
						}
					}
					return compareTimes(files[a].T, files[b].T)
				})
				for k, i := range order {
					files[i].Number, files[i].Series, files[i].Folder = k+1, 0, 0
				}
			}
			got := Bodies(files, Options{MinFrames: 5, LateFraction: 0.2})
			shoots, said := 0, 0
			pure := true
			for _, b := range got {
				shoots += len(b.Account.Shoots)
				for _, s := range b.Account.Shoots {
					for _, g := range s.Gaps {
						said += g.Count
					}
					for _, i := range s.Files {
						pure = pure && of[b.Files[i]] == of[b.Files[s.Files[0]]]
					}
				}
			}
			verdict := "right"
			switch {
			case shoots != bodies || !pure:
				verdict = "split"
			case said == 0 && missing > 0:
				verdict = "silent"
			case said != missing:
				verdict = "miscount"
			}
			by[verdict]++
			if verdict != "right" && count > 10 {
				t.Logf("%s seed %d:%s: %s: %d bodies %d shoots of %d, %d missing of %d, pure %v", kind, seed, what, verdict, len(got), shoots, bodies, said, missing, pure)
			}
		}
		t.Log(kind, by)
		n := 3 * count
		if by["silent"] > 0 || kind == "own series" && 10*by["right"] < 9*n || kind == "one body" && by["right"] < n {
			t.Errorf("%s: %v of %d", kind, by, n)
		}
	}
}
