package codec

import (
	"fmt"
	"slices"
	"strings"

	"stillspan/internal/bt2100"
	"stillspan/internal/icc"
	"stillspan/internal/srgb"
)

// Space is the colours that a clip is written in.
type Space struct {
	Name string
	// Primaries, Transfer and Matrix are ffmpeg's names for code points of ITU-T
	// H.273.
	Primaries, Transfer, Matrix string
	// Depth is the least bits a sample, PeakNits the luminance of the highest
	// signal, cd/m2; 0 for a signal that is relative to its white.
	Depth    int
	PeakNits float64
	// Gamut has the primaries; its curve is that of sRGB.
	Gamut *icc.Profile
	// KR and KB are the parts of red and blue in luma.
	KR, KB float64
	// Signal takes light, in parts of PeakNits, to R', G' and B'. Where SceneGain
	// is set it is first multiplied by that of the pixel's luminance.
	Signal, SceneGain func(float64) float64
}

// Wide tells whether the space is other than BT.709.
func (s *Space) Wide() bool { return s.PeakNits > 0 }

// Spaces is the table, one row a colour space, that of presets which name none
// first.
var Spaces = []Space{
	{Name: "bt709", Primaries: "bt709", Transfer: "bt709", Matrix: "bt709", Depth: 8, Gamut: &icc.SRGB, KR: 0.2126, KB: 0.0722, Signal: srgb.Encode},
	{Name: "bt2020-hlg", Primaries: "bt2020", Transfer: "arib-std-b67", Matrix: "bt2020nc", Depth: 10, PeakNits: bt2100.HLGNits, Gamut: &icc.BT2020, KR: 0.2627, KB: 0.0593, Signal: bt2100.HLG, SceneGain: bt2100.SceneGain},
	{Name: "bt2020-pq", Primaries: "bt2020", Transfer: "smpte2084", Matrix: "bt2020nc", Depth: 10, PeakNits: bt2100.PQNits, Gamut: &icc.BT2020, KR: 0.2627, KB: 0.0593, Signal: bt2100.PQ},
}

// FindSpace returns the colour space of that name.
func FindSpace(name string) (*Space, error) {
	i := slices.IndexFunc(Spaces, func(s Space) bool { return s.Name == name })
	if i < 0 {
		return nil, fmt.Errorf("colour space %q: want one of %s", name, strings.Join(SpaceNames(), ", "))
	}
	return &Spaces[i], nil
}

// SpaceNames lists the colour spaces.
func SpaceNames() []string {
	out := make([]string, len(Spaces))
	for i := range Spaces {
		out[i] = Spaces[i].Name
	}
	return out
}
