// Package icc reads the colour profiles of stills as far as a matrix and three
// curves go (ICC.1:2022, three-component matrix-based profiles), and gives what
// takes a still's colours to those of a clip.
package icc

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf16"
)

// Profile is the colours that a still's R', G' and B' stand for.
type Profile struct {
	Name string // as the profile calls itself
	// ToXYZ takes linear R, G and B, 0 to 1, to CIE XYZ relative to the D50 white
	// of the profile connection space; row-major.
	ToXYZ [9]float64
	// Curves take R', G' and B' to linear light.
	Curves [3]Curve
}

// Curve is a one-dimensional curve from 0..1 to 0..1: that of a table if there
// is one, evenly spaced and linear between, else
//
//	y = (A x + B)^G + E for x >= D, else C x + F
type Curve struct {
	G, A, B, C, D, E, F float64
	Table               []uint16 `json:",omitempty"`
}

// At is the curve's value at x, clamped to 0..1.
func (c *Curve) At(x float64) float64 {
	x = min(max(x, 0), 1)
	var y float64
	switch n := len(c.Table); {
	case n > 1:
		p := x * float64(n-1)
		i := min(int(p), n-2)
		y = (float64(c.Table[i]) + (p-float64(i))*(float64(c.Table[i+1])-float64(c.Table[i]))) / 65535
	case x >= c.D:
		y = math.Pow(max(c.A*x+c.B, 0), c.G) + c.E
	default:
		y = c.C*x + c.F
	}
	if math.IsNaN(y) {
		return 0
	}
	return min(max(y, 0), 1)
}

// SRGB is IEC 61966-2-1.
var SRGB = Profile{
	Name:   "sRGB",
	ToXYZ:  [9]float64{0.4360657, 0.3851471, 0.1430664, 0.2224884, 0.7168732, 0.0606079, 0.0139160, 0.0970764, 0.7140961},
	Curves: [3]Curve{srgbCurve, srgbCurve, srgbCurve},
}

var srgbCurve = Curve{G: 2.4, A: 1 / 1.055, B: 0.055 / 1.055, C: 1 / 12.92, D: 0.04045}

// AdobeRGB is Adobe RGB (1998): what Exif means by the interoperability index
// R03. The values are those of the profile of Debian's colord-data.
var AdobeRGB = Profile{
	Name:   "Adobe RGB (1998)",
	ToXYZ:  [9]float64{0.6097412, 0.2052765, 0.1492157, 0.3111115, 0.6256714, 0.0632019, 0.0194702, 0.0608978, 0.7445984},
	Curves: [3]Curve{adobeCurve, adobeCurve, adobeCurve},
}

var adobeCurve = Curve{G: 563.0 / 256, A: 1}

// DisplayP3 has the primaries of SMPTE RP 431-2 about D65, and the curve of
// sRGB.
var DisplayP3 = Profile{
	Name:   "Display P3",
	ToXYZ:  [9]float64{0.51512, 0.29198, 0.15710, 0.24120, 0.69225, 0.06657, -0.00105, 0.04189, 0.78407},
	Curves: [3]Curve{srgbCurve, srgbCurve, srgbCurve},
}

// BT2020 has the primaries of ITU-R BT.2020 about D65, and the curve of sRGB: what
// wide clips are worked in.
var BT2020 = Profile{
	Name:   "BT.2020",
	ToXYZ:  [9]float64{0.6735162, 0.1656935, 0.1250695, 0.2790530, 0.6753064, 0.0456101, -0.0019449, 0.0299772, 0.7970562},
	Curves: [3]Curve{srgbCurve, srgbCurve, srgbCurve},
}

// ProPhoto has the primaries of ROMM RGB (ISO 22028-2) as LibRaw states them, and
// the curve of sRGB: what raw stills of wide clips are developed to.
var ProPhoto = Profile{
	Name:   "ProPhoto RGB",
	ToXYZ:  [9]float64{0.7976905, 0.1352659, 0.0313249, 0.2880369, 0.7118617, 0.0000704, -0.0000205, -0.0000023, 0.8251121},
	Curves: [3]Curve{srgbCurve, srgbCurve, srgbCurve},
}

// ErrNotMatrix says that a profile is of a kind that is not converted.
var ErrNotMatrix = errors.New("no matrix profile")

// maxTags is how many tags a profile lists; real ones have two dozen.
const maxTags = 256

// Parse reads a profile. The error is ErrNotMatrix for one that is sound as far
// as it goes and says colours otherwise: by look-up tables, in CMYK, in grey.
func Parse(b []byte) (*Profile, error) {
	if len(b) < 132 || string(b[36:40]) != "acsp" {
		return nil, errors.New("the colour profile does not begin as one")
	}
	p := &Profile{}
	tags := map[string][]byte{}
	n := int64(binary.BigEndian.Uint32(b[128:]))
	if n > maxTags || 132+12*n > int64(len(b)) {
		return nil, fmt.Errorf("the colour profile lists %d tags, which it does not hold", n)
	}
	for t := b[132 : 132+12*n]; len(t) > 0; t = t[12:] {
		off, size := int64(binary.BigEndian.Uint32(t[4:])), int64(binary.BigEndian.Uint32(t[8:]))
		if off <= int64(len(b)) && size <= int64(len(b))-off {
			tags[string(t[:4])] = b[off : off+size]
		}
	}
	p.Name = description(tags["desc"])
	space, pcs := strings.TrimSpace(string(b[16:20])), string(b[20:24])
	if space != "RGB" || pcs != "XYZ " || tags["A2B0"] != nil || tags["rXYZ"] == nil || tags["rTRC"] == nil {
		kind := space
		if space == "RGB" {
			kind = "RGB by look-up tables"
		}
		return p, fmt.Errorf("%w: %s", ErrNotMatrix, printable(kind))
	}
	for i, name := range []string{"r", "g", "b"} {
		xyz := tags[name+"XYZ"]
		if len(xyz) < 20 || string(xyz[:4]) != "XYZ " {
			return p, errors.New("the colour profile lacks a primary")
		}
		for row := range 3 {
			p.ToXYZ[3*row+i] = fixed(xyz[8+4*row:])
		}
		var err error
		if p.Curves[i], err = curve(tags[name+"TRC"]); err != nil {
			return p, err
		}
	}
	if _, ok := inverse(p.ToXYZ); !ok {
		return p, errors.New("the primaries of the colour profile lie in one plane")
	}
	return p, nil
}

// fixed is a s15Fixed16Number.
func fixed(b []byte) float64 { return float64(int32(binary.BigEndian.Uint32(b))) / 65536 }

// curve reads a curveType or a parametricCurveType.
func curve(b []byte) (Curve, error) {
	bad := errors.New("a curve of the colour profile cannot be read")
	if len(b) < 12 {
		return Curve{}, bad
	}
	switch string(b[:4]) {
	case "curv":
		n := int64(binary.BigEndian.Uint32(b[8:]))
		if n > 65536 || 12+2*n > int64(len(b)) {
			return Curve{}, bad
		}
		switch n {
		case 0:
			return Curve{G: 1, A: 1}, nil
		case 1:
			return Curve{G: float64(binary.BigEndian.Uint16(b[12:])) / 256, A: 1}, nil
		}
		c := Curve{Table: make([]uint16, n)}
		for i := range c.Table {
			c.Table[i] = binary.BigEndian.Uint16(b[12+2*i:])
		}
		return c, nil
	case "para":
		kind := binary.BigEndian.Uint16(b[8:])
		if kind > 4 {
			return Curve{}, bad
		}
		n := []int{1, 3, 4, 5, 7}[kind]
		if len(b) < 12+4*n {
			return Curve{}, bad
		}
		var v [7]float64
		for i := range n {
			v[i] = fixed(b[12+4*i:])
		}
		c := Curve{G: v[0], A: v[1], B: v[2], C: v[3], D: v[4], E: v[5], F: v[6]}
		switch kind { // table 68 of ICC.1:2022
		case 0:
			c.A = 1
		case 1:
			c.C, c.D = 0, -c.B/c.A
		case 2:
			c.C, c.D, c.E, c.F = 0, -c.B/c.A, v[3], v[3]
		}
		if math.IsNaN(c.D) || math.IsInf(c.D, 0) {
			return Curve{}, bad
		}
		return c, nil
	}
	return Curve{}, bad
}

// description reads a textDescriptionType or the first text of a
// multiLocalizedUnicodeType.
func description(b []byte) string {
	if len(b) < 12 {
		return ""
	}
	switch string(b[:4]) {
	case "desc":
		n := int64(binary.BigEndian.Uint32(b[8:]))
		return printable(string(b[12 : 12+min(n, int64(len(b)-12))]))
	case "mluc":
		if len(b) < 28 {
			return ""
		}
		n, off := int64(binary.BigEndian.Uint32(b[20:])), int64(binary.BigEndian.Uint32(b[24:]))
		if off > int64(len(b)) || n > int64(len(b))-off {
			return ""
		}
		var u []uint16
		for t := b[off : off+n]; len(t) > 1; t = t[2:] {
			u = append(u, binary.BigEndian.Uint16(t))
		}
		return printable(string(utf16.Decode(u)))
	}
	return ""
}

// maxName bounds what a profile calls itself.
const maxName = 80

func printable(s string) string {
	s = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
	if r := []rune(s); len(r) > maxName {
		s = string(r[:maxName])
	}
	return strings.TrimSpace(s)
}

// To is the matrix from the profile's linear light to that of another.
func (p *Profile) To(q *Profile) [9]float64 {
	back, _ := inverse(q.ToXYZ)
	return multiply(back, p.ToXYZ)
}

// like is how far, in parts of white, two profiles may be apart that are taken
// for one: a quarter of an 8-bit code.
const like = 1.0 / 1024

// IsSRGB tells whether the profile says what sRGB says, so that nothing has to
// be converted.
func (p *Profile) IsSRGB() bool {
	m := p.To(&SRGB)
	for i, v := range m {
		want := 0.0
		if i%4 == 0 {
			want = 1
		}
		if math.Abs(v-want) > 2*like {
			return false
		}
	}
	for i := range p.Curves {
		for x := 0.0; x <= 1; x += 1.0 / 64 {
			if math.Abs(p.Curves[i].At(x)-SRGB.Curves[i].At(x)) > like {
				return false
			}
		}
	}
	return true
}

func multiply(a, b [9]float64) (out [9]float64) {
	for r := range 3 {
		for c := range 3 {
			for k := range 3 {
				out[3*r+c] += a[3*r+k] * b[3*k+c]
			}
		}
	}
	return out
}

// inverse of a 3 x 3 matrix; ok is false where there is none to speak of.
func inverse(m [9]float64) (out [9]float64, ok bool) {
	minor := func(a, b, c, d int) float64 { return m[a]*m[d] - m[b]*m[c] }
	adj := [9]float64{
		minor(4, 5, 7, 8), -minor(1, 2, 7, 8), minor(1, 2, 4, 5),
		-minor(3, 5, 6, 8), minor(0, 2, 6, 8), -minor(0, 2, 3, 5),
		minor(3, 4, 6, 7), -minor(0, 1, 6, 7), minor(0, 1, 3, 4),
	}
	det := m[0]*adj[0] + m[1]*adj[3] + m[2]*adj[6]
	if !(math.Abs(det) > 1e-6) {
		return out, false
	}
	for i := range adj {
		out[i] = adj[i] / det
	}
	return out, true
}
