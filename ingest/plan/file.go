// Package plan holds what a shoot was meant to be: the plan file, the
// shooting arithmetic both ways, and which sequence of a dump answers to
// which planned shoot.
package plan

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"stillspan/internal/playback"
	"stillspan/internal/words"
)

// maxFileBytes bounds a plan file; a plan of a thousand shoots is smaller.
const maxFileBytes = 1 << 20

// maxFrames is the most frames one shoot can plan.
const maxFrames = 10_000_000

// File is a plan file: one entry per shoot and what holds for all of them.
type File struct {
	Path     string // where it was read from; empty for one made in memory
	Defaults Render
	Rate     playback.Rate // for shoots that state none; zero when not stated
	Shoots   []Shoot
}

// Shoot is one planned shoot. A zero field is one the plan does not state,
// except that Frames, IntervalS, ShootingS and ClipS are filled in when they
// follow from the others.
type Shoot struct {
	Name   string
	Folder string // slash-separated, relative to the dump's root, or a last part of it
	// From and To bound the moment of the first frame by the camera's wall
	// clock, held in time.UTC; zero for no bound.
	From, To  time.Time
	Frames    int
	IntervalS float64
	ShootingS float64 // frames x interval
	Rate      playback.Rate
	ClipS     float64
	ExposureS float64
	Render    Render // overrides, laid over File.Defaults
}

// Render is how a shoot is to be rendered; the caller validates the words, as
// it does those of the command line. A zero field is not stated.
type Render struct {
	Aspect, Size, Codec, Zone, Gaps string
	Smooth                          int   // frames
	Deflicker                       *bool // nil when not stated
}

// Over returns r laid over base: what r does not state comes from base.
func (r Render) Over(base Render) Render {
	pick := func(a, b string) string {
		if a != "" {
			return a
		}
		return b
	}
	out := Render{
		Aspect: pick(r.Aspect, base.Aspect), Size: pick(r.Size, base.Size), Codec: pick(r.Codec, base.Codec),
		Zone: pick(r.Zone, base.Zone), Gaps: pick(r.Gaps, base.Gaps),
		Smooth: r.Smooth, Deflicker: r.Deflicker,
	}
	if out.Smooth == 0 {
		out.Smooth = base.Smooth
	}
	if out.Deflicker == nil {
		out.Deflicker = base.Deflicker
	}
	return out
}

// The types below are the file's own shape. Rates, exposures and times may be
// numbers or text, so they arrive as any.
type (
	fileTOML struct {
		Defaults *renderTOML `toml:"defaults,omitempty"`
		Shoot    []shootTOML `toml:"shoot,omitempty"`
	}
	renderTOML struct {
		Rate      any    `toml:"rate,omitempty"`
		Aspect    string `toml:"aspect,omitempty"`
		Size      string `toml:"size,omitempty"`
		Codec     string `toml:"codec,omitempty"`
		Smooth    int    `toml:"smooth,omitempty"`
		Zone      string `toml:"zone,omitempty"`
		Gaps      string `toml:"gaps,omitempty"`
		Deflicker *bool  `toml:"deflicker,omitempty"`
	}
	shootTOML struct {
		Name         string              `toml:"name"`
		Folder       string              `toml:"folder,omitempty"`
		From         *toml.LocalDateTime `toml:"from,omitempty"`
		To           *toml.LocalDateTime `toml:"to,omitempty"`
		Frames       int                 `toml:"frames,omitempty"`
		Interval     any                 `toml:"interval_s,omitempty"`
		ShootingTime any                 `toml:"shooting_time,omitempty"`
		Clip         any                 `toml:"clip_s,omitempty"`
		Exposure     any                 `toml:"exposure,omitempty"`
		renderTOML
	}
)

// Load reads and checks a plan file. Every error is one line that names the
// file and, where there is one, the line and what to write instead.
func Load(path string) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read plan: %w", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxFileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("cannot read plan %q: %w", path, err)
	}
	if len(data) > maxFileBytes {
		return nil, fmt.Errorf("plan %q is larger than 1 MiB: is it a plan file?", path)
	}
	p, err := Parse(data)
	if err != nil {
		return nil, fmt.Errorf("plan %q: %w", path, err)
	}
	p.Path = path
	return p, nil
}

// Parse reads a plan from the bytes of its file.
func Parse(data []byte) (*File, error) {
	var raw fileTOML
	dec := toml.NewDecoder(strings.NewReader(string(data))).DisallowUnknownFields()
	if err := dec.Decode(&raw); err != nil {
		return nil, explain(err)
	}
	f := &File{}
	if d := raw.Defaults; d != nil {
		var err error
		if f.Rate, err = rateOf(d.Rate); err != nil {
			return nil, fmt.Errorf("defaults: %w", err)
		}
		if f.Defaults, err = d.render(); err != nil {
			return nil, fmt.Errorf("defaults: %w", err)
		}
	}
	seen := map[string]int{}
	for i, s := range raw.Shoot {
		shoot, err := s.shoot(f.Rate)
		if err != nil {
			return nil, fmt.Errorf("shoot %d%s: %w", i+1, named(s.Name), err)
		}
		key := fold(shoot.Name)
		if first, twice := seen[key]; twice {
			return nil, fmt.Errorf("shoots %d and %d are both named %q: give each its own name", first, i+1, shoot.Name)
		}
		seen[key] = i + 1
		f.Shoots = append(f.Shoots, shoot)
	}
	if len(f.Shoots) == 0 {
		return nil, errors.New("no shoot in it: begin each with a line [[shoot]]")
	}
	return f, nil
}

func named(name string) string {
	if name == "" {
		return ""
	}
	return fmt.Sprintf(" (%q)", name)
}

func (r renderTOML) render() (Render, error) {
	if r.Smooth < 0 {
		return Render{}, errors.New("smooth must be a number of frames above 0")
	}
	return Render{
		Aspect: r.Aspect, Size: r.Size, Codec: r.Codec, Zone: r.Zone, Gaps: r.Gaps,
		Smooth: r.Smooth, Deflicker: r.Deflicker,
	}, nil
}

// shoot checks one entry and fills in what follows from the rest.
func (s shootTOML) shoot(rate playback.Rate) (Shoot, error) {
	out := Shoot{Name: strings.TrimSpace(s.Name), Folder: cleanFolder(s.Folder), Frames: s.Frames, Rate: rate}
	if out.Name == "" {
		return out, errors.New(`no name: add a line such as name = "harbour dawn"`)
	}
	if s.Frames < 0 || s.Frames > maxFrames {
		return out, fmt.Errorf("frames must be 1 to %d", maxFrames)
	}
	if s.From != nil {
		out.From = s.From.AsTime(time.UTC)
	}
	if s.To != nil {
		out.To = s.To.AsTime(time.UTC)
	}
	if s.From != nil && s.To != nil && !out.To.After(out.From) {
		return out, errors.New("to is not after from: the window bounds the moment of the first frame")
	}
	if own, err := rateOf(s.Rate); err != nil {
		return out, err
	} else if own.Num != 0 {
		out.Rate = own
	}
	for _, f := range []struct {
		key string
		in  any
		out *float64
	}{
		{"interval_s", s.Interval, &out.IntervalS},
		{"shooting_time", s.ShootingTime, &out.ShootingS},
		{"clip_s", s.Clip, &out.ClipS},
		{"exposure", s.Exposure, &out.ExposureS},
	} {
		v, err := secondsOf(f.in)
		if err != nil {
			return out, fmt.Errorf("%s: %w", f.key, err)
		}
		*f.out = v
	}
	var err error
	if out.Render, err = s.render(); err != nil {
		return out, err
	}
	return out.filled()
}

// filled solves the shooting arithmetic where enough is stated.
func (s Shoot) filled() (Shoot, error) {
	known := 0
	for _, have := range []bool{s.Frames > 0 || s.ClipS > 0 && s.Rate.Num > 0, s.IntervalS > 0, s.ShootingS > 0} {
		if have {
			known++
		}
	}
	if known < 2 {
		// Frames alone, or an interval alone, still says something.
		if s.Frames == 0 && s.ClipS > 0 && s.Rate.Num > 0 {
			s.Frames = framesForClip(s.ClipS, s.Rate)
		}
		if s.Frames == 0 && s.IntervalS == 0 {
			return s, errors.New("neither frames nor interval_s: state one of them, or shooting_time with either")
		}
		if s.ClipS == 0 && s.Rate.Num > 0 {
			s.ClipS = float64(s.Frames) / s.Rate.FPS()
		}
		return s, nil
	}
	a, err := Solve(Ask{Frames: s.Frames, IntervalS: s.IntervalS, ShootingS: s.ShootingS, Rate: s.Rate, ClipS: s.ClipS})
	if err != nil {
		return s, err
	}
	s.Frames, s.IntervalS, s.ShootingS, s.ClipS = a.Frames, a.IntervalS, a.ShootingS, a.ClipS
	return s, nil
}

func cleanFolder(f string) string {
	return strings.Trim(strings.ReplaceAll(strings.TrimSpace(f), `\`, "/"), "/")
}

func rateOf(v any) (playback.Rate, error) {
	switch v := v.(type) {
	case nil:
		return playback.Rate{}, nil
	case string:
		return playback.ParseRate(v)
	case int64:
		return playback.ParseRate(fmt.Sprint(v))
	case float64:
		return playback.ParseRate(words.Number(v, 6))
	}
	return playback.Rate{}, errors.New(`rate must be a number or text: 24, 23.976 or "24000/1001"`)
}

func secondsOf(v any) (float64, error) {
	switch v := v.(type) {
	case nil:
		return 0, nil
	case string:
		return ParseSeconds(v)
	case int64:
		return ParseSeconds(fmt.Sprint(v))
	case float64:
		if !(v > 0) || math.IsInf(v, 0) || v > maxSeconds {
			return 0, fmt.Errorf("%v is no stretch of time: it must be above 0 s", v)
		}
		return v, nil
	}
	return 0, errors.New("write seconds (5) or text (\"1/60\", \"25m\")")
}
