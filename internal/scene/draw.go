package scene

import (
	"math"
	"sync"
)

var buffers sync.Pool // *[]float32

func buffer(n int) *[]float32 {
	if b, ok := buffers.Get().(*[]float32); ok && cap(*b) >= n {
		*b = (*b)[:n]
		return b
	}
	b := make([]float32, n)
	return &b
}

// draw paints frame t in linear light; the caller puts the buffer back.
func (s *Scene) draw(t int) *[]float32 {
	b := buffer(3 * s.o.Width * s.o.Height)
	lin := *b
	scale := float32(math.Exp2(s.truth[t].LightEV))
	if s.o.Walls {
		for i := range lin {
			lin[i] = s.land.rgb[i] * scale
		}
	} else {
		m := s.mood(t)
		s.drawSky(lin, t, m)
		s.drawLand(lin, t, m)
		s.drawWater(lin, t)
		for i := range lin {
			lin[i] *= scale
		}
		s.drawLights(lin, t, m)
		s.drawBolts(lin, t)
	}
	if s.o.Crowd {
		s.crowd(lin, t)
	}
	if s.o.LampsOn {
		s.lampsOn(lin, t)
	}
	if s.o.Fog {
		s.fog(lin, t)
	}
	return b
}

// mood is what the time of day does to the colours.
type mood struct {
	zenith, middle, horizon [3]float64
	cloudLit, cloudDark     [3]float64
	sun                     [3]float64 // colour of the glow
	sunX, sunY, sunSize     float64    // fractions of the picture's height
	land                    [3]float64 // light falling on the land
	night                   float64    // 0 day to 1 night
}

var (
	day = mood{
		zenith: [3]float64{0.085, 0.19, 0.45}, middle: [3]float64{0.22, 0.36, 0.60}, horizon: [3]float64{0.56, 0.63, 0.68},
		cloudLit: [3]float64{0.72, 0.72, 0.72}, cloudDark: [3]float64{0.34, 0.37, 0.43},
		sun: [3]float64{0.30, 0.27, 0.2}, land: [3]float64{1.05, 1, 0.92},
	}
	dusk = mood{
		zenith: [3]float64{0.09, 0.14, 0.32}, middle: [3]float64{0.40, 0.30, 0.36}, horizon: [3]float64{0.85, 0.48, 0.22},
		cloudLit: [3]float64{0.85, 0.45, 0.28}, cloudDark: [3]float64{0.20, 0.16, 0.22},
		sun: [3]float64{0.55, 0.30, 0.08}, land: [3]float64{0.72, 0.52, 0.42},
	}
	night = mood{
		zenith: [3]float64{0.05, 0.075, 0.17}, middle: [3]float64{0.08, 0.11, 0.22}, horizon: [3]float64{0.16, 0.19, 0.30},
		cloudLit: [3]float64{0.20, 0.22, 0.30}, cloudDark: [3]float64{0.08, 0.09, 0.14},
		land: [3]float64{0.42, 0.50, 0.68}, night: 1,
	}
)

func (s *Scene) mood(t int) mood {
	ev := s.truth[t].LightEV
	a, b, k := day, dusk, smoothstep(-0.3, -3.2, ev)
	if ev < -3.2 {
		a, b, k = dusk, night, smoothstep(-3.2, -7.5, ev)
	}
	mix3 := func(p, q [3]float64) (r [3]float64) {
		for i := range r {
			r[i] = mix(p[i], q[i], k)
		}
		return r
	}
	m := mood{
		zenith: mix3(a.zenith, b.zenith), middle: mix3(a.middle, b.middle), horizon: mix3(a.horizon, b.horizon),
		cloudLit: mix3(a.cloudLit, b.cloudLit), cloudDark: mix3(a.cloudDark, b.cloudDark),
		sun: mix3(a.sun, b.sun), land: mix3(a.land, b.land), night: mix(a.night, b.night, k),
	}
	x := float64(t) / float64(max(s.o.Frames-1, 1))
	low := smoothstep(0, -4, ev)
	m.sunX = float64(s.o.Width) / float64(s.o.Height) * (0.62 + 0.08*x)
	m.sunY = mix(0.10, 0.50, low)
	m.sunSize = mix(0.22, 0.30, low)
	if s.o.ClipHighlights {
		for i := range 3 {
			m.horizon[i] *= 1.9
			m.sun[i] *= 5
			m.cloudLit[i] *= 1.8
		}
	}
	return m
}

// tones is the look of a cloud by its thickness.
type tones struct {
	alpha [256]float32
	rgb   [256][3]float32
}

func (s *Scene) cloudTones(m mood) *tones {
	var c tones
	if s.o.Clouds == 0 {
		return &c
	}
	edge := mix(0.72, 0.30, s.o.Clouds)
	for i := range c.alpha {
		d := float64(i) / 255
		c.alpha[i] = float32(0.94 * smoothstep(edge, edge+0.22, d))
		thick := smoothstep(edge+0.08, edge+0.42, d)
		for j := range 3 {
			c.rgb[i][j] = float32(mix(m.cloudLit[j], m.cloudDark[j], thick))
		}
	}
	return &c
}

// cloudAt places the sky's row y in the cloud texture: start, step and row.
// Rows nearer the horizon are farther away, so their clouds are smaller and
// slower.
func (s *Scene) cloudAt(t, y int) (u, du, v float64) {
	w, h := float64(s.o.Width), float64(s.o.Height)
	far := 1 / (0.16 + 0.84*math.Max(1-float64(y)/(shoreFar*h), 0))
	drift := s.o.CloudPixelsPerFrame * 0.34 * float64(t)
	du = far * 340 / w
	u = s.cloudX + drift + (s.panX(t)*0.3-w/2)*du
	return u, du, 210 + 62*far + 0.04*drift
}

func (s *Scene) drawSky(lin []float32, t int, m mood) {
	w, h := s.o.Width, s.o.Height
	c := s.cloudTones(m)
	thick := make([]float32, w)
	pan := int(s.panX(t))
	inv := float32(1 / float64(h))
	for y := range int(shoreFar*float64(h)) + 1 {
		f := float64(y) / (shoreFar * float64(h))
		var sky [3]float32
		for j := range 3 {
			if f < 0.55 {
				sky[j] = float32(mix(m.zenith[j], m.middle[j], smoothstep(0, 0.6, f)*1.02))
			} else {
				sky[j] = float32(mix(mix(m.zenith[j], m.middle[j], smoothstep(0, 0.6, f)*1.02), m.horizon[j], smoothstep(0.55, 1.02, f)))
			}
		}
		if s.o.Clouds > 0 {
			u, du, v := s.cloudAt(t, y)
			s.cloud.row(thick, u, du, v)
		}
		dy := float32(y)*inv - float32(m.sunY)
		glowR := float32(m.sunSize * m.sunSize)
		kinds := s.land.kind[y*s.land.w+pan:][:w]
		row := lin[3*y*w:][:3*w]
		sun := [3]float32{float32(m.sun[0]), float32(m.sun[1]), float32(m.sun[2])}
		for x := range w {
			if kinds[x] != kindSky && (x == w-1 || kinds[x+1] != kindSky) {
				continue
			}
			dx := float32(x)*inv - float32(m.sunX)
			g := 1 / (1 + 3*(dx*dx+dy*dy)/glowR)
			g *= g
			r0, r1, r2 := sky[0]+g*sun[0], sky[1]+g*sun[1], sky[2]+g*sun[2]
			if s.o.Clouds > 0 {
				i := uint8(thick[x] * 255)
				if a := c.alpha[i]; a > 0 {
					cl := &c.rgb[i]
					r0 += a * (cl[0] + 0.6*g*sun[0] - r0)
					r1 += a * (cl[1] + 0.6*g*sun[1] - r1)
					r2 += a * (cl[2] + 0.6*g*sun[2] - r2)
				}
			}
			row[3*x], row[3*x+1], row[3*x+2] = r0, r1, r2
		}
	}
}

func (s *Scene) drawLand(lin []float32, t int, m mood) {
	w, h := s.o.Width, s.o.Height
	px := s.panX(t)
	pan := int(px)
	frac := float32(px - math.Floor(px))
	shade := make([]float32, w)
	for x := range shade {
		shade[x] = 1
	}
	var dark [256]float32
	edge := mix(0.72, 0.30, s.o.Clouds)
	for i := range dark {
		dark[i] = float32(1 - 0.3*(1-m.night)*smoothstep(edge, edge+0.35, float64(i)/255))
	}
	lr, lg, lb := float32(m.land[0]), float32(m.land[1]), float32(m.land[2])
	for y := int(0.2 * float64(h)); y < h; y++ {
		if s.o.Clouds > 0 && y%4 == 0 {
			// Shadows of the clouds drift over the land.
			far := 1 / (0.3 + math.Abs(float64(y)/float64(h)-0.5))
			du := 150 * far / float64(w)
			s.cloud.row(shade, s.cloudX+300+s.o.CloudPixelsPerFrame*0.34*float64(t)+px*du, du, 90*far)
			for x := range shade {
				shade[x] = dark[uint8(shade[x]*255)]
			}
		}
		src := s.land.rgb[3*(y*s.land.w+pan):][:3*w+3]
		kinds := s.land.kind[y*s.land.w+pan:][:w+1]
		row := lin[3*y*w:][:3*w]
		for x := range w {
			if kinds[x] == kindSky && (frac == 0 || kinds[x+1] == kindSky) {
				continue
			}
			p := src[3*x : 3*x+6]
			k := shade[x]
			r, g, b := p[0]*k*lr, p[1]*k*lg, p[2]*k*lb
			if frac > 0 {
				r2, g2, b2 := p[3]*k*lr, p[4]*k*lg, p[5]*k*lb
				if kinds[x] == kindSky {
					r, g, b = row[3*x], row[3*x+1], row[3*x+2]
				}
				if kinds[x+1] == kindSky {
					r2, g2, b2 = row[3*x], row[3*x+1], row[3*x+2]
				}
				r, g, b = r+(r2-r)*frac, g+(g2-g)*frac, b+(b2-b)*frac
			}
			row[3*x], row[3*x+1], row[3*x+2] = r, g, b
		}
	}
}

// drawWater mirrors what lies above the far shore, broken by ripples.
func (s *Scene) drawWater(lin []float32, t int) {
	w, h := s.o.Width, s.o.Height
	pan := int(s.panX(t))
	shore := int(shoreFar * float64(h))
	rip := make([]float32, w)
	for y := shore; y < int((shoreNear+0.09)*float64(h)); y++ {
		kinds := s.land.kind[y*s.land.w+pan:][:w]
		depth := float64(y-shore) / float64(h)
		k := 256 / float64(w) / (0.15 + 3*depth)
		s.ripple.row(rip, 1.7*float64(t)+float64(pan)*k, k, 6*float64(y)*k+0.9*float64(t))
		swing := float32((0.4 + 60*depth) * float64(h) / 640)
		bright := float32(0.62 - 0.9*depth)
		row := lin[3*y*w:][:3*w]
		for x := range w {
			if kinds[x] != kindWater {
				continue
			}
			d := rip[x] - 0.5
			my := min(max(2*shore-y-1+int(d*swing*2), 0), shore-1)
			mx := min(max(x+int(d*swing), 0), w-1)
			src := lin[3*(my*w+mx):][:3]
			g := bright * (1 + 0.5*d)
			row[3*x], row[3*x+1], row[3*x+2] = 0.01+src[0]*g, 0.015+src[1]*g, 0.02+src[2]*g
		}
	}
}

// drawLights adds what shines by itself: windows at dusk and headlights.
func (s *Scene) drawLights(lin []float32, t int, m mood) {
	h := float64(s.o.Height)
	if ev := s.truth[t].LightEV; ev < -2 {
		k := smoothstep(-2, -5, ev) * math.Exp2(-5.2)
		pan := int(s.panX(t))
		for _, l := range s.land.lamps {
			s.glow(lin, float64(l.x-pan), float64(l.y), 0.005*h, 1, k*l.power, [3]float64{1, 0.72, 0.38})
		}
	}
	for _, c := range s.cars {
		if t < c.first || t > c.last {
			continue
		}
		x := c.x + c.dx*float64(t-c.first)
		p := c.power * math.Exp2(s.truth[t].LightEV)
		y := roadAt * h
		s.glow(lin, x, y, 0.010*h, 1, 4*p, [3]float64{1, 0.95, 0.85})
		s.glow(lin, x+math.Copysign(0.12*h, c.dx), y, 0.022*h, 2.8, 0.8*p, [3]float64{1, 0.93, 0.8})
	}
}

// glow adds a soft spot of the given radius in pixels, wide times as wide as
// high, ending at three radii.
func (s *Scene) glow(lin []float32, cx, cy, radius, wide, power float64, rgb [3]float64) {
	w, h := s.o.Width, s.o.Height
	rx, ry := int(math.Ceil(3*radius*wide)), int(math.Ceil(3*radius))
	for y := max(int(cy)-ry, 0); y <= min(int(cy)+ry, h-1); y++ {
		for x := max(int(cx)-rx, 0); x <= min(int(cx)+rx, w-1); x++ {
			dx, dy := (float64(x)-cx)/(radius*wide), (float64(y)-cy)/radius
			q := 1 - (dx*dx+dy*dy)/9
			if q <= 0 {
				continue
			}
			q = power * q * q * q * q
			i := 3 * (y*w + x)
			for j := range 3 {
				lin[i+j] += float32(q * rgb[j])
			}
		}
	}
}

// drawBolts lights sky and land for the frame of a flash, more near the bolt.
func (s *Scene) drawBolts(lin []float32, t int) {
	w, h := s.o.Width, s.o.Height
	pan := int(s.panX(t))
	for _, b := range s.bolts {
		if b.frame != t {
			continue
		}
		base := float32(b.gain * math.Exp2(s.truth[t].LightEV))
		cx := float32(b.x * float64(w))
		for y := range h {
			kinds := s.land.kind[y*s.land.w+pan:][:w]
			fy := float32(y) / float32(h)
			for x := range w {
				dx := (float32(x) - cx) / float32(w)
				g := base / (1 + 12*dx*dx + 3*fy*fy)
				i := 3 * (y*w + x)
				if kinds[x] == kindSky {
					lin[i] += 0.55 * g
					lin[i+1] += 0.58 * g
					lin[i+2] += 0.75 * g
					continue
				}
				// What falls on the land is thrown back by its own colour.
				lin[i] *= 1 + 1.2*g/base*float32(b.gain)
				lin[i+1] *= 1 + 1.25*g/base*float32(b.gain)
				lin[i+2] *= 1 + 1.4*g/base*float32(b.gain)
			}
		}
	}
}
