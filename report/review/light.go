package review

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"

	"stillspan/assemble/shoot"
	"stillspan/deflicker"
	"stillspan/ingest/format"
	"stillspan/ingest/plan"
	"stillspan/internal/orientation"
	"stillspan/internal/settings"
)

// series is written with four decimals; what is no number is null.
type series []float64

// MarshalJSON writes an array.
func (s series) MarshalJSON() ([]byte, error) {
	b := append(make([]byte, 0, 8*len(s)+2), '[')
	for i, v := range s {
		if i > 0 {
			b = append(b, ',')
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			b = append(b, "null"...)
		} else {
			b = strconv.AppendFloat(b, math.Round(v*1e4)/1e4, 'f', -1, 64)
		}
	}
	return append(b, ']'), nil
}

// look is a shoot as its settings have it now.
type look struct {
	Version  string            `json:"version"`
	Settings map[string]string `json:"settings"` // as they would be typed
	Clip     clip              `json:"clip"`
	Light    *light            `json:"light"` // nil until the shoot is measured
	// Measuring counts the frames that are measured while Light is nil.
	Measuring int    `json:"measuring"`
	Failed    string `json:"failed,omitempty"`
}

// clip is what the settings give.
type clip struct {
	Frames   int     `json:"frames"`
	MadeUp   int     `json:"made_up"`
	Held     int     `json:"held"`
	Seconds  float64 `json:"seconds"`
	PlannedS float64 `json:"planned_s"` // 0 without a planned number of frames
	Rate     string  `json:"rate"`      // as people say it
	FPS      float64 `json:"fps"`
	Width    int     `json:"width"`
	Height   int     `json:"height"`
	// Shows is the part of the picture in it: x, y, width, height, fractions.
	Shows [4]float64 `json:"shows"`
	Name  string     `json:"name"`
	There bool       `json:"there"` // a file of that name lies in the folder
	// Problem is what keeps such a clip from being made.
	Problem string `json:"problem,omitempty"`
}

// light is the curve before and after, EV, a value a frame.
type light struct {
	// Exact is set where the finished measurement stands for it; else it is
	// forecast from coarse cells.
	Exact  bool   `json:"exact"`
	Before series `json:"before"`
	After  series `json:"after"`
	Keep   series `json:"keep"` // the light that is kept
	// Add is what is added to the exposures of red, green and blue.
	Add          [3]series `json:"add"`
	Figures      []figure  `json:"figures"`
	SmoothFrames int       `json:"smooth_frames"`
	Trust        string    `json:"trust"` // how far it is to be trusted
	On           bool      `json:"on"`    // corrections are made
}

// figure is a fault of the light, EV rms.
type figure struct {
	Name   string  `json:"name"`
	Before float64 `json:"before"`
	After  float64 `json:"after"`
}

// look is shoot i as it stands; where it is not measured yet, that begins.
func (s *Server) look(i int) look {
	s.mu.Lock()
	sh, v := *s.found.Shoots[i], s.views[i]
	l := look{Version: s.version}
	name := shoot.ClipNames(s.found.Shoots)[i]
	s.mu.Unlock()
	l.Settings = typed(sh.Settings)
	l.Clip = s.clipOf(&sh, name)
	if v.draft == nil {
		l.Measuring, l.Failed = v.done, v.failed
		s.measure(i)
		return l
	}
	defer s.pics.pause()()
	got, err := lightOf(&sh, &v)
	if err != nil {
		l.Failed = err.Error()
	} else {
		l.Light = got
	}
	return l
}

// typed are the settings that are chosen here, as they would be typed; empty
// for one that nobody states and that has no value by itself.
func typed(v settings.Values) map[string]string {
	out := map[string]string{}
	for _, r := range choices() {
		if x, ok := v[r.Name]; ok {
			out[r.Name] = fmt.Sprint(x)
		} else if out[r.Name] = r.Default; r.Switch() && r.Default == "" {
			out[r.Name] = "false"
		}
	}
	return out
}

// clipOf forecasts the clip.
func (s *Server) clipOf(sh *shoot.Shoot, name string) clip {
	c := clip{Rate: plan.RateLabel(sh.Rate), FPS: sh.Rate.FPS(), Name: name}
	job := sh.Job(name)
	for _, f := range job.Shown() {
		c.Frames++
		if f.MadeUp {
			c.MadeUp++
		}
		if f.Held && !f.Slate {
			c.Held++
		}
	}
	c.Seconds = float64(c.Frames) / c.FPS
	if sh.Planned != nil {
		c.PlannedS = float64(sh.Planned.Frames) / c.FPS
	}
	w, h := uprightSize(sh)
	part, cw, ch, err := job.Shows(w, h)
	c.Shows, c.Width, c.Height = [4]float64{part.X, part.Y, part.W, part.H}, cw, ch
	switch {
	case len(job.Sources) == 0:
		c.Problem = "no frame is left: first, last and the frames to leave out take all of them away"
	case err != nil:
		c.Problem = explained(err)
	}
	_, gone := os.Lstat(filepath.Join(s.opt.Out, name))
	c.There = gone == nil
	return c
}

// uprightSize is that of the stills, pixels.
func uprightSize(sh *shoot.Shoot) (w, h int) {
	for k := range sh.Sequence.Frames {
		if sh.InClip(k) {
			w, h, exif := format.Decoded(&sh.Sequence.Frames[k].Facts)
			return orientation.Of(exif).Size(w, h)
		}
	}
	return 0, 0
}

// measure begins to measure a shoot, unless that is under way.
func (s *Server) measure(i int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	v := &s.views[i]
	if v.busy || v.failed != "" || s.ctx.Err() != nil {
		return
	}
	v.busy, v.done = true, 0
	sh := *s.found.Shoots[i]
	s.tasks.Go(func() {
		s.measuring.Lock() // one at a time
		defer s.measuring.Unlock()
		draft, err := sh.MeasureDraft(s.ctx, func(done, _ int) {
			s.mu.Lock()
			s.views[i].done = done
			s.mu.Unlock()
		})
		s.mu.Lock()
		defer s.mu.Unlock()
		v := &s.views[i]
		if v.busy = false; err != nil {
			v.failed = explained(err)
			return
		}
		v.draft, v.measured, v.with = draft, sh.Measured, meterKey(sh.Settings)
	})
}

// meterKey tells whether a measurement stands for other settings, too.
func meterKey(v settings.Values) string {
	return fmt.Sprint(settings.Zone.Of(v), settings.Deflicker.Of(v), settings.Local.Of(v), settings.KeepBands.Of(v), settings.ToneCurve.Of(v), shoot.ClipOptions(v).Develops())
}

// lightOf solves a measured shoot under its settings.
func lightOf(sh *shoot.Shoot, v *view) (*light, error) {
	l := &light{Exact: v.with == meterKey(sh.Settings), On: settings.Deflicker.Of(sh.Settings)}
	var c deflicker.Curve
	var r deflicker.Result
	var err error
	if l.Exact {
		sh.Measured = v.measured
		if err := sh.Solve(); err != nil {
			return nil, err
		}
		c, r = v.measured.Curve, sh.Solved.Result
	} else if c, r, err = v.draft.Forecast(sh.Settings); err != nil {
		return nil, err
	}
	l.Before, l.Keep, l.SmoothFrames, l.Trust = c.ExposureEV, r.TrendEV, r.SmoothFrames, r.Confidence
	if r.Why != "" {
		l.Trust += ": " + r.Why
	}
	l.Figures = []figure{
		{"flicker", r.FlickerBefore, r.FlickerAfter}, {"slow pumping", r.PumpingBefore, r.PumpingAfter}, {"colour", r.ColourBefore, r.ColourAfter},
	}
	for k := range r.CorrectionEV {
		var red, blue float64
		if r.RedEV != nil {
			red = r.RedEV[k]
		}
		if r.BlueEV != nil {
			blue = r.BlueEV[k]
		}
		l.After = append(l.After, c.ExposureEV[k]+r.CorrectionEV[k])
		for j, ev := range deflicker.Channels(r.CorrectionEV[k], red, blue) {
			l.Add[j] = append(l.Add[j], ev)
		}
	}
	return l, nil
}
