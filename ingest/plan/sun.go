package plan

import (
	"math"
	"slices"
	"time"
)

// Place is on the Earth, degrees: north and east are above 0.
type Place struct{ Lat, Lon float64 }

// SunEvent is a moment at which the sun passes a height.
type SunEvent struct {
	Name string
	At   time.Time
}

// heights are where the sun's middle stands when a name begins or ends, degrees:
// sunrise and sunset by the upper limb with mean refraction, the twilights as the
// nautical almanacs define them.
var heights = []struct {
	deg        float64
	rise, fall string
}{
	{-0.833, "sunrise", "sunset"},
	{-6, "civil twilight begins", "civil twilight ends"},
	{-12, "nautical twilight begins", "nautical twilight ends"},
	{-18, "astronomical twilight begins", "astronomical twilight ends"},
}

// SunEvents lists the sun's events from one moment to another, in order, to the
// second. Within the polar circles there may be none. By NOAA's solar
// calculations, after Meeus, "Astronomical Algorithms": a minute is kept up to
// 72 degrees of latitude, ten beyond.
func SunEvents(from, to time.Time, p Place) []SunEvent {
	const step = 2 * time.Minute
	var out []SunEvent
	for _, h := range heights {
		for t := from; t.Before(to); t = t.Add(step) {
			a, b := SunHeight(t, p)-h.deg, SunHeight(t.Add(step), p)-h.deg
			if a < 0 == (b < 0) {
				continue
			}
			lo, hi := t, t.Add(step)
			for hi.Sub(lo) > time.Second/2 {
				mid := lo.Add(hi.Sub(lo) / 2)
				if SunHeight(mid, p)-h.deg < 0 == (a < 0) {
					lo = mid
				} else {
					hi = mid
				}
			}
			name := h.rise
			if a >= 0 {
				name = h.fall
			}
			if at := hi.Round(time.Second); at.Before(to) {
				out = append(out, SunEvent{name, at})
			}
		}
	}
	slices.SortFunc(out, func(a, b SunEvent) int { return a.At.Compare(b.At) })
	return out
}

// SunHeight is how high the sun's middle stands above the horizon, degrees,
// without refraction.
func SunHeight(t time.Time, p Place) float64 {
	const deg = math.Pi / 180
	sin := func(v float64) float64 { return math.Sin(v * deg) }
	cos := func(v float64) float64 { return math.Cos(v * deg) }
	days := float64(t.Unix())/86400 + 2440587.5 - 2451545 // since J2000
	c := days / 36525
	long := math.Mod(280.46646+c*(36000.76983+c*0.0003032), 360)
	anomaly := 357.52911 + c*(35999.05029-0.0001537*c)
	centre := sin(anomaly)*(1.914602-c*(0.004817+0.000014*c)) + sin(2*anomaly)*(0.019993-0.000101*c) + sin(3*anomaly)*0.000289
	node := 125.04 - 1934.136*c
	apparent := long + centre - 0.00569 - 0.00478*sin(node)
	obliquity := 23 + (26+(21.448-c*(46.815+c*(0.00059-c*0.001813)))/60)/60 + 0.00256*cos(node)
	declination := math.Asin(sin(obliquity)*sin(apparent)) / deg
	ecc := 0.016708634 - c*(0.000042037+0.0000001267*c)
	y := math.Pow(math.Tan(obliquity/2*deg), 2)
	// The equation of time, minutes.
	eot := 4 / deg * (y*sin(2*long) - 2*ecc*sin(anomaly) + 4*ecc*y*sin(anomaly)*cos(2*long) - y*y/2*sin(4*long) - 1.25*ecc*ecc*sin(2*anomaly))
	u := t.UTC()
	minutes := float64(u.Hour()*60+u.Minute()) + float64(u.Second())/60 + eot + 4*p.Lon
	hour := minutes/4 - 180
	return math.Asin(sin(p.Lat)*sin(declination)+cos(p.Lat)*cos(declination)*cos(hour)) / deg
}

// lux is the light of a clear sky without a moon on level ground, by the sun's
// height: at sunset and below by the Glossary of Meteorology (AMS, "civil
// twilight", "astronomical twilight"; the middle of its ranges), above from
// memory.
var lux = []struct{ deg, lux float64 }{
	{-18, 6e-4}, {-12, 8e-3}, {-6, 2.7}, {-0.833, 490}, {5, 4500}, {10, 12_000}, {30, 53_000}, {60, 100_000},
}

// skyEV is log2 of lux, beyond the table its end.
func skyEV(height float64) float64 {
	last := len(lux) - 1
	height = min(max(height, lux[0].deg), lux[last].deg)
	i := 1
	for height > lux[i].deg {
		i++
	}
	a, b := lux[i-1], lux[i]
	share := (height - a.deg) / (b.deg - a.deg)
	return math.Log2(a.lux)*(1-share) + math.Log2(b.lux)*share
}

// LightChange says by how many stops the light of a clear sky changes from one
// moment to another, above 0 for brighter, and how far apart its brightest and
// its darkest between them are.
func LightChange(from, to time.Time, p Place) (netEV, rangeEV float64) {
	const steps = 200
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range steps + 1 {
		v := skyEV(SunHeight(from.Add(time.Duration(float64(to.Sub(from))*float64(i)/steps)), p))
		lo, hi = min(lo, v), max(hi, v)
	}
	return skyEV(SunHeight(to, p)) - skyEV(SunHeight(from, p)), hi - lo
}
