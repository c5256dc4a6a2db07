package account

import "math"

// What events cost, in bits. They say how plausible an event is beside the
// others (common practice, no published source); a count n adds 2 log2(1+n), so
// that a burst is one event and not n.
const (
	bitsNever     = 6    // places of the cadence at which nothing was fired
	bitsLost      = 7.0  // files that were shot and are not here
	bitsSpare     = 9.0  // numbers that belong to no place of the cadence
	bitsLate      = 7.0  // one frame off its place
	bitsAnew      = 8.0  // the cadence starts anew, off its place
	bitsDouble    = 9.0  // a frame between two places
	bitsPause     = 8.0  // places without a frame, and the cadence starts anew
	bitsRest      = 3.0  // the daily rest of a camera that has one
	bitsChange    = 15.0 // another interval from here on
	bitsRamp      = 20.0 // an interval that changes all the while, once
	bitsRampFrame = 0.1  // and for every frame
	bitsOnPlace   = 6.0  // a test still just where a frame was due
	bitsShoot     = 17.0 // another shoot
	bitsHinted    = 6.0  // where a planned one may begin
	bitsGroup     = 18.0 // where the camera says so, and numbers between are no loss
	bitsEarly     = 8.0  // another shoot after no more than a short pause
	bitsOdd       = 4.0  // an interval near the clock's grain that is no round one
	bitsHand      = 8.0  // a shoot fired by hand
	bitsBlur      = 25.0 // from firing by hand to an interval without a pause, or back
	bitsTests     = 4.0  // frames fired by hand before or after a shoot
	bitsBrief     = 10.0 // a shoot of no more than a few frames among test stills
	bitsWrong     = 10.0 // a stamp that is plainly wrong
	bitsStray     = 16.0 // a stamp that may well be right
	bitsClock     = 13.0 // the clock was set back, or far ahead
	bitsBack      = 3.0  // back by an hour, which nothing else explains, and more for more
	bitsAhead     = 14.0 // the clock was set ahead by whole hours
	bitsHalf      = 16.0 // or by half ones
	bitsAtHole    = 8.0  // or by any time where numbers are missing, too
	bitsReset     = 8.0  // a counter begins anew or another goes on
	// and a counter on the same card, or to a number other than the first ones
	bitsSameCard, bitsAnyNumber = 4.0, 8.0

	// or two run side by side: on one card, and for each turn
	bitsSideBySide, bitsTurn = 20.0, 0.3

	// less where settings change as a shoot begins, and more where they do not
	bitsTurned, bitsUnturned = 2.0, 2.0
	// of settings that change so seldom
	bitsMoved = 4.0
	bitsLeap  = 7.0 // of settings that leap, at most

	bitsOtherClass = 2.0 // a picture of another class than the one before

	bitsApart = 20.0 // two shoots of one interval with numbers missing between
	bitsLong  = 18.0 // a pause beyond any count of places

	// bitsBeam is how far behind the best a survivor may be: more than any two
	// events that could bring it back cost.
	bitsBeam = 45.0
	// bitsNear is how much more another account may cost and still be told.
	bitsNear = 6.0
	// bitsNearStart is the same where a shoot begins.
	bitsNearStart = 3.0
	// bitsNearOrder is the same for the whole order of the files.
	bitsNearOrder = 12.0
)

const (
	// A pause is long, and another shoot more likely than a rest in between, from
	// longPause intervals and longPauseS seconds on.
	longPause  = 30
	longPauseS = 120
	mostOff    = 0.6 // of the interval by which a cadence that starts anew is off
	maxTests   = 10  // test stills before or after a shoot
	briefRun   = 12  // frames
	leastRun   = 4   // frames that make a cadence
)

func bitsOf(n int) float64 {
	if n == 0 {
		return 0
	}
	return 2 * math.Log2(1+float64(n))
}

// countBits is an event with a count; none costs nothing.
func countBits(base float64, n int) float64 {
	if n == 0 {
		return 0
	}
	return base + bitsOf(n)
}

// neverBits is what so many places without a frame cost; more than a long pause
// are hardly one shoot's.
func neverBits(n int) float64 {
	bits := countBits(bitsNever, n)
	if n > longPause {
		bits += 5 * math.Log2(float64(n)/longPause)
	}
	return bits
}

// offBits is an event with a size, counted in units of a tenth of the interval
// or of the clock's grain.
func offBits(base, r, interval, grain float64) float64 {
	return base + 2*math.Log2(1+math.Abs(r)/max(0.1*interval, grain))
}
