package plan

import (
	"errors"
	"fmt"
	"math"
	"time"

	"stillspan/internal/playback"
	"stillspan/internal/words"
)

// Ask is what is known of a shoot being planned. A zero field is unknown or
// not asked about.
type Ask struct {
	// Any two of these give the third. Frames may instead follow from ClipS
	// and Rate.
	Frames    int
	IntervalS float64
	ShootingS float64

	Rate  playback.Rate // playback
	ClipS float64

	ExposureS float64
	WriteS    float64 // time the camera is busy after an exposure, seconds

	// Start is when the first frame is taken by a clock UTCOffset ahead of UTC,
	// held in time.UTC; zero when not said. With both and a Place the sun is
	// reckoned too.
	Start     time.Time
	UTCOffset *time.Duration
	Place     *Place

	MoveS   float64 // of a rig that moves between exposures, seconds
	SettleS float64 // until it stands still after a move, seconds

	Travel     float64 // of a rail or slider over the whole shoot, or of a rotating head
	TravelUnit string  // "mm" when empty

	BytesPerFrame float64
	CardBytes     float64 // size of one card
	CardsAtHand   int     // 0 when not said
	CardMargin    float64 // share kept free, 0 to 1; 0.1 when 0

	ShotsPerBattery float64
	HoursPerBattery float64
	BatteriesAtHand int     // 0 when not said
	BatteryReserve  float64 // share of a battery not counted on, 0 to 1; 0.25 when 0
}

// Answer is a solved plan. Fields that do not follow from what was asked
// are zero.
//
// By the reckoning of the trade shots x interval = shooting time: each shot
// owns the interval that follows it. The last of n frames therefore starts at
// (n-1) x interval, which is LastFrameS.
type Answer struct {
	Ask // as asked, with frames, interval, shooting time and clip filled in

	LastFrameS float64
	Clips      []ClipAt // the clip at every usual rate

	End   time.Time  // when the shooting time is over, by the clock of Start
	Sun   []SunEvent // of the day of Start and up to End, by the same clock
	NetEV float64    // change of a clear sky's light over the shoot, stops
	// RangeEV is how far its brightest and its darkest are apart, stops.
	RangeEV float64

	BusyS        float64 // exposure, then write time or move and settling, whichever takes longer
	DutyShare    float64 // BusyS / interval
	HalfInterval float64 // exposure that gives the usual motion blur, seconds

	PerFrame  float64 // travel per frame: n frames have n-1 moves between them
	PerMinute float64 // carriage speed of a steady move
	PerExpose float64 // travel during one exposure of a steady move

	CardSpaceBytes float64 // with the margin
	Cards          int
	BatteryHours   float64 // shooting time, hours
	Batteries      int
	// FramesPerCard and FramesPerBattery are after how many frames each is to be
	// changed, margin and reserve taken off; 0 when unknown.
	FramesPerCard, FramesPerBattery int

	Warnings []string // what will not work as planned
	Notes    []string // what to know
}

// ClipAt is the length of a clip at one rate.
type ClipAt struct {
	Rate  playback.Rate
	ClipS float64
}

// slack absorbs rounding where a quotient should be whole.
const slack = 1e-9

func framesForClip(clipS float64, r playback.Rate) int {
	return int(min(math.Ceil(clipS*r.FPS()-slack*1000), 2*maxFrames))
}

// Solve does the shooting arithmetic. Errors say which number is missing,
// out of range or at odds with the others.
func Solve(q Ask) (Answer, error) {
	if err := q.validate(); err != nil {
		return Answer{}, err
	}
	if q.Frames == 0 && q.ClipS > 0 && q.Rate.FPS() > 0 {
		q.Frames = framesForClip(q.ClipS, q.Rate)
	}
	if err := q.solveThird(); err != nil {
		return Answer{}, err
	}
	if q.Frames < 1 || q.Frames > maxFrames {
		return Answer{}, fmt.Errorf("that comes to %d frames: it must be 1 to %d", q.Frames, maxFrames)
	}
	a := Answer{Ask: q, LastFrameS: float64(q.Frames-1) * q.IntervalS}
	if err := a.clip(); err != nil {
		return Answer{}, err
	}
	a.exposure()
	a.clock()
	a.travel()
	a.supplies()
	return a, nil
}

func (q Ask) validate() error {
	for _, f := range []struct {
		name string
		v    float64
	}{
		{"interval", q.IntervalS}, {"shooting time", q.ShootingS}, {"clip length", q.ClipS},
		{"exposure", q.ExposureS}, {"write time", q.WriteS}, {"time to move", q.MoveS}, {"time to settle", q.SettleS}, {"bytes per frame", q.BytesPerFrame},
		{"card size", q.CardBytes}, {"shots per battery", q.ShotsPerBattery}, {"hours per battery", q.HoursPerBattery},
	} {
		if f.v < 0 || math.IsNaN(f.v) || math.IsInf(f.v, 0) {
			return fmt.Errorf("%s must be a number above 0", f.name)
		}
	}
	switch {
	case q.Frames < 0 || q.Frames > maxFrames:
		return fmt.Errorf("frames must be 1 to %d", maxFrames)
	case math.IsNaN(q.Travel) || math.IsInf(q.Travel, 0):
		return errors.New("travel must be a number")
	case q.Place != nil && !(math.Abs(q.Place.Lat) <= 90 && math.Abs(q.Place.Lon) <= 180):
		return errors.New("a place is latitude -90 to 90 and longitude -180 to 180 degrees")
	case !(q.CardMargin >= 0 && q.CardMargin < 1):
		return errors.New("card margin must be a share from 0 to below 1")
	case !(q.BatteryReserve >= 0 && q.BatteryReserve < 1):
		return errors.New("battery reserve must be a share from 0 to below 1")
	}
	return nil
}

// solveThird fills in the one of frames, interval and shooting time that is
// not stated.
func (q *Ask) solveThird() error {
	have := func(b ...bool) (n int) {
		for _, x := range b {
			if x {
				n++
			}
		}
		return n
	}
	switch n := have(q.Frames > 0, q.IntervalS > 0, q.ShootingS > 0); {
	case n < 2:
		return errors.New("state two of frames, interval and shooting time (frames may follow from clip length and rate)")
	case n == 3:
		if math.Abs(float64(q.Frames)*q.IntervalS-q.ShootingS) > q.IntervalS/2 {
			return fmt.Errorf("%d frames at %s take %s, not %s: leave one of the three out",
				q.Frames, words.Seconds(q.IntervalS), words.Seconds(float64(q.Frames)*q.IntervalS), words.Seconds(q.ShootingS))
		}
	case q.ShootingS == 0:
		q.ShootingS = float64(q.Frames) * q.IntervalS
	case q.IntervalS == 0:
		q.IntervalS = q.ShootingS / float64(q.Frames)
	default:
		n := math.Floor(q.ShootingS/q.IntervalS + slack)
		if n > maxFrames {
			return fmt.Errorf("that comes to more than %d frames", maxFrames)
		}
		q.Frames = int(n)
	}
	return nil
}

// clip gives the playing time, and checks one that was stated.
func (a *Answer) clip() error {
	for _, r := range playback.StandardRates() {
		a.Clips = append(a.Clips, ClipAt{r, float64(a.Frames) / r.FPS()})
	}
	fps := a.Rate.FPS()
	if fps == 0 {
		return nil
	}
	got := float64(a.Frames) / fps
	if a.ClipS > 0 && math.Abs(got-a.ClipS)*fps >= 1 {
		return fmt.Errorf("%d frames play %s at %s, not %s: leave one of frames, rate and clip length out",
			a.Frames, words.Seconds(got), RateLabel(a.Rate), words.Seconds(a.ClipS))
	}
	a.ClipS = got
	return nil
}

// exposure checks that a shot fits its interval and gives the usual guide for
// motion blur: half the interval (common practice, no published source).
func (a *Answer) exposure() {
	a.HalfInterval = a.IntervalS / 2
	a.Notes = append(a.Notes, fmt.Sprintf(
		"An exposure of half the interval, %s, gives the motion blur usual in film (common practice, no published source).",
		words.Seconds(a.HalfInterval)))
	rig := a.MoveS + a.SettleS
	if a.ExposureS == 0 && rig == 0 {
		return
	}
	// A rig moves while the camera writes.
	a.BusyS = a.ExposureS + max(a.WriteS, rig)
	a.DutyShare = a.BusyS / a.IntervalS
	busy, what := words.Seconds(a.BusyS), "Exposure and write time take"
	if rig > a.WriteS {
		what = "Exposure, move and settling take"
	}
	switch {
	case a.DutyShare >= 1 && rig > a.WriteS:
		a.Warnings = append(a.Warnings, fmt.Sprintf(
			"%s %s and do not fit an interval of %s: the rig will still move when the next frame is taken. Lengthen the interval or shorten the move.",
			what, busy, words.Seconds(a.IntervalS)))
	case a.DutyShare >= 1:
		a.Warnings = append(a.Warnings, fmt.Sprintf(
			"%s %s and do not fit an interval of %s: the camera will miss shots. Lengthen the interval or shorten the exposure.",
			what, busy, words.Seconds(a.IntervalS)))
	case a.DutyShare > 0.9:
		a.Warnings = append(a.Warnings, fmt.Sprintf(
			"%s %s of each %s: a slow card or noise reduction in the camera will miss shots, and a slow rig blur them.",
			what, busy, words.Seconds(a.IntervalS)))
	case a.WriteS == 0 && a.ExposureS > a.IntervalS/2:
		a.Warnings = append(a.Warnings, fmt.Sprintf(
			"Exposure takes %.0f %% of the interval; write time is not stated. Noise reduction in the camera can take as long again: switch it off or test first.",
			100*a.ExposureS/a.IntervalS))
	}
}

// clock says when the shoot ends, and what the sun does meanwhile.
func (a *Answer) clock() {
	if a.Start.IsZero() {
		return
	}
	a.End = a.Start.Add(seconds(a.ShootingS))
	if a.Place == nil || a.UTCOffset == nil || a.ShootingS > maxSunS {
		return
	}
	toUTC := func(t time.Time) time.Time { return t.Add(-*a.UTCOffset) }
	midnight := a.Start.Truncate(24 * time.Hour)
	until := midnight.Add(24 * time.Hour)
	if a.End.After(until) {
		until = a.End
	}
	a.Sun = SunEvents(toUTC(midnight), toUTC(until), *a.Place)
	for i := range a.Sun {
		a.Sun[i].At = a.Sun[i].At.Add(*a.UTCOffset)
	}
	a.NetEV, a.RangeEV = LightChange(toUTC(a.Start), toUTC(a.End), *a.Place)
	if a.RangeEV >= 1 {
		a.Notes = append(a.Notes, fmt.Sprintf(
			"Under a clear sky the light changes by %.1f stops over the shoot, %+.1f from its first frame to its last; cloud, moon and lamps change it otherwise. Plan for the exposure to follow.", a.RangeEV, a.NetEV))
	}
}

// maxSunS is the longest shoot whose sun is reckoned: a week.
const maxSunS = 7 * 86400

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func (a *Answer) travel() {
	if a.Travel == 0 {
		return
	}
	if a.TravelUnit == "" {
		a.TravelUnit = "mm"
	}
	if a.Frames < 2 {
		a.Warnings = append(a.Warnings, "One frame has no travel: a move needs at least two.")
		return
	}
	a.PerFrame = a.Travel / float64(a.Frames-1)
	a.PerMinute = a.Travel / a.LastFrameS * 60
	if a.ExposureS > 0 {
		a.PerExpose = a.PerMinute / 60 * math.Min(a.ExposureS, a.IntervalS)
		if rest := a.IntervalS - a.ExposureS; rest > 0 && a.MoveS+a.SettleS == 0 {
			a.Notes = append(a.Notes, fmt.Sprintf(
				"Moving only between exposures leaves %s for each move and for the rig to settle.", words.Seconds(rest)))
		}
	}
}

// supplies reckons card space and batteries.
func (a *Answer) supplies() {
	if a.CardMargin == 0 {
		a.CardMargin = 0.1
	}
	if a.BatteryReserve == 0 {
		a.BatteryReserve = 0.25
	}
	if a.BytesPerFrame > 0 {
		a.CardSpaceBytes = a.BytesPerFrame * float64(a.Frames) * (1 + a.CardMargin)
		if a.CardBytes > 0 {
			a.Cards = int(math.Ceil(a.CardSpaceBytes/a.CardBytes - slack))
			a.FramesPerCard = int(a.CardBytes / (a.BytesPerFrame * (1 + a.CardMargin)))
			switch {
			case a.CardsAtHand > 0 && a.Cards > a.CardsAtHand:
				a.Warnings = append(a.Warnings, fmt.Sprintf("The shoot needs %d cards and %d are at hand.", a.Cards, a.CardsAtHand))
			case a.Cards > 1 && a.CardsAtHand == 0:
				a.Warnings = append(a.Warnings, fmt.Sprintf(
					"The shoot needs %d cards: a change of card stops it. Use a larger card or smaller files.", a.Cards))
			}
		}
	}
	a.BatteryHours = a.ShootingS / 3600
	usable := 1 - a.BatteryReserve
	need := 0.0
	if a.ShotsPerBattery > 0 {
		need = float64(a.Frames) / (a.ShotsPerBattery * usable)
	}
	if a.HoursPerBattery > 0 {
		need = math.Max(need, a.BatteryHours/(a.HoursPerBattery*usable))
	}
	a.Batteries = int(math.Ceil(need - slack))
	if need > 0 {
		a.FramesPerBattery = int(float64(a.Frames)/need + slack)
	}
	switch {
	case a.BatteriesAtHand > 0 && a.Batteries > a.BatteriesAtHand:
		a.Warnings = append(a.Warnings, fmt.Sprintf("The shoot needs %d batteries and %d are at hand.", a.Batteries, a.BatteriesAtHand))
	case a.Batteries > 1 && a.BatteriesAtHand == 0:
		a.Warnings = append(a.Warnings, fmt.Sprintf(
			"The shoot needs %d batteries: a change stops it and can move the camera. Use a larger supply.", a.Batteries))
	}
	if a.Batteries > 0 || a.BatteryHours > 2 {
		a.Notes = append(a.Notes,
			"Cold lowers what a battery gives. Do not leave batteries, chargers or a rig unattended beyond what their makers' instructions and local rules allow.")
	}
}

// RateLabel writes a rate as it is spoken of: "24", "23.976", "29.97".
func RateLabel(r playback.Rate) string {
	if r.Den == 0 {
		return "unknown rate"
	}
	return words.Number(r.FPS(), 3)
}
