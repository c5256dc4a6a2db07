package main

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// answer is what of the program's report is judged: its names of version 1.
type answer struct {
	Exit      int        `json:"-"`
	Sequences []sequence `json:"sequences"`
	NotFound  []named    `json:"not_found"`
	Findings  []remark   `json:"findings"`
	Warnings  []string   `json:"warnings"`
}

type sequence struct {
	ID      string `json:"id"`
	Missing []struct {
		Count int    `json:"count"`
		Cause string `json:"cause"`
	} `json:"missing"`
	Irregular []struct {
		Kind string `json:"kind"`
	} `json:"irregular"`
	Alternatives []struct {
		Text string `json:"text"`
	} `json:"alternatives"`
	Breaks []struct {
		Kind string `json:"kind"`
	} `json:"breaks"`
	Findings  []remark `json:"findings"`
	Notes     []string `json:"notes"`
	Warnings  []string `json:"warnings"`
	Headline  string   `json:"headline"`
	Plan      *named   `json:"plan"`
	Delivered struct {
		Verdict string `json:"verdict"`
		Short   int    `json:"short_frames"`
	} `json:"delivered"`
	Rows []struct {
		File string `json:"file"`
	} `json:"frame_list"`
}

type named struct {
	Name string `json:"name"`
}

type remark struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
}

func parse(out []byte, exit int) (*answer, error) {
	if exit != 0 && exit != 3 {
		return nil, fmt.Errorf("exit code %d", exit)
	}
	a := &answer{Exit: exit}
	return a, json.Unmarshal(out, a)
}

// outcome is how an answer compares with the truth.
type outcome string

const (
	right      outcome = "right"
	silent     outcome = "silent"     // of a loss
	invented   outcome = "invented"   // a fault that is not there
	split      outcome = "split"      // shoots cut or joined
	miscounted outcome = "miscounted" // wrong counts, causes or words
	failed     outcome = "failed"     // no report
)

var outcomes = []outcome{right, silent, invented, split, miscounted, failed}

// judge compares, the gravest first.
func (t *truth) judge(a *answer) (outcome, string) {
	said, total := a.missing()
	fits, most, least := t.fits(said, a.hedges())
	plan, planWhy := t.judgePlan(a)
	parts, frames := t.frames(a)
	irregular := 0
	for _, s := range a.Sequences {
		irregular += len(s.Irregular)
	}
	switch {
	case a.Exit == 0 && t.Exit == 3:
		return silent, fmt.Sprint("exit code 0; missing by the report: ", said)
	case total == 0 && least > 0 && !a.mentions(`short by|missing|lost`):
		return silent, "the loss is not mentioned"
	case plan == silent:
		return silent, planWhy
	case total > most:
		return invented, fmt.Sprintf("missing by the report: %v; %d at most are. %s", said, most, parts)
	case a.Exit == 3 && t.Exit == 0:
		return invented, "exit code 3: " + strings.Join(a.texts(), "; ") + ". " + parts
	case t.Irregular >= 0 && irregular > t.Irregular:
		return invented, fmt.Sprintf("%d frames late, early or double, %d at most are. %s", irregular, t.Irregular, parts)
	case plan == invented:
		return invented, planWhy
	case parts != "":
		return split, parts
	case !fits:
		return miscounted, fmt.Sprint("missing by the report: ", said)
	case plan != right:
		return plan, planWhy
	case frames != "":
		return miscounted, frames
	}
	for _, p := range t.Says {
		if !a.mentions(p) {
			return miscounted, fmt.Sprintf("nothing said like %q", p)
		}
	}
	return right, ""
}

// counts are numbers of missing frames by cause.
type counts [4]int

func (c counts) String() string {
	return fmt.Sprintf("%d never fired, %d lost, %d numbers only, %d unknown", c[0], c[1], c[2], c[3])
}

// hedges tells whether another account is named beside.
func (a *answer) hedges() bool {
	return slices.ContainsFunc(a.Sequences, func(s sequence) bool { return len(s.Alternatives) > 0 })
}

func (a *answer) missing() (c counts, total int) {
	for _, s := range a.Sequences {
		for _, m := range s.Missing {
			total += m.Count
			if i := slices.Index(causeWords, m.Cause); i >= 0 {
				c[i] += m.Count
			}
		}
	}
	return c, total
}

// fits tells whether the counts said are among the accounts that the truth
// allows, and the most and the least frames that these miss.
func (t *truth) fits(said counts, hedged bool) (fits bool, most, least int) {
	reach := map[counts]bool{{}: true}
	for _, m := range t.Missing {
		most += slices.Max(m.N)
		may := m.Optional || m.Either && hedged
		if !may {
			least += slices.Min(m.N)
		}
		next := map[counts]bool{}
		for c := range reach {
			if may {
				next[c] = true
			}
			for _, n := range m.N {
				for i := range c {
					if to := c; m.Causes&(1<<i) != 0 && to[i]+n <= said[i] {
						to[i] += n
						next[to] = true
					}
				}
			}
		}
		reach = next
	}
	return reach[said], most, least
}

// frames tells how the sequences differ from the shoots, and which frames they
// lack or have too many; "" where nothing.
func (t *truth) frames(a *answer) (parts, frames string) {
	in := map[*run]string{}
	got := map[*run]map[int]int{}
	for _, s := range a.Sequences {
		family := map[*body]int{}
		last := map[*run]int{}
		for _, row := range s.Rows {
			p, known := t.Places[row.File]
			switch {
			case !known || p.run == nil && !p.free:
				frames = row.File + " is no frame of a shoot"
			case !p.free:
				if got[p.run] == nil {
					got[p.run] = map[int]int{}
				}
				if got[p.run][p.slot]++; p.slot < last[p.run] {
					frames = row.File + " is out of order"
				}
				last[p.run] = p.slot
				if at, twice := in[p.run]; twice && at != s.ID {
					parts = fmt.Sprintf("one shoot is cut into %s and %s", at, s.ID)
				}
				if f, ok := family[p.run.body]; ok && f != p.run.family {
					parts = s.ID + " joins shoots"
				}
				in[p.run], family[p.run.body] = s.ID, p.run.family
			}
		}
		switch len(family) {
		case 0:
			parts = fmt.Sprintf("%s, %d frames, is no shoot", s.ID, len(s.Rows))
		case 1:
		default:
			parts = s.ID + " joins bodies"
		}
	}
	for r, slots := range t.slots {
		for k, f := range slots {
			n := got[r][k]
			if f.left > 0 && in[r] == "" {
				parts = fmt.Sprintf("a shoot of %d frames is in no sequence", len(slots))
			}
			if n > 1 || n == 0 && f.left > 0 && f.lost == 0 {
				frames = fmt.Sprintf("%d files stand for the frame of slot %d", n, k)
			}
		}
	}
	return parts, frames
}

func (t *truth) judgePlan(a *answer) (outcome, string) {
	for _, p := range t.Plan {
		missed := slices.Contains(a.NotFound, named{p.name})
		i := slices.IndexFunc(a.Sequences, func(s sequence) bool { return s.Plan != nil && s.Plan.Name == p.name })
		var s sequence
		family := 0
		if i >= 0 {
			s = a.Sequences[i]
			for _, row := range s.Rows {
				if r := t.Places[row.File].run; r != nil {
					family = r.family
				}
			}
		}
		delivered := strings.HasPrefix(s.Delivered.Verdict, "delivered")
		switch {
		case delivered && !p.delivered && !p.open:
			return silent, fmt.Sprintf("%q was not delivered as planned: %s", p.name, s.Headline)
		case p.delivered && missed:
			return invented, fmt.Sprintf("%q was shot and is not found", p.name)
		case p.delivered && !p.open && i >= 0 && !delivered:
			return invented, fmt.Sprintf("%q was delivered: %s", p.name, s.Headline)
		case p.family > 0 && p.short >= 0 && family != p.family:
			return miscounted, fmt.Sprintf("%q is matched with another shoot or none", p.name)
		case p.family == 0 && !missed:
			return miscounted, fmt.Sprintf("%q was not shot and is not missed", p.name)
		case p.short > 0 && s.Delivered.Short != p.short:
			return miscounted, fmt.Sprintf("%q is short by %d, not %d", p.name, p.short, s.Delivered.Short)
		}
	}
	return right, ""
}

// texts are the findings and remarks of the report.
func (a *answer) texts() (out []string) {
	add := func(found []remark, more ...string) {
		for _, f := range found {
			out = append(out, f.Kind+": "+f.Text)
		}
		out = append(out, more...)
	}
	add(a.Findings, a.Warnings...)
	for _, s := range a.Sequences {
		add(s.Findings, append(s.Notes, s.Warnings...)...)
		for _, x := range append(s.Irregular, s.Breaks...) {
			add(nil, x.Kind)
		}
	}
	return out
}

func (a *answer) mentions(pattern string) bool {
	return slices.ContainsFunc(a.texts(), regexp.MustCompile("(?i)"+pattern).MatchString)
}
