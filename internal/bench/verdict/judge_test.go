package main

import (
	"fmt"
	"maps"
	"slices"
	"testing"
)

// perfect is the answer of somebody who was there.
func (t *truth) perfect() *answer {
	a := &answer{Exit: max(t.Exit, 0)}
	at := map[*run]map[int]string{}
	for name, p := range t.Places {
		if p.run != nil && !p.free && t.slots[p.run][p.slot].left > 0 {
			if at[p.run] == nil {
				at[p.run] = map[int]string{}
			}
			at[p.run][p.slot] = name
		}
	}
	for r, slots := range at {
		s := sequence{ID: fmt.Sprint(len(a.Sequences))}
		for _, k := range slices.Sorted(maps.Keys(slots)) {
			s.Rows = append(s.Rows, struct {
				File string `json:"file"`
			}{slots[k]})
		}
		for _, p := range t.Plan {
			if p.family == r.family {
				s.Plan = &named{p.name}
				s.Delivered.Short = p.short
				if s.Delivered.Verdict = "short"; p.delivered {
					s.Delivered.Verdict = "delivered"
				}
			}
		}
		a.Sequences = append(a.Sequences, s)
	}
	for _, p := range t.Plan {
		if p.family == 0 {
			a.NotFound = append(a.NotFound, named{p.name})
		}
	}
	for _, m := range t.Missing {
		if !m.Optional {
			i := 0
			for m.Causes&(1<<i) == 0 {
				i++
			}
			a.miss(m.N[0], causeWords[i])
		}
	}
	a.Warnings = []string{"late lost damaged raw interval bracket clock name"}
	return a
}

func (a *answer) miss(n int, cause string) {
	s := &a.Sequences[0]
	s.Missing = append(s.Missing, struct {
		Count int    `json:"count"`
		Cause string `json:"cause"`
	}{n, cause})
}

// Each kind can be drawn, the true answer is right, and answers that differ
// from it in one thing are not.
func TestJudge(t *testing.T) {
	o := options{seed: 1}
	for i, k := range kinds() {
		for j := range 5 {
			_, tr, err := o.draw(k, 1000*j+i)
			if err != nil {
				t.Fatal(err)
			}
			if got, why := tr.judge(tr.perfect()); got != right {
				t.Errorf("%s: the truth is judged %s: %s", k.name, got, why)
			}
			wrong := func(want outcome, change func(a *answer)) {
				a := tr.perfect()
				change(a)
				if got, why := tr.judge(a); got != want {
					t.Errorf("%s: judged %s (%s), want %s", k.name, got, why, want)
				}
			}
			if tr.Exit >= 0 {
				wrong(map[int]outcome{0: invented, 3: silent}[tr.Exit], func(a *answer) { a.Exit = 3 - a.Exit })
			}
			wrong(invented, func(a *answer) { a.miss(5000, "unknown") })
			if sure := func(m missing) bool { return !m.Optional }; slices.ContainsFunc(tr.Missing, sure) {
				wrong(silent, func(a *answer) { a.Exit, a.Sequences[0].Missing = 0, nil })
				wrong(miscounted, func(a *answer) {
					a.Sequences[0].Missing = nil
					a.miss(0, "unknown")
				})
			}
			if s := tr.perfect().Sequences; tr.Irregular >= 0 && len(s[0].Rows) > 1 {
				wrong(split, func(a *answer) {
					a.Sequences = append(a.Sequences, sequence{ID: "rest", Rows: s[0].Rows[:1]})
					a.Sequences[0].Rows = s[0].Rows[1:]
				})
			}
		}
	}
}
