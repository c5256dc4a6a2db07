package stamp

import (
	"fmt"
	"math"
	"slices"

	"stillspan/internal/exiftag"
)

// directories turns the fields into the entries of the main directory and of
// the EXIF directory.
func directories(f Fields) (main, exif []field, err error) {
	main = appendText(main, exiftag.Make, f.Make)
	main = appendText(main, exiftag.Model, f.Model)
	if f.Orientation != 0 {
		main = append(main, short(exiftag.Orientation, uint16(f.Orientation)))
	}
	main = appendText(main, exiftag.DateTime, f.DateTime)

	exposure := f.Exposure
	if exposure.Den == 0 && f.ExposureS > 0 {
		exposure = exposureRational(f.ExposureS)
	}
	if exposure.Den != 0 {
		exif = append(exif, rational(exiftag.ExposureTime, exposure))
	}
	exif = appendDecimal(exif, exiftag.FNumber, f.FNumber, 100)
	if exif, err = appendWord(exif, exiftag.ExposureProgram, exiftag.ProgramWords, f.Program); err != nil {
		return nil, nil, err
	}
	if f.ISO > 0 {
		exif = append(exif, short(exiftag.ISO, uint16(min(math.Round(f.ISO), math.MaxUint16))))
	}
	exif = append(exif, undefined(exiftag.ExifVersion, "0232"))
	exif = appendText(exif, exiftag.DateTimeOriginal, f.DateTimeOriginal)
	exif = appendText(exif, exiftag.OffsetTimeOriginal, f.OffsetTimeOriginal)
	if f.BiasEV != 0 {
		exif = append(exif, signedRational(exiftag.ExposureBias, int32(math.Round(f.BiasEV*100)), 100))
	}
	switch {
	case math.IsInf(f.FocusM, 1):
		exif = append(exif, rational(exiftag.SubjectDistance, Rational{exiftag.SubjectAtInfinityNum, 1}))
	default:
		exif = appendDecimal(exif, exiftag.SubjectDistance, f.FocusM, 1000)
	}
	exif = appendDecimal(exif, exiftag.FocalLength, f.FocalMM, 100)
	exif = appendText(exif, exiftag.SubSecTimeOriginal, f.SubSecTimeOriginal)
	if f.PixelWidth > 0 && f.PixelHeight > 0 {
		exif = append(exif, long(exiftag.PixelXDimension, uint32(f.PixelWidth)), long(exiftag.PixelYDimension, uint32(f.PixelHeight)))
	}
	if exif, err = appendWord(exif, exiftag.ExposureMode, exiftag.ExposureModeWords, f.ExposureMode); err != nil {
		return nil, nil, err
	}
	if exif, err = appendWord(exif, exiftag.WhiteBalance, exiftag.WhiteBalanceWords, f.WhiteBalance); err != nil {
		return nil, nil, err
	}
	exif = appendText(exif, exiftag.BodySerialNumber, f.Serial)
	exif = appendText(exif, exiftag.LensModel, f.Lens)
	return main, exif, nil
}

func appendText(to []field, tag uint16, s string) []field {
	if s == "" {
		return to
	}
	return append(to, text(tag, s))
}

// appendDecimal adds a positive value as a fraction of 1/den.
func appendDecimal(to []field, tag uint16, v, den float64) []field {
	if !(v > 0) {
		return to
	}
	return append(to, rational(tag, Rational{uint32(min(math.Round(v*den), math.MaxUint32-1)), uint32(den)}))
}

func appendWord(to []field, tag uint16, words []string, word string) ([]field, error) {
	if word == "" {
		return to, nil
	}
	code := slices.Index(words, word)
	if code < 0 {
		return nil, fmt.Errorf("stamp: EXIF has no code for %q; it has %q", word, words)
	}
	return append(to, short(tag, uint16(code))), nil
}

// exposureRational writes short times as 1/n, as cameras do, when that is
// within 0.01 % of the time; other times in steps of 1/1000 s or 1 µs.
func exposureRational(s float64) Rational {
	if n := math.Round(1 / s); s < 1 && n < math.MaxUint32 && math.Abs(1/n-s) < 1e-4*s {
		return Rational{1, uint32(n)}
	}
	if s < 1 {
		return Rational{uint32(math.Round(s * 1e6)), 1e6}
	}
	return Rational{uint32(min(math.Round(s*1e3), math.MaxUint32)), 1e3}
}
