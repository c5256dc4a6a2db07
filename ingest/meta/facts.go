// Package meta turns the bytes of one still into the facts Stillspan needs:
// when it was taken, by which body, with which settings, and where its
// pictures lie in the file. It is the only place that reads metadata.
package meta

import (
	"time"
)

// Facts is what one still says about itself. The zero value of a field means
// the file does not state it.
type Facts struct {
	// Format is the name of a row in the table of package format.
	Format string
	// Raw is set for sensor data that has to be developed.
	Raw bool

	// Width and Height are the stored pixels of the main picture as its own
	// headers state them, before Orientation is applied.
	Width, Height int
	// Bits are those of a sample of it.
	Bits int
	// Orientation is the EXIF value 1 to 8; 1 when none is stated.
	Orientation int

	// Taken is DateTimeOriginal with SubSecTimeOriginal as a decimal
	// fraction, in the zone of OffsetTimeOriginal. Without an offset it is
	// the camera's wall clock held in time.UTC and HasOffset is false. Where
	// it is missing or blank, DateTimeDigitized and its companions stand in, then
	// DateTime, that of the last change.
	Taken     time.Time
	HasOffset bool
	Changed   bool // Taken is DateTime

	// GPS is the universal time of the receiver's last fix, which is not after
	// the exposure and may be long before it.
	GPS time.Time

	Make, Model, Serial, Lens string

	ExposureS float64 // exposure time, seconds
	FNumber   float64
	ISO       float64
	BiasEV    float64 // exposure compensation the camera applied, EV
	FocalMM   float64 // focal length, mm
	FocusM    float64 // subject distance, metres; +Inf for infinity

	Colour Colour

	// The words below are lower case: WhiteBalance "auto" or "manual";
	// ExposureMode "auto", "manual" or "auto bracket"; Program "manual",
	// "program", "aperture priority", "shutter priority" and so on as EXIF
	// names them; FocusMode as the maker states it.
	WhiteBalance, ExposureMode, Program, FocusMode string

	// Previews are the JPEG pictures embedded in the file, smallest first.
	Previews []Preview
}

// Preview is an embedded JPEG: Length bytes at Offset from the file's start.
// Width and Height are 0 when its own header could not be read.
type Preview struct {
	Offset, Length int64
	Width, Height  int
}
