package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"time"

	"stillspan/ingest/plan"
	"stillspan/internal/words"
)

//go:embed fieldsheet.html
var fieldSheet string

var fieldSheetPage = template.Must(template.New("sheet").Parse(fieldSheet))

type sheetLine struct{ Name, Value string }

// sheetChange is a change of card or battery.
type sheetChange struct {
	What  string
	After int // frames
	At    string
}

// WriteFieldSheet writes a solved plan as one page to print and take along.
func WriteFieldSheet(w io.Writer, name string, a plan.Answer) error {
	page := struct {
		Name, When       string
		Big, Lines, Sun  []sheetLine
		Changes          []sheetChange
		Warnings, Checks []string
	}{Name: name, Warnings: a.Warnings}
	if name == "" {
		page.Name = "Interval shoot"
	}
	if !a.Start.IsZero() {
		page.When = a.Start.Format("Monday 2 January 2006")
		page.Big = append(page.Big, sheetLine{"first frame", clockOf(a, a.Start)}, sheetLine{"ends", clockOf(a, a.End)})
	}
	page.Big = append(page.Big, sheetLine{"frames", fmt.Sprint(a.Frames)}, sheetLine{"interval", words.Seconds(a.IntervalS)}, sheetLine{"takes", words.Seconds(a.ShootingS)})
	page.Lines = sheetLines(a)
	for _, e := range a.Sun {
		page.Sun = append(page.Sun, sheetLine{e.Name, clockOf(a, e.At)})
	}
	page.Changes = sheetChanges(a)
	page.Checks = []string{
		"Camera's clock set and right; noise reduction, sleep and stabiliser off",
		"Manual focus, white balance and exposure; raw and file numbers as wanted",
		"Test of ten frames: fired, written, level, no vibration after a move",
		"Card empty, battery full, cable and mount secured; nobody can trip over them",
		"Rig, batteries and charger not left alone beyond their makers' instructions, local rules and the permit",
		"Afterwards: card kept until every frame is accounted for in two verified copies",
	}
	return fieldSheetPage.Execute(w, page)
}

// clockOf writes a moment, with its day where that is not the first frame's.
func clockOf(a plan.Answer, t time.Time) string {
	if t.Format(time.DateOnly) != a.Start.Format(time.DateOnly) {
		return t.Format("15:04:05, 2 Jan")
	}
	return t.Format("15:04:05")
}

func sheetLines(a plan.Answer) (out []sheetLine) {
	add := func(name, format string, args ...any) {
		out = append(out, sheetLine{name, fmt.Sprintf(format, args...)})
	}
	if a.ClipS > 0 {
		add("clip", "%s at %s", clipLength(a.ClipS), plainRate(plan.RateLabel(a.Rate)))
	}
	if a.ExposureS > 0 {
		add("exposure", "%s", words.Exposure(a.ExposureS))
	}
	if a.WriteS > 0 {
		add("write time", "%s", words.Seconds(a.WriteS))
	}
	if a.MoveS+a.SettleS > 0 {
		add("move, settle", "%s, %s", words.Seconds(a.MoveS), words.Seconds(a.SettleS))
	}
	if a.BusyS > 0 {
		add("busy", "%s of each %s (%.0f %%)", words.Seconds(a.BusyS), words.Seconds(a.IntervalS), 100*a.DutyShare)
	}
	if a.PerFrame > 0 {
		add("travel", "%s %s: %s %s a frame, %s %s a minute", tenths(a.Travel), a.TravelUnit, digits(a.PerFrame), a.TravelUnit, digits(a.PerMinute), a.TravelUnit)
	}
	if a.RangeEV > 0 {
		add("clear sky", "%.1f stops in all, %+.1f from first to last frame", a.RangeEV, a.NetEV)
	}
	if a.Place != nil {
		add("place", "%g, %g", a.Place.Lat, a.Place.Lon)
	}
	if a.CardSpaceBytes > 0 {
		add("cards", "%s with %.0f %% to spare%s", words.Bytes(a.CardSpaceBytes), 100*a.CardMargin, ofHand(a.Cards, a.CardsAtHand))
	}
	if a.Batteries > 0 {
		add("batteries", "%.0f %% kept in reserve%s", 100*a.BatteryReserve, ofHand(a.Batteries, a.BatteriesAtHand))
	}
	return out
}

func ofHand(need, have int) string {
	switch {
	case need == 0:
		return ""
	case have == 0:
		return fmt.Sprintf(": %d needed", need)
	}
	return fmt.Sprintf(": %d needed, %d at hand", need, have)
}

// maxChanges is how many changes of each kind a page lists.
const maxChanges = 6

// sheetChanges lists when cards and batteries have to be changed at the latest.
func sheetChanges(a plan.Answer) (out []sheetChange) {
	for _, c := range []struct {
		what string
		each int
	}{{"card", a.FramesPerCard}, {"battery", a.FramesPerBattery}} {
		for n := 1; c.each > 0 && n*c.each < a.Frames && n <= maxChanges; n++ {
			s := sheetChange{What: fmt.Sprintf("%s %d", c.what, n+1), After: n * c.each}
			after := time.Duration(float64(n*c.each) * a.IntervalS * float64(time.Second))
			if s.At = words.Seconds(after.Seconds()) + " after the first frame"; !a.Start.IsZero() {
				s.At = clockOf(a, a.Start.Add(after))
			}
			out = append(out, s)
		}
	}
	return out
}
