package report

import (
	"fmt"
	"io"

	"stillspan/ingest/plan"
	"stillspan/internal/words"
)

// WritePlanText writes a solved plan for a terminal.
func WritePlanText(w io.Writer, a plan.Answer, o TextOptions) error {
	t := newTextWriter(w, o)
	t.bold("", fmt.Sprintf("%s x %s = %s", frames(a.Frames), words.Seconds(a.IntervalS), words.Seconds(a.ShootingS)))
	t.row("last", "frame begins %s after the first", words.Seconds(a.LastFrameS))
	t.sky(&a)
	t.clips(&a)
	t.rig(&a)
	for _, x := range a.Warnings {
		t.wrap("  ", "Careful: %s", x)
	}
	for _, x := range a.Notes {
		t.wrap("  ", "%s", x)
	}
	return t.Flush()
}

// sky is when the shoot runs and what light to expect.
func (t *textWriter) sky(a *plan.Answer) {
	if !a.Start.IsZero() {
		t.row("clock", "%s to %s", a.Start.Format("2006-01-02 15:04:05"), clockOf(*a, a.End))
	}
	for _, e := range a.Sun {
		t.row("", "%s  %s", clockOf(*a, e.At), e.Name)
	}
	if a.RangeEV > 0 {
		t.row("light", "of a clear sky: %.1f stops in all, %+.1f from first to last frame", a.RangeEV, a.NetEV)
	}
}

func (t *textWriter) clips(a *plan.Answer) {
	if a.ClipS > 0 {
		t.row("clip", "%s at %s", clipLength(a.ClipS), plainRate(plan.RateLabel(a.Rate)))
	}
	clips := ""
	for i, c := range a.Clips {
		if i > 0 {
			clips += ", "
		}
		clips += fmt.Sprintf("%s at %s", clipLength(c.ClipS), plainRate(plan.RateLabel(c.Rate)))
	}
	t.wrap("            ", "usual rates: %s", clips)
}

// rig is what camera, rail and supplies have to do.
func (t *textWriter) rig(a *plan.Answer) {
	if a.ExposureS > 0 {
		t.row("exposure", "%s, busy for %.0f %% of the interval", words.Exposure(a.ExposureS), 100*a.DutyShare)
	}
	if a.MoveS+a.SettleS > 0 {
		t.row("rig", "moves for %s, settles for %s: %s of %s taken", words.Seconds(a.MoveS), words.Seconds(a.SettleS), words.Seconds(a.BusyS), words.Seconds(a.IntervalS))
	}
	if a.PerFrame > 0 {
		t.row("travel", "%s %s over the shoot: %s %s a frame, %s %s a minute", tenths(a.Travel), a.TravelUnit,
			digits(a.PerFrame), a.TravelUnit, digits(a.PerMinute), a.TravelUnit)
		if a.PerExpose > 0 {
			t.row("", "%s %s during each exposure of a steady move", digits(a.PerExpose), a.TravelUnit)
		}
	}
	if a.CardSpaceBytes > 0 {
		text := fmt.Sprintf("%s with %.0f %% to spare", words.Bytes(a.CardSpaceBytes), 100*a.CardMargin)
		if a.Cards > 0 {
			text += ": " + words.Count(a.Cards, "card")
		}
		t.row("card", "%s", text)
	}
	if a.Batteries > 0 {
		t.row("battery", "%d for %s, keeping %.0f %% in reserve", a.Batteries, words.Seconds(a.ShootingS), 100*a.BatteryReserve)
	}
}

// digits keeps three significant digits.
func digits(v float64) string { return fmt.Sprintf("%.3g", v) }

// planJSON is a solved plan as JSON; what does not follow is null.
type planJSON struct {
	Frames     int        `json:"frames"`
	IntervalS  Float      `json:"interval_s"`
	ShootingS  Float      `json:"shooting_s"`
	LastFrameS Float      `json:"last_frame_s"`
	Rate       string     `json:"rate,omitempty"`
	ClipS      Float      `json:"clip_s"`
	Clips      []clipJSON `json:"clips"`
	ExposureS  Float      `json:"exposure_s"`
	DutyShare  Float      `json:"duty_share"`
	HalfS      Float      `json:"half_interval_s"`
	Travel     Float      `json:"travel"`
	Unit       string     `json:"travel_unit,omitempty"`
	PerFrame   Float      `json:"travel_per_frame"`
	PerMinute  Float      `json:"travel_per_minute"`
	CardBytes  Float      `json:"card_space_bytes"`
	Cards      int        `json:"cards"`
	Hours      Float      `json:"battery_hours"`
	Batteries  int        `json:"batteries"`
	Start      string     `json:"start,omitempty"` // by the camera's clock
	End        string     `json:"end,omitempty"`
	Sun        []sunJSON  `json:"sun,omitempty"`
	NetEV      Float      `json:"clear_sky_ev"`
	RangeEV    Float      `json:"clear_sky_range_ev"`
	BusyS      Float      `json:"busy_s"`
	PerCard    int        `json:"frames_per_card,omitempty"`
	PerBattery int        `json:"frames_per_battery,omitempty"`
	Warnings   []string   `json:"warnings"`
	Notes      []string   `json:"notes"`
}

type sunJSON struct {
	Event string `json:"event"`
	At    string `json:"at"`
}

type clipJSON struct {
	Rate  string `json:"rate"`
	ClipS Float  `json:"clip_s"`
}

// WritePlanJSON writes a solved plan as JSON.
func WritePlanJSON(w io.Writer, a plan.Answer) error {
	p := planJSON{
		Frames: a.Frames, IntervalS: positive(a.IntervalS), ShootingS: positive(a.ShootingS), LastFrameS: Float(a.LastFrameS),
		ClipS: positive(a.ClipS), Clips: []clipJSON{}, ExposureS: positive(a.ExposureS), DutyShare: positive(a.DutyShare), HalfS: positive(a.HalfInterval),
		Travel: positive(a.Travel), Unit: a.TravelUnit, PerFrame: positive(a.PerFrame), PerMinute: positive(a.PerMinute),
		CardBytes: positive(a.CardSpaceBytes), Cards: a.Cards, Hours: positive(a.BatteryHours), Batteries: a.Batteries,
		Warnings: append([]string{}, a.Warnings...), Notes: append([]string{}, a.Notes...),
	}
	if a.Rate.Num != 0 {
		p.Rate = plan.RateLabel(a.Rate)
	}
	p.BusyS, p.PerCard, p.PerBattery, p.NetEV, p.RangeEV = positive(a.BusyS), a.FramesPerCard, a.FramesPerBattery, unknown, positive(a.RangeEV)
	const clock = "2006-01-02T15:04:05"
	if !a.Start.IsZero() {
		p.Start, p.End = a.Start.Format(clock), a.End.Format(clock)
	}
	if a.RangeEV > 0 {
		p.NetEV = Float(a.NetEV)
	}
	for _, e := range a.Sun {
		p.Sun = append(p.Sun, sunJSON{e.Name, e.At.Format(clock)})
	}
	for _, c := range a.Clips {
		p.Clips = append(p.Clips, clipJSON{plan.RateLabel(c.Rate), Float(c.ClipS)})
	}
	return writeJSON(w, p)
}
