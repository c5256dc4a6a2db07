package icc

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"stillspan/internal/srgb"
)

// convert takes codes of 0 to 255 to those of sRGB, cut off at its bounds.
func (p *Profile) convert(rgb [3]float64) (out [3]float64) {
	m := p.To(&SRGB)
	var l [3]float64
	for j := range l {
		l[j] = p.Curves[j].At(rgb[j] / 255)
	}
	for r := range 3 {
		out[r] = 255 * srgb.Encode(m[3*r]*l[0]+m[3*r+1]*l[1]+m[3*r+2]*l[2])
	}
	return out
}

// lab takes sRGB codes to CIE L*a*b* of D65.
func lab(rgb [3]float64) [3]float64 {
	var l [3]float64
	for j := range l {
		l[j] = srgb.Decode(rgb[j] / 255)
	}
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	x := f((0.4124564*l[0] + 0.3575761*l[1] + 0.1804375*l[2]) / 0.95047)
	y := f(0.2126729*l[0] + 0.7151522*l[1] + 0.0721750*l[2])
	z := f((0.0193339*l[0] + 0.1191920*l[1] + 0.9503041*l[2]) / 1.08883)
	return [3]float64{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

// deltaE is CIEDE2000 (CIE 142-2001; as in Sharma, Wu and Dalal 2005).
func deltaE(p, q [3]float64) float64 {
	deg := math.Pi / 180
	mean := (math.Hypot(p[1], p[2]) + math.Hypot(q[1], q[2])) / 2
	g := 0.5 * (1 - math.Sqrt(math.Pow(mean, 7)/(math.Pow(mean, 7)+math.Pow(25, 7))))
	polar := func(v [3]float64) (c, h float64) {
		a := v[1] * (1 + g)
		h = math.Atan2(v[2], a) / deg
		if h < 0 {
			h += 360
		}
		return math.Hypot(a, v[2]), h
	}
	c1, h1 := polar(p)
	c2, h2 := polar(q)
	dl, dc, dh := q[0]-p[0], c2-c1, h2-h1
	hm := (h1 + h2) / 2
	switch {
	case c1*c2 == 0:
		dh, hm = 0, h1+h2
	case math.Abs(h1-h2) > 180:
		if dh > 180 {
			dh -= 360
		} else {
			dh += 360
		}
		if h1+h2 < 360 {
			hm += 180
		} else {
			hm -= 180
		}
	}
	dH := 2 * math.Sqrt(c1*c2) * math.Sin(dh/2*deg)
	lm, cm := (p[0]+q[0])/2, (c1+c2)/2
	t := 1 - 0.17*math.Cos((hm-30)*deg) + 0.24*math.Cos(2*hm*deg) + 0.32*math.Cos((3*hm+6)*deg) - 0.20*math.Cos((4*hm-63)*deg)
	sl := 1 + 0.015*(lm-50)*(lm-50)/math.Sqrt(20+(lm-50)*(lm-50))
	sc, sh := 1+0.045*cm, 1+0.015*cm*t
	rt := -2 * math.Sqrt(math.Pow(cm, 7)/(math.Pow(cm, 7)+math.Pow(25, 7))) * math.Sin(60*math.Exp(-(hm-275)/25*(hm-275)/25)*deg)
	return math.Sqrt(dl/sl*dl/sl + dc/sc*dc/sc + dH/sh*dH/sh + rt*dc/sc*dH/sh)
}

// Two of the pairs of Sharma, Wu and Dalal, "The CIEDE2000 color-difference
// formula", table 1.
func TestDeltaE(t *testing.T) {
	for _, c := range []struct {
		p, q [3]float64
		want float64
	}{
		{[3]float64{50, 2.6772, -79.7751}, [3]float64{50, 0, -82.7485}, 2.0425},
		{[3]float64{50, 2.5, 0}, [3]float64{73, 25, -18}, 27.1492},
	} {
		if got := deltaE(c.p, c.q); math.Abs(got-c.want) > 1e-4 {
			t.Errorf("%v to %v: %.4f, want %.4f", c.p, c.q, got, c.want)
		}
	}
}

// The colours of real profiles, converted here and by Little CMS (its program
// transicc, media-relative colorimetric), differ by no more than mean Delta E
// 2000 0.5 and 2 at worst. The profiles are those of Debian's icc-profiles-free
// and colord-data; P3's is written by Bytes.
func TestAgainstLittleCMS(t *testing.T) {
	if _, err := exec.LookPath("transicc"); err != nil {
		t.Skip(err)
	}
	names, _ := filepath.Glob("/usr/share/color/icc/*.icc")
	more, _ := filepath.Glob("/usr/share/color/icc/colord/*.icc")
	names = append(names, more...)
	p3 := filepath.Join(t.TempDir(), "p3.icc")
	if err := os.WriteFile(p3, DisplayP3.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	tested := 0
	for _, name := range append(names, p3) {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		p, err := Parse(b)
		if errors.Is(err, ErrNotMatrix) {
			t.Logf("%s: %v", filepath.Base(name), err)
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		tested++
		rng := rand.New(rand.NewPCG(1, 2))
		var in [][3]float64
		var ask strings.Builder
		for range 500 {
			v := [3]float64{math.Floor(256 * rng.Float64()), math.Floor(256 * rng.Float64()), math.Floor(256 * rng.Float64())}
			in = append(in, v)
			fmt.Fprintf(&ask, "%g\n%g\n%g\n", v[0], v[1], v[2])
		}
		cmd := exec.Command("transicc", "-w", "-n", "-i", name, "-o", "*sRGB", "-t", "1")
		cmd.Stdin = strings.NewReader(ask.String())
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("transicc %s: %v", name, err)
		}
		lines := strings.Fields(string(out))
		if len(lines) < 3*len(in) {
			t.Fatalf("%s: transicc gave %d numbers", name, len(lines))
		}
		sum, worst := 0.0, 0.0
		for i, v := range in {
			var want [3]float64
			for j := range want {
				fmt.Sscan(lines[3*i+j], &want[j])
				want[j] = min(max(want[j], 0), 255)
			}
			e := deltaE(lab(p.convert(v)), lab(want))
			sum, worst = sum+e, max(worst, e)
		}
		mean := sum / float64(len(in))
		t.Logf("%-40s %-28q mean %.3f, worst %.3f, sRGB %v", filepath.Base(name), p.Name, mean, worst, p.IsSRGB())
		if mean > 0.5 || worst > 2 {
			t.Errorf("%s: Delta E 2000 mean %.3f, worst %.3f", name, mean, worst)
		}
	}
	if tested < 2 {
		t.Skip("no profiles here: Debian's icc-profiles-free and colord-data have some")
	}
}

// The matrix between BT.709 and BT.2020 is that of ITU-R BT.2087-0, annex 2, to its
// four places; LibRaw's ProPhoto holds all of BT.2020 but a sliver of blue.
func TestWideMatrices(t *testing.T) {
	want := [9]float64{0.6274, 0.3293, 0.0433, 0.0691, 0.9195, 0.0114, 0.0164, 0.0880, 0.8956}
	for i, v := range SRGB.To(&BT2020) {
		if math.Abs(v-want[i]) > 6e-5 {
			t.Errorf("[%d] is %.5f, want %.4f", i, v, want[i])
		}
	}
	for i, v := range BT2020.To(&ProPhoto) {
		if v < -0.01 {
			t.Errorf("[%d] from BT.2020 to ProPhoto is %.4f", i, v)
		}
	}
	for _, p := range []Profile{SRGB, DisplayP3, BT2020, ProPhoto} { // equal codes are the white of D65
		m := p.To(&BT2020)
		for r := range 3 {
			if sum := m[3*r] + m[3*r+1] + m[3*r+2]; math.Abs(sum-1) > 3e-4 {
				t.Errorf("%s: row %d of the matrix to BT.2020 adds up to %.5f", p.Name, r, sum)
			}
		}
	}
}

// Linear matrices worked from the primaries of Adobe RGB (1998) and of P3 on D65
// (SMPTE RP 431-2), adapted to D50 and back.
func TestMatrices(t *testing.T) {
	for _, c := range []struct {
		p    Profile
		want [9]float64
	}{
		{AdobeRGB, [9]float64{1.398356, -0.398356, 0, 0, 1, 0, 0, -0.042929, 1.042929}},
		{DisplayP3, [9]float64{1.224940, -0.224940, 0, -0.042057, 1.042057, 0, -0.019638, -0.078636, 1.098274}},
	} {
		for i, v := range c.p.To(&SRGB) {
			if math.Abs(v-c.want[i]) > 1e-3 {
				t.Errorf("%s [%d] %.5f, want %.5f", c.p.Name, i, v, c.want[i])
			}
		}
		if c.p.IsSRGB() {
			t.Errorf("%s is taken for sRGB", c.p.Name)
		}
	}
	if !SRGB.IsSRGB() {
		t.Error("sRGB is not taken for itself")
	}
}

func TestParse(t *testing.T) {
	b := DisplayP3.Bytes()
	p, err := Parse(b)
	if err != nil || p.Name != "Display P3" {
		t.Fatalf("%+v, %v", p, err)
	}
	cmyk := bytes.Clone(b)
	copy(cmyk[16:], "CMYK")
	if _, err := Parse(cmyk); !errors.Is(err, ErrNotMatrix) || !strings.Contains(err.Error(), "CMYK") {
		t.Errorf("CMYK: %v", err)
	}
	for n := range b {
		if _, err := Parse(b[:n]); err == nil && n < len(b)-8 {
			t.Errorf("the first %d bytes were read as a profile", n)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add(DisplayP3.Bytes())
	f.Add(AdobeRGB.Bytes())
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := Parse(b)
		if err != nil {
			return
		}
		for i := range p.Curves {
			for _, x := range []float64{-1, 0, 0.3, 1, 2} {
				if y := p.Curves[i].At(x); !(y >= 0 && y <= 1) {
					t.Errorf("curve %d at %g is %g", i, x, y)
				}
			}
		}
		p.IsSRGB()
	})
}
