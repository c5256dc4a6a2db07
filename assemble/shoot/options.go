package shoot

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"stillspan/assemble"
	"stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/ingest"
	"stillspan/ingest/plan"
	"stillspan/internal/playback"
)

// Options say how shoots are found, measured, solved and rendered. Start from
// DefaultOptions.
type Options struct {
	Root     string        // folder of stills
	PlanFile string        // empty for none
	Rate     playback.Rate // zero: the plan's, else 24
	// KeepFlicker measures, but corrects nothing.
	KeepFlicker bool
	// Develops measures raw files as they are developed, since that is what
	// the clip is made of.
	Develops bool
	// NoLocal never corrects parts of the picture differently.
	NoLocal bool
	Zone    deflicker.Zone
	Ingest  ingest.Options
	Measure measure.Options
	Solve   deflicker.Options
	Clip    assemble.Options
}

// DefaultOptions are the defaults of every stage.
func DefaultOptions() Options {
	return Options{Ingest: ingest.DefaultOptions(), Solve: deflicker.DefaultOptions(), Clip: assemble.DefaultOptions()}
}

// resolve settles what holds for the shoot.
func (s *Shoot) resolve(o Options, f *plan.File) error {
	s.Options = o
	s.Rate = o.Rate
	if s.Rate.Num == 0 && s.Planned != nil {
		s.Rate = s.Planned.Rate
	}
	if s.Rate.Num == 0 && f != nil {
		s.Rate = f.Rate
	}
	if s.Rate.Num == 0 {
		s.Rate = playback.Rate{Num: 24, Den: 1}
	}
	if s.Planned == nil {
		return nil
	}
	r := s.Planned.Render.Over(f.Defaults)
	if r.Zone != "" && o.Zone == (deflicker.Zone{}) {
		z, err := ParseZone(r.Zone)
		if err != nil {
			return fmt.Errorf("plan %q, shoot %q: zone: %w", f.Path, s.Planned.Name, err)
		}
		s.Options.Zone = z
	}
	if r.Smooth != 0 && o.Solve.SmoothFrames == deflicker.DefaultOptions().SmoothFrames {
		s.Options.Solve.SmoothFrames = r.Smooth
		if err := s.Options.Solve.Validate(); err != nil {
			return fmt.Errorf("plan %q, shoot %q: %w", f.Path, s.Planned.Name, err)
		}
	}
	if r.Deflicker != nil && !*r.Deflicker {
		s.Options.KeepFlicker = true
	}
	s.Options.Clip = clipOver(o.Clip, r)
	return nil
}

// clipOver lays what the plan says over options that are at their default.
func clipOver(o assemble.Options, r plan.Render) assemble.Options {
	def := assemble.DefaultOptions()
	if r.Aspect != "" && o.Aspect == def.Aspect {
		o.Aspect = r.Aspect
	}
	if r.Codec != "" && o.Codec == def.Codec {
		o.Codec = r.Codec
	}
	if r.Gaps != "" && o.GapMode == def.GapMode {
		o.GapMode = assemble.GapMode(r.Gaps)
	}
	if w, h, err := ParseSize(r.Size); err == nil && o.Width == 0 {
		o.Width, o.Height = w, h
	}
	return o
}

// ParseZone reads "x,y,w,h" as fractions of the upright picture.
func ParseZone(s string) (deflicker.Zone, error) {
	parts := strings.Split(s, ",")
	bad := errors.New("want x,y,width,height as fractions of the picture, such as 0.1,0.5,0.8,0.4")
	if len(parts) != 4 {
		return deflicker.Zone{}, bad
	}
	var n [4]float64
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil {
			return deflicker.Zone{}, bad
		}
		n[i] = v
	}
	zone := deflicker.Zone{X: n[0], Y: n[1], W: n[2], H: n[3]}
	if zone == (deflicker.Zone{}) {
		return zone, bad
	}
	return zone, zone.Validate()
}

// ParseSize reads "1920x1080".
func ParseSize(s string) (w, h int, err error) {
	a, b, ok := strings.Cut(strings.ToLower(s), "x")
	if ok {
		var e1, e2 error
		w, e1 = strconv.Atoi(a)
		h, e2 = strconv.Atoi(b)
		if errors.Join(e1, e2) == nil && w > 0 && h > 0 {
			return w, h, nil
		}
	}
	return 0, 0, fmt.Errorf("%q is no size: write 1920x1080", s)
}
