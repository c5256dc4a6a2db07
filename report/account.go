package report

import (
	"fmt"
	"strings"

	"stillspan/ingest/account"
	"stillspan/internal/words"
)

// breaks lists where time or clock jumps and no frame is missing.
func (b *builder) breaks() {
	t := &b.seq.Timing
	b.out.Breaks = []Break{}
	add := func(k int, kind string, byS Float) {
		b.out.Breaks = append(b.out.Breaks, Break{b.name(k), k + 1, kind, byS})
	}
	for _, p := range t.Pauses {
		add(p.Index, BreakPause, Float(p.ByS))
	}
	for _, k := range t.Rests {
		add(k, BreakRest, unknown)
	}
	for _, c := range t.ClockSets {
		add(c.Index, BreakClockSet, Float(c.ByS))
	}
	for _, k := range t.WrongStamps {
		add(k, BreakWrongStamp, unknown)
	}
}

// breakNotes tell of the breaks that do not touch the clip, each kind once.
func (b *builder) breakNotes() []string {
	count, first := map[string]int{}, map[string]Break{}
	for _, x := range b.out.Breaks {
		if count[x.Kind]++; count[x.Kind] == 1 {
			first[x.Kind] = x
		}
	}
	var out []string
	if n, x := count[BreakRest], first[BreakRest]; n > 0 {
		out = append(out, fmt.Sprintf("The camera rested %s by its daily hours, first after %s", times(n), base(x.File)))
	}
	if n, x := count[BreakClockSet], first[BreakClockSet]; n > 0 {
		way := "forward"
		if x.ByS < 0 {
			way, x.ByS = "back", -x.ByS
		}
		again := ""
		if n > 1 {
			again = fmt.Sprintf(" and %s more", times(n-1))
		}
		out = append(out, fmt.Sprintf("The camera's clock was set %s by %s at %s%s; timing is judged as if it had not been", way, words.Seconds(float64(x.ByS)), base(x.File), again))
	}
	if n, x := count[BreakWrongStamp], first[BreakWrongStamp]; n > 0 {
		out = append(out, fmt.Sprintf("The stamp of %s is wrong, first of %s: the order of the numbers holds", frames(n), base(x.File)))
	}
	return out
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// alternatives sets beside the account what another says that is nearly as
// likely. Where both miss the same, which shoots there are is a remark, since no
// verdict hangs on it but the plan's, which is judged by itself.
func (b *builder) alternatives() {
	b.out.Alternatives = []Alternative{}
	for _, o := range b.seq.Timing.Others {
		here := map[account.Cause]int{}
		for _, g := range b.seq.Timing.Gaps {
			if g.After >= o.First-1 && g.After <= o.Last {
				here[g.Cause] += g.Count
			}
		}
		sums := func(more map[account.Cause]int) MissingSums {
			n := func(c account.Cause) int { return max(0, here[c]+more[c]) }
			return MissingSums{n(account.NotFired), n(account.FileLost), n(account.NumberSkip), n(account.Unknown)}
		}
		this, that := sums(nil), sums(o.Missing)
		first, last := max(o.First, 0), min(o.Last, len(b.seq.Frames)-1)
		a := Alternative{
			First: b.name(first), Last: b.name(last), FirstFrame: first + 1, LastFrame: last + 1,
			MoreShoots: o.Shoots, Missing: that,
		}
		one, two := this.text(), that.text()
		switch {
		case o.Shoots > 0 && this == that:
			one, two = "this is one shoot", "a new one begins there"
		case o.Shoots < 0 && this == that:
			one, two = "this is a shoot by itself", "it is one with another"
		case o.Shoots > 0:
			two += " and a new shoot begins there"
		case o.Shoots < 0:
			two += " and it is one shoot with another"
		}
		where := "at " + base(a.First)
		if a.First != a.Last {
			where = fmt.Sprintf("from %s to %s", base(a.First), base(a.Last))
		}
		a.Text = fmt.Sprintf("either %s, or %s, %s", one, two, where)
		b.out.Alternatives = append(b.out.Alternatives, a)
		if this == that {
			b.seams = append(b.seams, capital(a.Text))
			continue
		}
		b.add(KindEither, this.hint() || that.hint(), "Both are nearly as likely: look on the card before wiping it.", "%s", a.Text)
	}
}

// hint tells whether files may be lost.
func (m MissingSums) hint() bool { return m.Lost+m.NumberSkip+m.Unknown > 0 }

func (m MissingSums) text() string {
	var parts []string
	for _, p := range []struct {
		n    int
		text string
	}{
		{m.Lost, "lost after being shot"}, {m.NotFired, "never fired"},
		{m.Unknown, "missing (cause not known)"}, {m.NumberSkip, "missing by number alone"},
	} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.text))
		}
	}
	if parts == nil {
		return "nothing is missing"
	}
	return strings.Join(parts, " and ")
}
