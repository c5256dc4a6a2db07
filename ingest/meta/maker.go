package meta

import (
	"bytes"
	"cmp"
	"math"
	"strconv"
	"strings"
)

// makerNote is where a maker's own notes lie. Only two makers' are read, for
// what their cameras state nowhere else: serial number, focus mode, and older
// bodies' sensitivity. Tag numbers are those of exiftool's published tag tables.
type makerNote struct {
	note  block
	at    entry
	canon *makerDir // the notes of a CR3, which have a block of their own
}

// makerDir is a directory of maker's notes.
type makerDir struct {
	block block
	off   int64
}

// Canon's tags.
const (
	canonSettings       = 0x0001
	canonShot           = 0x0004
	canonSerial         = 0x000C
	canonFocusModeIndex = 7
	canonISOIndex       = 16 // of the settings
	canonAutoISOIndex   = 1  // of the shot, as the next
	canonBaseISOIndex   = 2
)

// canonFocusModes is the seventh of the camera settings.
var canonFocusModes = map[int]string{
	0: "one-shot af", 1: "ai servo af", 2: "ai focus af", 3: "manual", 4: "single", 5: "continuous",
	6: "manual", 16: "pan focus", 256: "one-shot af", 257: "ai servo af", 258: "ai focus af",
	512: "movie snap focus", 519: "movie servo af",
}

// Nikon's tags.
const (
	nikonFocusMode = 0x0007
	nikonSerial    = 0x001D
	nikonSerialOld = 0x00A0
)

// apply fills what the standard tags left open. Damage in maker's notes is
// common, as other programs move them, and no finding.
func (m makerNote) apply(f *Facts) {
	maker := strings.ToLower(f.Make)
	switch {
	case m.canon != nil:
		m.canon.applyCanon(f)
	case m.at.bytes == 0:
	case strings.HasPrefix(maker, "canon"):
		// Their offsets count from the start of the EXIF block.
		makerDir{m.note, m.at.off}.applyCanon(f)
	case strings.HasPrefix(maker, "nikon"):
		m.applyNikon(f)
	}
}

func (d makerDir) applyCanon(f *Facts) {
	entries, _, _ := d.block.dir(d.off)
	var set, shot float64
	for _, e := range entries {
		switch e.tag {
		case canonShot:
			base, ok1 := d.block.number(e, canonBaseISOIndex)
			auto, ok2 := d.block.number(e, canonAutoISOIndex)
			if ok1 && ok2 && base > 0 {
				// Both in steps of 1/32 EV; auto counts from 100 %.
				shot = math.Exp2(base/32) * 100 / 32 * math.Exp2(auto/32)
			}
		case canonSerial:
			if v, ok := d.block.integer(e); ok && v > 0 && f.Serial == "" {
				f.Serial = strconv.FormatInt(v, 10)
			}
		case canonSettings:
			if v, ok := d.block.number(e, canonFocusModeIndex); ok {
				f.FocusMode = canonFocusModes[int(v)]
			}
			if v, ok := d.block.number(e, canonISOIndex); ok {
				set = canonISO(int(v))
			}
		}
	}
	if f.ISO == 0 {
		f.ISO = cmp.Or(set, shot)
	}
}

// canonISO is the sensitivity by Canon's code for it; 0 if automatic.
func canonISO(code int) float64 {
	const stated, unset = 0x4000, 0x7FFF
	if code != unset && code&stated != 0 {
		return float64(code &^ stated)
	}
	return map[int]float64{16: 50, 17: 100, 18: 200, 19: 400, 20: 800}[code]
}

// applyNikon reads notes of the third kind, which hold a TIFF block.
func (m makerNote) applyNikon(f *Facts) {
	s, err := m.note.sub(m.at.off, m.at.bytes)
	if err != nil {
		return
	}
	head, err := s.bytes(0, 10)
	if err != nil || !bytes.HasPrefix(head, []byte("Nikon\x00\x02")) {
		return
	}
	inner, err := s.sub(10, s.size-10)
	if err != nil {
		return
	}
	b, err := newBlock(inner)
	if err != nil {
		return
	}
	entries, _, _ := b.dir(b.first)
	for _, e := range entries {
		switch e.tag {
		case nikonSerial, nikonSerialOld:
			if f.Serial == "" {
				f.Serial = b.text(e)
			}
		case nikonFocusMode:
			f.FocusMode = strings.ToLower(b.text(e))
		}
	}
}
