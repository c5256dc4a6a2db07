package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"stillspan/ingest/account"
	"stillspan/internal/words"
)

// TextOptions suit the summary to where it is read.
type TextOptions struct {
	Width int  // columns; 80 when 0
	Color bool // bold headlines
	// Piped keeps each fact on one line, for programs that read lines.
	Piped bool
}

// textRows is how many rows of a list a summary shows before it points to the
// page.
const textRows = 6

type textWriter struct {
	*bufio.Writer
	o TextOptions
}

func newTextWriter(w io.Writer, o TextOptions) *textWriter {
	if o.Width == 0 {
		o.Width = 80
	}
	return &textWriter{bufio.NewWriter(w), o}
}

// WriteText writes the summary for a terminal: the verdict first.
func WriteText(w io.Writer, r *Report, o TextOptions) error {
	t := newTextWriter(w, o)
	for i := range r.Sequences {
		if i > 0 {
			t.line("")
		}
		t.sequence(&r.Sequences[i])
	}
	if len(r.Sequences) > 0 {
		t.line("")
	}
	for _, f := range r.Findings {
		t.wrap("", "%s.", f.Text)
	}
	for _, d := range r.Unreadable {
		t.wrap("  ", "%s: %s. Try: %s", d.File, d.Problem, d.Try)
	}
	t.wrap("", "%s", tally(r))
	for _, x := range r.Warnings {
		t.wrap("", "Note: %s", x)
	}
	if unaccounted(r) {
		t.line("")
		t.wrap("", "%s", CautionWipe)
	}
	return t.Flush()
}

// CautionWipe stands wherever frames are unaccounted for.
const CautionWipe = "Do not wipe the card: frames are unaccounted for. And one copy is no backup."

// unaccounted tells whether frames may still be found on a card.
func unaccounted(r *Report) bool {
	onCard := func(list []Finding) bool {
		return slices.ContainsFunc(list, func(f Finding) bool { return f.Card })
	}
	return onCard(r.Findings) || slices.ContainsFunc(r.Sequences, func(s Sequence) bool { return onCard(s.Findings) })
}

// tally counts what belongs to no sequence.
func tally(r *Report) string {
	parts := []string{words.Count(len(r.Sequences), "sequence")}
	if n := len(r.Loose); n > 0 {
		parts = append(parts, words.Count(n, "loose still"))
	}
	if len(r.Ignored) > 0 {
		var ig []string
		for _, g := range r.Ignored {
			kind := g.Kind
			if kind == "hidden" || kind == "other" {
				kind += " file"
			}
			ig = append(ig, words.Count(g.Count, kind))
		}
		parts = append(parts, "left alone: "+strings.Join(ig, ", "))
	}
	return strings.Join(parts, "; ") + "."
}

// spelled formats text from outside so that it stays on its line.
func spelled(format string, args []any) string {
	for i, a := range args {
		if s, ok := a.(string); ok {
			args[i] = words.OneLine(s)
		}
	}
	return fmt.Sprintf(format, args...)
}

func (t *textWriter) line(format string, args ...any) {
	t.WriteString(spelled(format, args) + "\n")
}

// wrap breaks a paragraph at the width, each line behind indent; those of a
// bullet stand under its text.
func (t *textWriter) wrap(indent, format string, args ...any) {
	rest := indent
	if strings.HasPrefix(format, "- ") {
		rest += "  "
	}
	for _, line := range t.lines(indent, rest, spelled(format, args)) {
		t.WriteString(line + "\n")
	}
}

// lines breaks text between words at the width, the first line behind first and
// the others behind rest.
func (t *textWriter) lines(first, rest, text string) []string {
	var out []string
	line, free := first, true // of words
	for _, word := range strings.Fields(text) {
		if !free && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > t.o.Width {
			out = append(out, line)
			line, free = rest, true
		}
		if !free {
			line += " "
		}
		line, free = line+word, false
	}
	if free {
		return out
	}
	return append(out, line)
}

// bold writes a headline.
func (t *textWriter) bold(indent, text string) {
	lines := []string{indent + words.OneLine(text)}
	if !t.o.Piped {
		lines = t.lines(indent, indent, words.OneLine(text))
	}
	for _, line := range lines {
		if t.o.Color {
			line = "\x1b[1m" + line + "\x1b[0m"
		}
		t.WriteString(line + "\n")
	}
}

func (t *textWriter) sequence(s *Sequence) {
	title := s.ID
	if s.Plan != nil {
		title = s.Plan.Name + "  (" + s.ID + ")"
	}
	t.bold("", title)
	t.bold("  ", s.Headline)
	if d := &s.Delivered; d.ShortFrames > 0 {
		t.row("short", "%s", strings.Join(shortfall(d), ", "))
	}
	t.row("frames", "%s", countsText(&s.Delivered))
	t.row("stills", "%s to %s, %s", s.First, base(s.Last), camera(s.Camera))
	if !s.Start.IsZero() {
		t.row("shot", "%s", span(s))
	}
	if s.Plan != nil && s.Plan.MatchedBy != "" {
		t.row("matched", "by %s%s", s.Plan.MatchedBy, after(": ", s.Plan.MatchReason))
	}
	t.row("interval", "%s", intervalText(s))
	t.light(&s.Luminance)
	if s.Travel != nil {
		t.row("framing", "%s", travelText(s.Travel))
	}
	for _, g := range gathered(s.Pictures) {
		if g.Severity == "look" {
			t.row("look at", "%s", g.Text())
		}
	}
	t.row("examined", "%s", examinedText(s.Examined))
	if s.Copies != nil {
		t.row("copies", "%s", copiesText(s.Copies))
	}
	t.clip(s.Render)
	for _, f := range s.Findings {
		if f.Kind != KindShort {
			t.bullet(f.Text)
		}
	}
	t.details(s)
	for _, n := range append(append([]string{}, s.Notes...), s.Warnings...) {
		t.bullet(n)
	}
}

// light is what was seen of the light and done about it.
func (t *textWriter) light(l *Luminance) {
	for _, r := range lightRows(l) {
		t.row(r.Name, "%s", r.Text)
	}
	if l.FlickerEVBefore.Known() && (l.HighShareMax > 0.01 || l.LowShareMax > 0.05) {
		t.row("exposure", "highlights clipped up to %.1f %%, shadows crushed up to %.1f %% of a frame", 100*float64(l.HighShareMax), 100*float64(l.LowShareMax))
	}
}

func (t *textWriter) clip(c *Render) {
	if c == nil {
		return
	}
	state := "verified by ffprobe"
	if !c.Verified {
		state = "NOT as ordered"
	}
	t.row("clip", "%s: %s, %s at %s, %dx%d %s, %s, %s", c.File, frames(c.Frames), clipLength(float64(c.DurationS)), plainRate(c.Rate), c.Width, c.Height, c.Codec, words.Bytes(float64(c.Bytes)), state)
	if c.WhiteNits > 0 {
		t.row("", "%s, %s, white at %s cd/m2", c.Primaries, c.Transfer, tenths(c.WhiteNits))
	}
	if c.Timecode != "" {
		t.row("", "time code from %s", c.Timecode)
	}
	if c.Chosen != "" {
		t.row("", "shows by request: %s", c.Chosen)
	}
	if c.Slate > 0 {
		t.row("", "%s of it a slate before the first", frames(c.Slate))
	}
	if c.Held > 0 {
		t.row("", "%s of it hold the first and the last", frames(c.Held))
	}
	if c.Filled > 0 {
		t.row("", "%s of it made up to fill gaps", frames(c.Filled))
	}
}

// details name the files behind the findings.
func (t *textWriter) details(s *Sequence) {
	var rows []string
	for _, m := range s.Missing {
		rows = append(rows, fmt.Sprintf("%s: %d missing%s, %s", place(m), m.Count, over(m.GapS), causeText(m.Cause)))
	}
	for _, x := range s.Irregular {
		rows = append(rows, fmt.Sprintf("%s: %s by %s", base(x.File), x.Kind, words.Seconds(math.Abs(float64(x.OffsetS)))))
	}
	for _, d := range append(slices.Clone(s.Damaged), s.DamagedCompanions...) {
		rows = append(rows, fmt.Sprintf("%s: %s", base(d.File), d.Problem))
	}
	for i, r := range rows {
		if i == textRows && len(rows) > textRows+1 {
			t.line("      ... and %d more: --html or --json lists them", len(rows)-i)
			return
		}
		t.wrap("      ", "%s", r)
	}
}

// place is where frames are missing.
func place(m Missing) string {
	if m.After == "" {
		return "before the first"
	}
	return "after " + base(m.After)
}

func causeText(c string) string {
	switch account.Cause(c) {
	case account.NotFired:
		return "never fired"
	case account.FileLost:
		return "lost after being shot"
	case account.Unknown:
		return "cause not known"
	}
	return "numbers only"
}

// over is how long a gap is, where that is known.
func over(gapS Float) string {
	if !gapS.Known() {
		return ""
	}
	return " over " + words.Seconds(float64(gapS))
}

// span is when the first and the last frame were taken: both days where it runs
// over midnight, and how long where that is over a day.
func span(s *Sequence) string {
	const whole, day = "2006-01-02 15:04:05", "2006-01-02"
	from, to := s.Start.Format(whole), s.End.Format("15:04:05")
	if s.Start.Format(day) != s.End.Format(day) {
		to = s.End.Format(whole)
	}
	text := from + " to " + to
	if d := s.End.Sub(s.Start.Time); d >= 24*time.Hour {
		text += ", " + words.Seconds(d.Seconds())
	}
	return text
}

// after is s behind before, or nothing.
func after(before, s string) string {
	if s == "" {
		return ""
	}
	return before + s
}

func (t *textWriter) row(label, format string, args ...any) {
	first, text := fmt.Sprintf("  %-9s ", label), spelled(format, args)
	if t.o.Piped {
		t.WriteString(first + text + "\n")
		return
	}
	for _, line := range t.lines(first, strings.Repeat(" ", 12), text) {
		t.WriteString(line + "\n")
	}
}

func (t *textWriter) bullet(s string) {
	t.wrap("    ", "- %s", s)
}

func camera(c Camera) string {
	// Many makers begin the model with their own name.
	name := strings.TrimSpace(c.Make + " " + c.Model)
	if first, _, _ := strings.Cut(c.Make, " "); first != "" && strings.HasPrefix(strings.ToLower(c.Model), strings.ToLower(first)) {
		name = c.Model
	}
	if name == "" {
		name = "camera not stated"
	}
	if c.Serial != "" {
		name += ", no. " + c.Serial
	}
	return name
}

func intervalText(s *Sequence) string {
	if s.TimingNote != "" {
		return s.TimingNote
	}
	var text string
	if u := float64(s.IntervalUncertaintyS); u > 0 {
		d := min(max(1-int(math.Floor(math.Log10(u))), 1), 6) // two digits of the uncertainty
		text = fmt.Sprintf("%.*f ± %.*f s", d, float64(s.IntervalS), d, u)
	} else {
		text = words.Seconds(float64(s.IntervalS))
	}
	if s.Plan != nil && s.Plan.IntervalS.Known() {
		text += fmt.Sprintf(", planned %s", words.Seconds(float64(s.Plan.IntervalS)))
		if s.DriftSPerHour.Known() {
			text += fmt.Sprintf(" (%+.1f s/h, %+.0f ppm)", float64(s.DriftSPerHour), float64(s.DriftPPM))
		}
	}
	if s.ClockTickS >= 0.5 {
		text += "; whole-second clock"
	}
	return text
}
