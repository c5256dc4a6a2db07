package meta

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"unique"

	"stillspan/internal/icc"
)

// Colour is what a still states of its colours. Equal statements compare as
// equal, and a profile that many stills hold is kept once.
type Colour struct {
	profile    unique.Handle[string]
	hasProfile bool
	// space is EXIF's ColorSpace, 0 for none, and interop its interoperability
	// index: "R98", "R03" or "THM" (EXIF 2.32, CIPA DC-010 DCF 2.0).
	space   uint16
	interop string
	// primaries and transfer are code points of ITU-T H.273; 0 for none.
	primaries, transfer uint8
	// coded is set where they stand before a profile, as in PNG.
	coded bool
	// packed is set for a profile in the way of JPEG XL, which is not unpacked.
	packed bool
}

// EXIF's values of ColorSpace. Some cameras write 2 for Adobe RGB.
const (
	spaceAdobe        = 2
	spaceUncalibrated = 0xFFFF
)

// Read says what the colours are called. profile is what they are converted by,
// nil for sRGB, for which stills that state nothing are taken; why says, where
// it is not empty, that they are not converted, and the reason.
func (c Colour) Read() (name string, profile *icc.Profile, why string) {
	switch {
	case c.hasProfile && !(c.coded && c.primaries > 0):
		return c.readProfile()
	case c.packed:
		return "a colour profile", nil, "profiles within JPEG XL are not read"
	case c.primaries > 0:
		return c.readCodes()
	case c.space == spaceUncalibrated && strings.HasPrefix(c.interop, "R03"), c.space == spaceAdobe:
		return icc.AdobeRGB.Name, &icc.AdobeRGB, ""
	}
	return icc.SRGB.Name, nil, ""
}

func (c Colour) readProfile() (name string, profile *icc.Profile, why string) {
	p, err := icc.Parse([]byte(c.profile.Value()))
	name = "a colour profile without a name"
	if p != nil && p.Name != "" {
		name = p.Name
	}
	switch {
	case errors.Is(err, icc.ErrNotMatrix):
		return name, nil, strings.TrimPrefix(err.Error(), icc.ErrNotMatrix.Error()+": ")
	case err != nil:
		return name, nil, err.Error()
	case p.IsSRGB():
		return name, nil, ""
	}
	return name, p, ""
}

// readCodes reads primaries and transfer of ITU-T H.273: BT.709 is 1 and P3 on
// D65 12, the curve of sRGB 13; 1, 6, 14 and 15 are the camera curve of BT.709,
// which still decoders take for that of sRGB.
func (c Colour) readCodes() (name string, profile *icc.Profile, why string) {
	usual := c.transfer == 1 || c.transfer == 2 || c.transfer == 6 || c.transfer == 13
	switch {
	case usual && c.primaries <= 2:
		return icc.SRGB.Name, nil, ""
	case usual && c.primaries == 12:
		return icc.DisplayP3.Name, &icc.DisplayP3, ""
	}
	name = fmt.Sprintf("CICP %d/%d", c.primaries, c.transfer)
	return name, nil, "primaries and transfer of ITU-T H.273 other than BT.709 and P3"
}

// iccParts are the parts of a profile in the APP2 segments of a JPEG (ICC.1:2022,
// annex B.4).
type iccParts struct {
	parts [][]byte
	bytes int
}

const (
	iccMark  = "ICC_PROFILE\x00"
	maxParts = 255
)

// add takes a segment, if it is one of a profile.
func (p *iccParts) add(body section) bool {
	head, err := body.bytes(0, min(int64(len(iccMark))+2, body.size))
	if err != nil || len(head) < len(iccMark)+2 || string(head[:len(iccMark)]) != iccMark {
		return false
	}
	at, of := int(head[len(iccMark)]), int(head[len(iccMark)+1])
	if at < 1 || at > of || p.bytes+int(body.size) > maxChunk || p.parts != nil && len(p.parts) != of {
		return true
	}
	if p.parts == nil {
		p.parts = make([][]byte, of)
	}
	data, err := body.bytes(int64(len(head)), body.size-int64(len(head)))
	if err == nil && p.parts[at-1] == nil {
		p.parts[at-1] = data
		p.bytes += len(data)
	}
	return true
}

// whole is the profile, nil unless all its parts are there.
func (p *iccParts) whole() []byte {
	var all []byte
	for _, part := range p.parts {
		if part == nil {
			return nil
		}
		all = append(all, part...)
	}
	return all
}

// setProfile keeps a profile.
func (c *collector) setProfile(b []byte) {
	if len(b) > 0 && !c.facts.Colour.hasProfile {
		c.facts.Colour.profile, c.facts.Colour.hasProfile = unique.Make(string(b)), true
	}
}

// setCodes takes a box or chunk that states primaries and transfer in two bytes
// each or in one.
func (c *collector) setCodes(primaries, transfer uint16, before bool) {
	if primaries < 256 && transfer < 256 {
		k := &c.facts.Colour
		k.primaries, k.transfer, k.coded = uint8(primaries), uint8(transfer), before
	}
}

// colourBox reads a colour information box (ISO/IEC 14496-12, "colr").
func (c *collector) colourBox(body section) {
	k := cursor{section: body, order: binary.BigEndian}
	switch string(k.take(4)) {
	case "nclx":
		p, t := k.u16(), k.u16()
		if k.err == nil {
			c.setCodes(p, t, false)
		}
	case "prof", "rICC":
		if b, err := body.bytes(4, body.size-4); err == nil {
			c.setProfile(b)
		}
	}
}
