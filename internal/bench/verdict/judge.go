package main

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// answer is what of the program's report is judged (JSON, version 1).
type answer struct {
	Sequences []sequence `json:"sequences"`
	NotFound  []struct {
		Name string `json:"name"`
	} `json:"not_found"`
	Findings []remark `json:"findings"`
	Warnings []string `json:"warnings"`
	Exit     int      `json:"-"`
}

type remark struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
}

type sequence struct {
	ID      string `json:"id"`
	Frames  int    `json:"frames"`
	Missing []struct {
		Count int    `json:"count"`
		Cause string `json:"cause"`
	} `json:"missing"`
	Irregular []struct {
		Kind string `json:"kind"`
	} `json:"irregular"`
	Findings []remark `json:"findings"`
	Notes    []string `json:"notes"`
	Warnings []string `json:"warnings"`
	Headline string   `json:"headline"`
	Plan     *struct {
		Name string `json:"name"`
	} `json:"plan"`
	Delivered struct {
		Verdict string `json:"verdict"`
		Short   int    `json:"short_frames"`
	} `json:"delivered"`
	Rows []struct {
		File string `json:"file"`
	} `json:"frame_list"`
}

func parse(out []byte, exit int) (*answer, error) {
	a := &answer{Exit: exit}
	if exit != 0 && exit != 3 {
		return nil, fmt.Errorf("exit code %d", exit)
	}
	return a, json.Unmarshal(out, a)
}

// outcome is how an answer compares with the truth.
type outcome int

const (
	right outcome = iota
	silent
	invented
	split
	miscounted
	failed
	outcomes
)

var outcomeNames = [outcomes]string{"right", "silent", "invented", "split", "miscounted", "failed"}

// judge compares, the gravest first: a loss nobody was told of, a fault that
// is not there, shoots cut or joined wrongly, wrong counts or words.
func (t *truth) judge(a *answer) (outcome, string) {
	said, total := a.missing()
	fits, most, least := t.fits(said)
	plan, planWhy := t.judgePlan(a)
	parts := t.parts(a)
	switch {
	case a.Exit == 0 && t.Exit == 3:
		return silent, fmt.Sprintf("exit code 0; missing by the report %v", said)
	case total == 0 && least > 0 && !a.mentions(`short by|missing|lost`):
		return silent, "the loss is not mentioned"
	case plan == silent:
		return silent, planWhy
	case total > most:
		return invented, fmt.Sprintf("%v missing by the report, %d at most are%s", said, most, also(parts))
	case a.Exit == 3 && t.Exit == 0:
		return invented, "exit code 3: " + a.remarks() + also(parts)
	case t.Irregular >= 0 && a.irregular() > t.Irregular:
		return invented, fmt.Sprintf("%d frames late, early or double, %d at most are%s", a.irregular(), t.Irregular, also(parts))
	case plan == invented:
		return invented, planWhy
	case parts != "":
		return split, parts
	case !fits:
		return miscounted, fmt.Sprintf("missing by the report %v", said)
	case plan != right:
		return plan, planWhy
	}
	if why := t.frames(a); why != "" {
		return miscounted, why
	}
	for _, p := range t.Says {
		if !a.mentions(p) {
			return miscounted, fmt.Sprintf("nothing said like %q", p)
		}
	}
	return right, ""
}

func also(parts string) string {
	if parts == "" {
		return ""
	}
	return "; " + parts
}

// counts are numbers of missing frames by cause.
type counts [4]int

func (c counts) String() string {
	var out []string
	for i, w := range []string{"never fired", "lost", "numbers only", "unknown"} {
		if c[i] > 0 {
			out = append(out, fmt.Sprintf("%d %s", c[i], w))
		}
	}
	if out == nil {
		return "none"
	}
	return strings.Join(out, ", ")
}

func (a *answer) missing() (c counts, total int) {
	for _, s := range a.Sequences {
		for _, m := range s.Missing {
			for i := range c {
				if causeWords[m.Cause] == 1<<i {
					c[i] += m.Count
				}
			}
			total += m.Count
		}
	}
	return c, total
}

// fits tells whether the counts said are one of the accounts that the truth
// allows, and the most and the least frames these miss.
func (t *truth) fits(said counts) (fits bool, most, least int) {
	for _, m := range t.Missing {
		most += slices.Max(m.N)
		if !m.Optional {
			least += slices.Min(m.N)
		}
	}
	reach := map[counts]bool{{}: true}
	for _, m := range t.Missing {
		next := map[counts]bool{}
		for c := range reach {
			if m.Optional {
				next[c] = true
			}
			for _, n := range m.N {
				for i := range c {
					if m.Causes&(1<<i) == 0 {
						continue
					}
					if to := c; to[i]+n <= said[i] {
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

// parts tells how the sequences differ from the shoots; "" where they do not.
func (t *truth) parts(a *answer) string {
	in := map[*run]string{}
	for _, s := range a.Sequences {
		families := map[*body]int{}
		seen := map[*run]bool{}
		for _, row := range s.Rows {
			if p := t.Places[row.File]; p.run != nil && !p.free && !seen[p.run] {
				seen[p.run] = true
				if at, twice := in[p.run]; twice {
					return fmt.Sprintf("one shoot is cut into %s and %s", at, s.ID)
				}
				in[p.run] = s.ID
				families[p.run.body] = p.run.family
				if len(families) > 1 {
					return fmt.Sprintf("%s joins bodies", s.ID)
				}
			}
		}
		for r := range seen {
			if families[r.body] != r.family {
				return fmt.Sprintf("%s joins shoots", s.ID)
			}
		}
		if len(seen) == 0 {
			return fmt.Sprintf("%s, %d frames, is no shoot", s.ID, s.Frames)
		}
	}
	for r := range t.needs {
		if _, ok := in[r]; !ok {
			return fmt.Sprintf("a shoot of %d frames is in no sequence", len(t.needs[r]))
		}
	}
	return ""
}

// frames tells which frames the sequences lack or have too many; parts hold.
func (t *truth) frames(a *answer) string {
	rows := 0
	got := map[*run]map[int]int{}
	for _, s := range a.Sequences {
		for _, row := range s.Rows {
			p, known := t.Places[row.File]
			switch {
			case !known:
				return fmt.Sprintf("%s is unknown", row.File)
			case p.free:
			case p.run == nil:
				return fmt.Sprintf("%s is no frame of the shoot", row.File)
			default:
				if got[p.run] == nil {
					got[p.run] = map[int]int{}
				}
				got[p.run][p.slot]++
				rows++
			}
		}
	}
	for r, slots := range t.needs {
		for k, must := range slots {
			n := got[r][k]
			if must && n == 0 {
				return fmt.Sprintf("the frame of slot %d is in no sequence", k)
			}
			if n > 1 {
				return fmt.Sprintf("%d files stand for the frame of slot %d", n, k)
			}
		}
	}
	return ""
}

func (t *truth) judgePlan(a *answer) (outcome, string) {
	for _, p := range t.Plan {
		missed := slices.ContainsFunc(a.NotFound, func(x struct {
			Name string `json:"name"`
		}) bool {
			return x.Name == p.name
		})
		var s *sequence
		for i := range a.Sequences {
			if q := a.Sequences[i].Plan; q != nil && q.Name == p.name {
				s = &a.Sequences[i]
			}
		}
		family := 0
		if s != nil {
			for _, row := range s.Rows {
				if r := t.Places[row.File].run; r != nil {
					family = r.family
				}
			}
		}
		delivered := s != nil && strings.HasPrefix(s.Delivered.Verdict, "delivered")
		switch {
		case p.open:
		case delivered && !p.delivered:
			return silent, fmt.Sprintf("%q was not delivered as planned: %s", p.name, s.Headline)
		case p.delivered && missed:
			return invented, fmt.Sprintf("%q was shot and is not found", p.name)
		case p.delivered && s != nil && !delivered:
			return invented, fmt.Sprintf("%q was delivered: %s", p.name, s.Headline)
		case p.family > 0 && p.short >= 0 && (s == nil || family != p.family):
			return miscounted, fmt.Sprintf("%q is matched with another shoot or none", p.name)
		case p.family == 0 && !missed && !p.open:
			return miscounted, fmt.Sprintf("%q was not shot and is not missed", p.name)
		case p.short > 0 && s.Delivered.Short != p.short:
			return miscounted, fmt.Sprintf("%q is short by %d, not %d", p.name, p.short, s.Delivered.Short)
		}
	}
	return right, ""
}

func (a *answer) irregular() int {
	n := 0
	for _, s := range a.Sequences {
		n += len(s.Irregular)
	}
	return n
}

// texts are all sentences of the report.
func (a *answer) texts() []string {
	out := append([]string{}, a.Warnings...)
	for _, f := range a.Findings {
		out = append(out, f.Kind+": "+f.Text)
	}
	for _, s := range a.Sequences {
		for _, f := range s.Findings {
			out = append(out, f.Kind+": "+f.Text)
		}
		for _, x := range s.Irregular {
			out = append(out, x.Kind)
		}
		out = append(append(append(out, s.Notes...), s.Warnings...), s.Headline)
	}
	return out
}

func (a *answer) mentions(pattern string) bool {
	re := regexp.MustCompile("(?i)" + pattern)
	return slices.ContainsFunc(a.texts(), re.MatchString)
}

func (a *answer) remarks() string {
	var out []string
	for _, s := range a.Sequences {
		for _, f := range s.Findings {
			out = append(out, f.Text)
		}
	}
	for _, f := range a.Findings {
		out = append(out, f.Text)
	}
	return strings.Join(out, "; ")
}
