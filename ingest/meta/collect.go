package meta

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"unicode"

	"stillspan/internal/exiftag"
)

// collector gathers facts from the directories of one file.
type collector struct {
	facts  *Facts
	src    *source
	damage error // the first damage to metadata; reading goes on after it
	seen   map[spot]bool
	dirs   int

	unpacked bool // a JPEG XL's packed EXIF was met

	original, digitized stamp
	shutterTV           float64 // APEX time value
	apertureAV          float64 // APEX aperture value
	hasTV, hasAV        bool
	otherISO            float64
	dng                 bool
	maker               makerNote
	pictures            []picture
	panasonic           bool // the main directory is one of an RW2
	panasonicJPEG       section
	border              [4]int64 // top, left, bottom, right
}

// spot is where a directory lies.
type spot struct {
	src *source
	off int64
}

// stamp is a time as EXIF spells it, in three tags.
type stamp struct{ date, subSec, offset string }

// picture is what one TIFF directory says of a picture.
type picture struct {
	width, height, photometric int64
	reduced                    bool
	offset, length             int64 // strip, if there is only one
	jpegOffset, jpegLength     int64
}

func (p picture) cfa() bool {
	return p.photometric == exiftag.PhotometricCFA || p.photometric == exiftag.PhotometricLinear
}

// note keeps the first damage to metadata.
func (c *collector) note(err error) {
	if c.damage == nil && err != nil && c.src.err == nil {
		c.damage = err
	}
}

// exifBlock reads a whole EXIF block: main directory and all it points to.
// root is where embedded pictures are looked for.
func (c *collector) exifBlock(s section) (block, bool) {
	b, err := newBlock(s)
	if err != nil {
		c.note(err)
		return b, false
	}
	c.chain(b, b.first, 0)
	return b, true
}

// chain reads a directory and those that follow it.
func (c *collector) chain(b block, off int64, depth int) {
	for main := true; off != 0; main = false {
		next, ok := c.dir(b, off, depth, main && depth == 0)
		if !ok {
			return
		}
		off = next
	}
}

// dir reads one directory, unless it was read before: loops end here.
func (c *collector) dir(b block, off int64, depth int, main bool) (next int64, ok bool) {
	if depth > maxDepth {
		c.note(badMetadata("directories lie more than %d deep", maxDepth))
		return 0, false
	}
	at := spot{b.src, b.off + off}
	if c.seen[at] {
		c.note(badMetadata("the directory at %d is pointed at twice", off))
		return 0, false
	}
	if c.dirs++; c.dirs > maxDirs {
		c.note(badMetadata("more than %d directories", maxDirs))
		return 0, false
	}
	c.seen[at] = true
	entries, next, err := b.dir(off)
	c.note(err)
	var p picture
	for _, e := range entries {
		switch e.tag {
		case exiftag.ExifIFD:
			if at, ok := b.integer(e); ok {
				c.exifDir(b, at, depth+1)
			}
		case exiftag.SubIFDs:
			for i := range int(min(e.count, maxDirs)) {
				if at, ok := b.number(e, i); ok && at > 0 {
					c.chain(b, int64(at), depth+1)
				}
			}
		default:
			if main {
				c.mainTag(b, e)
			}
			p.tag(b, e)
		}
	}
	c.pictures = append(c.pictures, p)
	return next, true
}

// exifDir reads the EXIF directory.
func (c *collector) exifDir(b block, off int64, depth int) {
	at := spot{b.src, b.off + off}
	if c.seen[at] || depth > maxDepth {
		c.note(badMetadata("the directory at %d is pointed at twice", off))
		return
	}
	c.seen[at] = true
	entries, _, err := b.dir(off)
	c.note(err)
	for _, e := range entries {
		c.exifTag(b, e)
	}
}

// mainTag takes a tag of the main directory. TIFF/EP raw files, and some
// editing programs, keep the exposure there too.
func (c *collector) mainTag(b block, e entry) {
	f := c.facts
	if c.panasonic {
		c.panasonicTag(b, e)
	}
	switch e.tag {
	case exiftag.Make:
		setText(&f.Make, b.text(e))
	case exiftag.Model:
		setText(&f.Model, b.text(e))
	case exiftag.DNGCameraModel:
		if f.Model == "" {
			f.Model = b.text(e)
		}
	case exiftag.DNGSerial:
		setText(&f.Serial, b.text(e))
	case exiftag.DNGVersion:
		c.dng = true
	case exiftag.Orientation:
		if v, ok := b.integer(e); ok && v >= 1 && v <= 8 {
			f.Orientation = int(v)
		}
	default:
		c.exifTag(b, e)
	}
}

// exifTag takes a tag of the EXIF directory.
func (c *collector) exifTag(b block, e entry) {
	f := c.facts
	switch e.tag {
	case exiftag.Make: // some programs put these two here
		if f.Make == "" {
			f.Make = b.text(e)
		}
	case exiftag.Model:
		if f.Model == "" {
			f.Model = b.text(e)
		}
	case exiftag.DateTimeOriginal:
		setText(&c.original.date, b.text(e))
	case exiftag.SubSecTimeOriginal:
		setText(&c.original.subSec, b.text(e))
	case exiftag.OffsetTimeOriginal:
		setText(&c.original.offset, b.text(e))
	case exiftag.DateTimeDigitized:
		setText(&c.digitized.date, b.text(e))
	case exiftag.SubSecTimeDigitized:
		setText(&c.digitized.subSec, b.text(e))
	case exiftag.OffsetTimeDigitized:
		setText(&c.digitized.offset, b.text(e))
	case exiftag.ExposureTime:
		setPositive(&f.ExposureS, b, e)
	case exiftag.FNumber:
		setPositive(&f.FNumber, b, e)
	case exiftag.ShutterSpeedValue:
		c.shutterTV, c.hasTV = b.number(e, 0)
	case exiftag.ApertureValue:
		c.apertureAV, c.hasAV = b.number(e, 0)
	case exiftag.ISO:
		setPositive(&f.ISO, b, e)
	case exiftag.StandardOutput, exiftag.RecommendedIndex, exiftag.ISOSpeed:
		setPositive(&c.otherISO, b, e)
	case exiftag.ExposureBias:
		if v, ok := b.number(e, 0); ok {
			f.BiasEV = v
		}
	case exiftag.FocalLength:
		setPositive(&f.FocalMM, b, e)
	case exiftag.SubjectDistance:
		setPositive(&f.FocusM, b, e)
		if f.FocusM >= exiftag.SubjectAtInfinityNum {
			f.FocusM = math.Inf(1)
		}
	case exiftag.BodySerialNumber:
		setText(&f.Serial, b.text(e))
	case exiftag.LensModel:
		setText(&f.Lens, b.text(e))
	case exiftag.WhiteBalance:
		f.WhiteBalance = word(exiftag.WhiteBalanceWords, b, e)
	case exiftag.ExposureMode:
		f.ExposureMode = word(exiftag.ExposureModeWords, b, e)
	case exiftag.ExposureProgram:
		f.Program = word(exiftag.ProgramWords, b, e)
	case exiftag.MakerNote:
		c.maker.note, c.maker.at = b, e
	}
}

func setText(to *string, s string) {
	if s != "" {
		*to = s
	}
}

func setPositive(to *float64, b block, e entry) {
	if v, ok := b.number(e, 0); ok && v > 0 {
		*to = v
	}
}

func word(words []string, b block, e entry) string {
	code, ok := b.integer(e)
	if !ok {
		return ""
	}
	return exiftag.Word(words, int(code))
}

// tag takes what a directory says of its picture.
func (p *picture) tag(b block, e entry) {
	var to *int64
	switch e.tag {
	case exiftag.ImageWidth:
		to = &p.width
	case exiftag.ImageLength:
		to = &p.height
	case exiftag.Photometric:
		to = &p.photometric
	case exiftag.JPEGOffset:
		to = &p.jpegOffset
	case exiftag.JPEGLength:
		to = &p.jpegLength
	case exiftag.StripOffsets:
		to = &p.offset
	case exiftag.StripByteCounts:
		to = &p.length
	case exiftag.NewSubfileType:
		v, _ := b.integer(e)
		p.reduced = v&exiftag.SubfileReducedBit != 0
		return
	default:
		return
	}
	// Pictures of several strips are no JPEG previews.
	if v, ok := b.integer(e); ok && e.count == 1 {
		*to = v
	}
}

// settle joins what several tags say together.
func (c *collector) settle() {
	f := c.facts
	f.Taken, f.HasOffset = c.original.time()
	if f.Taken.IsZero() {
		f.Taken, f.HasOffset = c.digitized.time()
	}
	// APEX: time 2^-Tv seconds, f-number 2^(Av/2) (EXIF 2.32, annex C).
	if f.ExposureS == 0 && c.hasTV && math.Abs(c.shutterTV) < 32 {
		f.ExposureS = math.Exp2(-c.shutterTV)
	}
	if f.FNumber == 0 && c.hasAV && c.apertureAV > 0 && c.apertureAV < 32 {
		f.FNumber = math.Exp2(c.apertureAV / 2)
	}
	// 65535 says that the true value does not fit the tag (EXIF 2.32, 4.6.5).
	if (f.ISO == 0 || f.ISO == math.MaxUint16) && c.otherISO > 0 {
		f.ISO = c.otherISO
	}
	c.maker.apply(f)
	for _, s := range []*string{&f.Make, &f.Model, &f.Serial, &f.Lens} {
		*s = printable(*s)
	}
	slices.SortStableFunc(f.Previews, func(a, b Preview) int {
		return cmp.Or(cmp.Compare(a.Width*a.Height, b.Width*b.Height), cmp.Compare(a.Length, b.Length))
	})
}

// printable drops what is no printable character: such text goes to terminals,
// which take some characters as commands.
func printable(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "?")))
}
