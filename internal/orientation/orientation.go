// Package orientation holds the one table of how stored pictures are turned
// to be seen upright (CIPA DC-008, tag 0x0112).
package orientation

// Turn makes a stored picture upright: columns and rows are exchanged, if so
// set, then the picture is mirrored left to right and top to bottom.
type Turn struct{ Transpose, FlipX, FlipY bool }

// turns are the EXIF values 1 to 8, from index 0.
var turns = [8]Turn{
	{false, false, false},
	{false, true, false},
	{false, true, true},
	{false, false, true},
	{true, false, false},
	{true, true, false},
	{true, true, true},
	{true, false, true},
}

// Of is the turn of an EXIF value; none for values that are not 1 to 8.
func Of(exif int) Turn {
	if exif < 1 || exif > len(turns) {
		return Turn{}
	}
	return turns[exif-1]
}

// EXIF is the value, 1 to 8, that Of gives this turn for.
func (t Turn) EXIF() int {
	for i := range turns {
		if turns[i] == t {
			return i + 1
		}
	}
	return 1 // not reached: the table holds every turn
}

// Left is t followed by a quarter turn anticlockwise.
func (t Turn) Left() Turn { return Turn{!t.Transpose, t.FlipY, !t.FlipX} }

// Size is the upright size of a stored one, and the reverse.
func (t Turn) Size(w, h int) (int, int) {
	if t.Transpose {
		return h, w
	}
	return w, h
}
