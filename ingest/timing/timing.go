// Package timing fits a steady cadence to the moments at which frames were
// taken and names every departure from it. Numbers in, numbers out.
package timing

// Shot is one frame as the timing sees it.
type Shot struct {
	// T is the stamped time in seconds since any fixed moment; NaN when the
	// frame carries no time.
	T float64
	// Number is the running file number with folder and 9999 -> 0001
	// rollovers already unwrapped; negative when the name has none.
	Number int
	// ExposureS is the exposure time in seconds, 0 when unknown.
	ExposureS float64
}

// Cause tells why frames are missing.
type Cause string

// Causes of a gap, found by cross-checking number and time.
const (
	NotFired   Cause = "not-fired"   // numbers run on, time skips
	FileLost   Cause = "file-lost"   // numbers and time skip alike
	NumberSkip Cause = "number-skip" // numbers skip, time does not
	// Unknown is a skip in time where the numbers tell nothing, so that never
	// fired and lost afterwards look alike: the names carry none, or the
	// counter started again in the gap.
	Unknown Cause = "unknown"
)

// Gap is a run of missing frames after shot index After.
type Gap struct {
	After int     // index into the shots given
	Count int     // frames missing (for NumberSkip: numbers missing)
	GapS  float64 // seconds from the shot before to the shot after
	Cause Cause
	// Spare is set where nothing is missing from the cadence: exposures of a
	// bracket of which another is used.
	Spare bool
}

// Kind tells how a frame departs from the cadence.
type Kind string

// Kinds of irregular frames.
const (
	Late   Kind = "late"
	Early  Kind = "early"
	Double Kind = "double"
)

// Irregular is one frame off the cadence by OffsetS seconds (late is positive).
type Irregular struct {
	Index   int
	Kind    Kind
	OffsetS float64
}

// Delay is a frame that came late (or early, ByS below zero) together with
// every frame after it: the cadence started anew from there.
type Delay struct {
	Index int // the first frame of the new start
	ByS   float64
}

// Change is a shot from which on another interval holds.
type Change struct {
	Index      int
	FromS, ToS float64
}

// Ramp is a stretch over which the interval changed steadily.
type Ramp struct {
	First, Last int
	FromS, ToS  float64
}

// ClockSet is a shot from which on the camera's clock was ahead by ByS of what
// it showed before.
type ClockSet struct {
	Index int
	ByS   float64
}

// Other is what an account of nearly the same cost says instead.
type Other struct {
	First, Last int // the stretch of shots on which the accounts differ
	// Shoots tells how many more shoots the other account counts.
	Shoots int
	// Missing is how much more the other account misses by each cause, below zero
	// for less.
	Missing map[Cause]int
}

// Result is a fitted cadence.
type Result struct {
	// Judged is false when there are too few times for a cadence, or none is
	// steady; Why then says so in plain words.
	Judged bool
	Why    string

	IntervalS    float64 // seconds between frames
	UncertaintyS float64 // one standard deviation of IntervalS
	StartS       float64 // fitted moment of shot 0, on the clock of Shot.T
	JitterRMSS   float64 // scatter left after removing the clock's quantisation
	TickS        float64 // the clock's step: 1 for whole-second stamps

	// Slot[i] is the cadence place of shot i, from 0, counting missing frames.
	Slot      []int
	Gaps      []Gap
	Irregular []Irregular
	Delays    []Delay
	// Changes is empty for a cadence that held; otherwise IntervalS is that
	// of the longest stretch.
	Changes []Change
	// FreeRunning is set when each frame was timed from the one before and
	// not by a steady clock, so that departures add up. JitterRMSS is then
	// the scatter of single steps and IntervalS their mean.
	FreeRunning bool
	// TooLong lists shots whose exposure does not fit in the interval.
	TooLong []int

	// Ramps are stretches of a changing interval. ClockSets and WrongStamps
	// concern the stamps alone: no frame is missing there and all keep their
	// places. Rests are the shots after which the camera rested by its daily
	// hours; Pauses are long breaks within one shoot.
	Ramps       []Ramp
	ClockSets   []ClockSet
	WrongStamps []int
	Rests       []int
	Pauses      []Delay
	// Others are accounts of a different verdict that cost nearly as little.
	Others []Other
}
