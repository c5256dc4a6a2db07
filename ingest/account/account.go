// Package account finds the likeliest account of what one camera body did, from
// the numbers and the stamps of its files: which shoots there were, at which
// interval, which place of the cadence each frame has, and what happened where
// a frame is not where it should be. Numbers in, numbers out.
//
// An account is a string of events, each with a cost in bits: minus the
// logarithm of how plausible it is. The account with the least total cost wins
// (minimum description length, Rissanen 1978), found by dynamic programming
// over the files (Viterbi 1967), each survivor carrying its own estimate of the
// cadence's phase; intervals change at stated frames as in Killick, Fearnhead
// and Eckley 2012. The costs are plausibilities: common practice, no published
// source.
package account

import "math"

// File is one file of a body.
type File struct {
	// Series is the same for files whose numbers can be compared: one name
	// pattern on one card.
	Series int
	// Pattern is the same for files named alike on whatever card.
	Pattern int
	// Folder orders the folders of one series (100, 101, ...); it stands above
	// the number.
	Folder int
	// Number is the number in the name, or negative for none.
	Number int
	// Wrap is the number after which the counter starts again at 1 (9999), or 0.
	Wrap int
	// Session changes where the camera began another group of files, with the
	// folder; 0 where nothing tells.
	Session int
	// Skip is how many numbers right before are those of other things than stills,
	// such as movies.
	Skip int
	// Shared is set for a number that an import gave to the files of several
	// bodies by turns, so that one more tells nothing.
	Shared bool
	// T is the stamp in seconds since 1970 on the camera's clock, floored to
	// Grain; NaN for none.
	T, Grain float64
	// ExposureS is the exposure time in seconds, LightEV the light the settings
	// let in (log2 of time x ISO / aperture squared); 0 and NaN for unknown.
	ExposureS, LightEV float64
	// Look is the same for frames shot with the same settings; negative for unknown.
	Look int
	// Planned is the number, from 1, of the planned shoot that may begin here by its
	// window or folder; 0 for none.
	Planned int
	// Class is the same for pictures that can play in one clip; negative for
	// unknown.
	Class int
}

// Cause tells why frames are missing.
type Cause string

// Causes of a gap, found by cross-checking number and time.
const (
	NotFired   Cause = "not-fired"   // numbers run on, time skips
	FileLost   Cause = "file-lost"   // numbers skip, and time with them or not told
	NumberSkip Cause = "number-skip" // numbers skip, time does not
	// Unknown is a skip in time where the numbers tell nothing, so that never
	// fired and lost afterwards look alike.
	Unknown Cause = "unknown"
)

// Gap is a run of missing frames after shot index After.
type Gap struct {
	After int     // index into the shoot's files; -1 before the first
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
	Bits    float64 // by how much the other account costs more
}

// Shoot is one run of frames, in the order shot. Indices in its findings go
// into Files.
type Shoot struct {
	Files  []int // indices of the body's files
	Number []int // running file numbers, rollovers unwrapped; -1 for none

	// Judged is false when there are too few times for a cadence, or none is
	// steady; Why then says so in plain words.
	Judged bool
	Why    string

	IntervalS    float64 // seconds between frames
	UncertaintyS float64 // one standard deviation of IntervalS
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
	Ramps   []Ramp
	// ClockSets and WrongStamps concern the stamps alone: no frame is missing
	// there and all keep their places.
	ClockSets   []ClockSet
	WrongStamps []int
	// Rests are the shots after which the camera rested by its daily hours.
	Rests []int
	// Pauses are long breaks between frames that belong together all the same.
	Pauses []Delay
	// FreeRunning is set when each frame was timed from the one before and
	// not by a steady clock, so that departures add up. JitterRMSS is then
	// the scatter of single steps and IntervalS their mean.
	FreeRunning bool
	// TooLong lists shots whose exposure does not fit in the interval.
	TooLong []int
	// Bracket is how many exposures were made at each place of the cadence, 0 for
	// one. Files then holds the one wanted of each, Chosen in the order fired, from
	// 0, and Unused the rest.
	Bracket, Chosen int
	Unused          []int
	// Others are accounts of a different verdict that cost nearly as little.
	Others []Other
}

// Account is what happened to one body's files.
type Account struct {
	Shoots []Shoot
	Loose  []int   // files that belong to no shoot, such as test stills
	Doubts []Doubt // of them those that may have been a shoot
	Bits   float64 // what the account costs
	total  tally
}

func timed(t float64) bool { return !math.IsNaN(t) && !math.IsInf(t, 0) }
