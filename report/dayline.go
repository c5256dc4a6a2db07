package report

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
	"time"

	"stillspan/internal/words"
)

// rig is a camera with its shoots of the day, in order.
type rig struct {
	name   string
	shoots []*Sequence
}

// dayTimeline draws the day: a lane a rig, its shoots by the rig's own clock,
// and where the card was changed or the clock was set.
func dayTimeline(d Day) template.HTML {
	rigs := rigsOf(d.Report)
	if len(rigs) == 0 {
		return ""
	}
	first, last := rigs[0].shoots[0].Start.Time, time.Time{}
	for _, g := range rigs {
		for _, s := range g.shoots {
			if wall(s.Start).Before(wall(Stamp{Time: first})) {
				first = s.Start.Time
			}
			if last.IsZero() || wall(s.End).After(wall(Stamp{Time: last})) {
				last = s.End.Time
			}
		}
	}
	from := wall(Stamp{Time: first})
	span := max(wall(Stamp{Time: last}).Sub(from).Seconds(), 60)
	x := func(t Stamp) float64 { return wall(t).Sub(from).Seconds() / span * wide }
	t := &timeline{ticks: clockTicks(from, span)}
	var b strings.Builder
	b.WriteString(`<div class="day">`)
	for _, g := range rigs {
		fmt.Fprintf(&b, `<div class="lane rig"><span class="name">%s</span><div class="area">`, template.HTMLEscapeString(g.name+"; "+clockText(g.shoots)))
		card := ""
		for _, s := range g.shoots {
			st := StateOf(s)
			words := fmt.Sprintf("%s, %s to %s: %s", ShootName(s), s.Start.Format("15:04"), s.End.Format("15:04"), st.Word)
			x0, x1 := x(s.Start), x(s.End)
			open, end := "<span", "</span>"
			if page := d.Pages[s.ID]; page != "" {
				open, end = `<a href="`+template.HTMLEscapeString(page)+`"`, "</a>"
			}
			fmt.Fprintf(&b, `%s class="bar %s" style="left:min(%s%%,100%% - 26px);width:%s%%" title="%s" aria-label="%s"><b>%s</b> %s%s`, open, st.Class, n(x0/10), n(max(x1-x0, 6)/10),
				template.HTMLEscapeString(words), template.HTMLEscapeString(words), st.Sign, template.HTMLEscapeString(ShootName(s)), end)
			g.events(&b, s, x, &card)
		}
		b.WriteString(`</div></div>`)
	}
	b.WriteString(`<div class="plot">` + t.axis() + `</div></div>`)
	b.WriteString(`<figcaption>`)
	for _, k := range []markKind{{"K", "card changed"}, {"C", "clock set"}} {
		if strings.Contains(b.String(), `">`+k.Letter+`</span>`) {
			fmt.Fprintf(&b, `<span class="key"><b>%s</b> %s</span>`, k.Letter, k.Word)
		}
	}
	b.WriteString(`</figcaption>`)
	return template.HTML(b.String())
}

// events marks card changes and clocks that were set within and before a shoot.
func (g *rig) events(b *strings.Builder, s *Sequence, x func(Stamp) float64, card *string) {
	event := func(at Stamp, letter, text string) {
		fmt.Fprintf(b, `<span class="mark l0" style="left:%s%%" role="img" title="%s" aria-label="%s">%s</span>`, n(x(at)/10), template.HTMLEscapeString(text), template.HTMLEscapeString(text), letter)
	}
	for k := range s.Rows {
		here := cardOf(s.Rows[k].File)
		if *card != "" && here != *card && !s.Rows[k].Time.IsZero() {
			event(s.Rows[k].Time, "K", fmt.Sprintf("card changed before %s: %s after %s", base(s.Rows[k].File), cmp.Or(here, "the folder itself"), *card))
		}
		*card = here
	}
	for _, k := range s.Breaks {
		if k.Kind == BreakClockSet && k.Frame >= 1 && k.Frame <= len(s.Rows) {
			event(s.Rows[k.Frame-1].Time, "C", fmt.Sprintf("clock set at %s by %+.0f s", base(k.File), float64(k.ByS)))
		}
	}
}

// cardOf is the folder that a card was copied to: what stands before DCIM.
func cardOf(name string) string {
	before, _, ok := strings.Cut("/"+name, "/DCIM/")
	if !ok {
		return ""
	}
	return strings.TrimPrefix(before, "/")
}

// wall is what the camera's clock showed, for clocks side by side.
func wall(s Stamp) time.Time {
	y, mo, d := s.Date()
	h, mi, sec := s.Clock()
	return time.Date(y, mo, d, h, mi, sec, s.Nanosecond(), time.UTC)
}

// clockText says how far a rig's clock is ahead of UTC, as its stills state it or
// their GPS times show.
func clockText(shoots []*Sequence) string {
	var zones []string
	for _, s := range shoots {
		zone := "clock without a zone"
		if s.Start.HasOffset {
			zone = "clock at UTC" + s.Start.Format("-07:00")
		}
		if x := float64(s.ClockAheadOfUTCS); !math.IsNaN(x) {
			zone = "clock at UTC" + time.Time{}.In(time.FixedZone("", int(math.Round(x)))).Format("-07:00:00") + " by GPS"
		}
		if !slices.Contains(zones, zone) {
			zones = append(zones, zone)
		}
	}
	return words.And(zones)
}

// rigsOf parts the shoots that carry times by camera, in the order of the day.
func rigsOf(r *Report) []*rig {
	var out []*rig
	for i := range r.Sequences {
		s := &r.Sequences[i]
		if s.Start.IsZero() || s.End.IsZero() {
			continue
		}
		name := camera(s.Camera)
		k := slices.IndexFunc(out, func(g *rig) bool { return g.name == name })
		if k < 0 {
			k = len(out)
			out = append(out, &rig{name: name})
		}
		out[k].shoots = append(out[k].shoots, s)
	}
	for _, g := range out {
		slices.SortStableFunc(g.shoots, func(a, b *Sequence) int { return wall(a.Start).Compare(wall(b.Start)) })
	}
	return out
}
