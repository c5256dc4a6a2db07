package meta

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"
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
	changed             string // DateTime
	gpsDate             string
	gpsTime             [3]float64 // hours, minutes, seconds
	shutterTV           float64    // APEX time value
	apertureAV          float64    // APEX aperture value
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
		case exiftag.GPSIFD:
			c.within(b, e, c.gpsTag)
		case exiftag.ICCProfile:
			if profile, err := b.bytes(e.off, e.bytes); err == nil && main {
				c.setProfile(profile)
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
		if e.tag == exiftag.InteropIFD {
			c.within(b, e, c.interopTag)
			continue
		}
		c.exifTag(b, e)
	}
}

// within reads a directory that nothing else hangs on: its damage is no matter.
func (c *collector) within(b block, e entry, take func(block, entry)) {
	off, ok := b.integer(e)
	if at := (spot{b.src, b.off + off}); !ok || c.seen[at] {
		return
	}
	entries, _, err := b.dir(off)
	if err != nil {
		return
	}
	for _, e := range entries {
		take(b, e)
	}
}

// interopTag tells which of the colour spaces of DCF is meant.
func (c *collector) interopTag(b block, e entry) {
	if e.tag == exiftag.InteropIndex {
		c.facts.Colour.interop = b.text(e)
	}
}

func (c *collector) gpsTag(b block, e entry) {
	switch e.tag {
	case exiftag.GPSDateStamp:
		c.gpsDate = b.text(e)
	case exiftag.GPSTimeStamp:
		for i := range c.gpsTime {
			c.gpsTime[i], _ = b.number(e, i)
		}
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
	case exiftag.DateTime:
		setText(&c.changed, b.text(e))
	case exiftag.BitsPerSample:
		if v, ok := b.number(e, 0); ok && v >= 1 && v <= 64 && f.Format == "tiff" { // of others what was there before
			f.Bits = int(v)
		}
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
	if take, ok := exifTags[e.tag]; ok {
		take(c, b, e)
	}
}

// exifTags are the tags that are read there.
var exifTags = map[uint16]func(*collector, block, entry){
	// Some programs put these two here.
	exiftag.Make:                text(func(c *collector) *string { return unset(&c.facts.Make) }),
	exiftag.Model:               text(func(c *collector) *string { return unset(&c.facts.Model) }),
	exiftag.DateTimeOriginal:    text(func(c *collector) *string { return &c.original.date }),
	exiftag.SubSecTimeOriginal:  text(func(c *collector) *string { return &c.original.subSec }),
	exiftag.OffsetTimeOriginal:  text(func(c *collector) *string { return &c.original.offset }),
	exiftag.DateTimeDigitized:   text(func(c *collector) *string { return &c.digitized.date }),
	exiftag.SubSecTimeDigitized: text(func(c *collector) *string { return &c.digitized.subSec }),
	exiftag.OffsetTimeDigitized: text(func(c *collector) *string { return &c.digitized.offset }),
	exiftag.BodySerialNumber:    text(func(c *collector) *string { return &c.facts.Serial }),
	exiftag.LensModel:           text(func(c *collector) *string { return &c.facts.Lens }),
	exiftag.ExposureTime:        positive(func(c *collector) *float64 { return &c.facts.ExposureS }),
	exiftag.FNumber:             positive(func(c *collector) *float64 { return &c.facts.FNumber }),
	exiftag.ISO:                 positive(func(c *collector) *float64 { return &c.facts.ISO }),
	exiftag.StandardOutput:      positive(otherISO),
	exiftag.RecommendedIndex:    positive(otherISO),
	exiftag.ISOSpeed:            positive(otherISO),
	exiftag.FocalLength:         positive(func(c *collector) *float64 { return &c.facts.FocalMM }),
	exiftag.SubjectDistance:     positive(func(c *collector) *float64 { return &c.facts.FocusM }),
	exiftag.WhiteBalance:        word(exiftag.WhiteBalanceWords, func(c *collector) *string { return &c.facts.WhiteBalance }),
	exiftag.ExposureMode:        word(exiftag.ExposureModeWords, func(c *collector) *string { return &c.facts.ExposureMode }),
	exiftag.ExposureProgram:     word(exiftag.ProgramWords, func(c *collector) *string { return &c.facts.Program }),
	exiftag.ExposureBias: func(c *collector, b block, e entry) {
		if v, ok := b.number(e, 0); ok {
			c.facts.BiasEV = v
		}
	},
	exiftag.ColorSpace: func(c *collector, b block, e entry) {
		if v, ok := b.integer(e); ok && v > 0 && v <= math.MaxUint16 {
			c.facts.Colour.space = uint16(v)
		}
	},
	exiftag.ShutterSpeedValue: func(c *collector, b block, e entry) { c.shutterTV, c.hasTV = b.number(e, 0) },
	exiftag.ApertureValue:     func(c *collector, b block, e entry) { c.apertureAV, c.hasAV = b.number(e, 0) },
	exiftag.MakerNote:         func(c *collector, b block, e entry) { c.maker.note, c.maker.at = b, e },
}

func otherISO(c *collector) *float64 { return &c.otherISO }

// unset is to, unless something stands there.
func unset(to *string) *string {
	if *to != "" {
		return new(string)
	}
	return to
}

func text(to func(*collector) *string) func(*collector, block, entry) {
	return func(c *collector, b block, e entry) { setText(to(c), b.text(e)) }
}

func positive(to func(*collector) *float64) func(*collector, block, entry) {
	return func(c *collector, b block, e entry) { setPositive(to(c), b, e) }
}

func word(words []string, to func(*collector) *string) func(*collector, block, entry) {
	return func(c *collector, b block, e entry) {
		code, ok := b.integer(e)
		if !ok {
			code = -1
		}
		*to(c) = exiftag.Word(words, int(code))
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

// pictureTags are the tags that say something of a directory's picture.
var pictureTags = map[uint16]func(*picture) *int64{
	exiftag.ImageWidth:      func(p *picture) *int64 { return &p.width },
	exiftag.ImageLength:     func(p *picture) *int64 { return &p.height },
	exiftag.Photometric:     func(p *picture) *int64 { return &p.photometric },
	exiftag.JPEGOffset:      func(p *picture) *int64 { return &p.jpegOffset },
	exiftag.JPEGLength:      func(p *picture) *int64 { return &p.jpegLength },
	exiftag.StripOffsets:    func(p *picture) *int64 { return &p.offset },
	exiftag.StripByteCounts: func(p *picture) *int64 { return &p.length },
}

// tag takes what a directory says of its picture.
func (p *picture) tag(b block, e entry) {
	if e.tag == exiftag.NewSubfileType {
		v, _ := b.integer(e)
		p.reduced = v&exiftag.SubfileReducedBit != 0
	}
	to, ok := pictureTags[e.tag]
	// Pictures of several strips are no JPEG previews.
	if v, whole := b.integer(e); ok && whole && e.count == 1 {
		*to(p) = v
	}
}

// settle joins what several tags say together.
func (c *collector) settle() {
	f := c.facts
	f.Taken, f.HasOffset = c.original.time()
	if f.Taken.IsZero() {
		f.Taken, f.HasOffset = c.digitized.time()
	}
	if f.Taken.IsZero() {
		f.Taken, f.HasOffset = stamp{date: c.changed}.time()
		f.Changed = !f.Taken.IsZero()
	}
	day, ok := parseDate(c.gpsDate + " 00:00:00")
	if s := 3600*c.gpsTime[0] + 60*c.gpsTime[1] + c.gpsTime[2]; ok && s >= 0 && s <= 86401 { // with a leap second
		f.GPS = day.Add(time.Duration(s * float64(time.Second)))
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
	if f.FocusM >= exiftag.SubjectAtInfinityNum {
		f.FocusM = math.Inf(1)
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
