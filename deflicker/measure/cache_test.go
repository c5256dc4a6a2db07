package measure

import (
	"encoding/binary"
	"hash/crc32"
	"math"
	"testing"

	"stillspan/deflicker"

	"stillspan/internal/bounded"
)

// A kept luminance is off by less than 0.0005 EV over the whole range of a
// 16-bit sRGB code.
func TestLumCode(t *testing.T) {
	worst, table := 0.0, lumOf()
	for code := 1; code <= 0xffff; code++ {
		lum := float64(linear16()[code])
		worst = max(worst, math.Abs(math.Log2(table[lumCode(lum)]/lum)))
	}
	if worst >= 0.0005 || worst == 0 {
		t.Errorf("off by up to %.6f EV", worst)
	}
	for _, lum := range []float64{0, -1, math.NaN()} {
		if got := table[lumCode(lum)]; got != 0 {
			t.Errorf("%v comes back as %v", lum, got)
		}
	}
	if got := table[lumCode(1)]; got != 1 {
		t.Errorf("1 comes back as %v", got)
	}
	for i := range table {
		if int(lumCode(table[i])) != i {
			t.Fatalf("code %d comes back as %d: a second run would drift", i, lumCode(table[i]))
		}
	}
}

func TestEntry(t *testing.T) {
	k := key{1, 2, 3}
	g := &Grid{Grid: deflicker.Grid{W: 2, H: 1, Lum: []float64{0, 1}, Clip: []float64{1, 7. / 255}}, HighShare: 0.25, LowShare: 0.5, MeanLum: 0.125, Source: SourceReduced}
	f := &Finding{Kind: "truncated", Text: "the file ends", Try: "copy it again", Left: 0.75}
	for _, c := range []struct {
		g *Grid
		f *Finding
	}{{g, nil}, {g, f}, {nil, f}} {
		got, finding, ok := decodeEntry(encodeEntry(k, c.g, c.f), k)
		if !ok || (finding == nil) != (c.f == nil) || finding != nil && *finding != *c.f {
			t.Errorf("finding %+v comes back as %+v, %v", c.f, finding, ok)
		}
		if (got == nil) != (c.g == nil) {
			t.Errorf("grid %+v comes back as %+v", c.g, got)
		}
		if got != nil && (got.Lum[1] != 1 || got.Clip[1] != 7./255 || got.HighShare != 0.25 || got.LowShare != 0.5 || got.MeanLum != 0.125 || got.Source != SourceReduced) {
			t.Errorf("grid %+v comes back as %+v", c.g, got)
		}
	}
	if _, _, ok := decodeEntry(encodeEntry(k, g, nil), key{9}); ok {
		t.Error("an entry of another key is taken")
	}
}

func FuzzEntry(f *testing.F) {
	k := key{1}
	f.Add(encodeEntry(k, &Grid{Grid: deflicker.Grid{W: 1, H: 1, Lum: []float64{0.5}, Clip: []float64{0}}, Source: SourceFull}, nil))
	f.Add(encodeEntry(k, nil, &Finding{Kind: "corrupt", Text: "text"}))
	f.Fuzz(func(t *testing.T, data []byte) {
		// With the right key and checksum, so that the rest is looked at.
		entry := append(k[:len(k):len(k)], data...)
		entry = binary.LittleEndian.AppendUint32(entry, crc32.Checksum(entry, castagnoli))
		bounded.Run(t, func() {
			if g, _, ok := decodeEntry(entry, k); ok && g != nil && (len(g.Lum) != g.W*g.H || len(g.Clip) != len(g.Lum)) {
				t.Errorf("%d x %d cells with %d and %d values", g.W, g.H, len(g.Lum), len(g.Clip))
			}
		})
	})
}
