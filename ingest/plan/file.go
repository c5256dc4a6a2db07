// Package plan holds what a shoot was meant to be: the plan file, the
// shooting arithmetic both ways, and which sequence of a dump answers to
// which planned shoot.
package plan

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"stillspan/internal/playback"
	"stillspan/internal/settings"
	"stillspan/internal/words"
)

// maxFileBytes bounds a plan file; a plan of a thousand shoots is smaller.
const maxFileBytes = 1 << 20

// maxFrames is the most frames one shoot can plan.
const maxFrames = 10_000_000

// File is a plan file: one entry per shoot and what holds for all of them.
type File struct {
	Path     string // where it was read from; empty for one made in memory
	Defaults settings.Values
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
	ShootingS float64       // frames x interval
	Rate      playback.Rate // stated, or else the file's
	ClipS     float64
	ExposureS float64
	// Given is what else the plan states of rig, place and supplies.
	Given settings.Values
	// Settings are what the plan states of how the shoot is measured and
	// rendered, File.Defaults laid under.
	Settings settings.Values
}

// Load reads and checks a plan file. Every error is one line that names the
// file and, where there is one, the line and what to write instead.
func Load(path string) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read plan: %w", err)
	}
	defer f.Close()
	data, err := all(f)
	if err != nil {
		return nil, fmt.Errorf("cannot read plan %q: %w", path, err)
	}
	p, err := Parse(data)
	if err != nil {
		return nil, fmt.Errorf("plan %q: %w", path, err)
	}
	p.Path = path
	return p, nil
}

// all reads a plan's file to its end.
func all(f io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(f, maxFileBytes+1))
	if err == nil && len(data) > maxFileBytes {
		err = errors.New("it is larger than 1 MiB: is it a plan file?")
	}
	return data, err
}

// Parse reads a plan from the bytes of its file.
func Parse(data []byte) (*File, error) {
	if err := checkKeys(data); err != nil {
		return nil, err
	}
	var raw struct {
		Defaults map[string]any   `toml:"defaults"`
		Shoot    []map[string]any `toml:"shoot"`
	}
	if err := toml.Unmarshal(data, &raw); err != nil {
		return nil, explain(err)
	}
	defaults, err := stated(raw.Defaults)
	if err != nil {
		return nil, fmt.Errorf("defaults: %w", err)
	}
	f := &File{Defaults: defaults}
	if settings.Rate.Stated(defaults) {
		f.Rate = settings.Rate.Of(defaults)
	}
	seen := map[string]int{}
	for i, table := range raw.Shoot {
		v, err := stated(table)
		name := settings.Name.Of(v)
		if err != nil {
			return nil, fmt.Errorf("shoot %d%s: %w", i+1, named(name), err)
		}
		shoot, err := shootOf(v.Over(defaults))
		if err != nil {
			return nil, fmt.Errorf("shoot %d%s: %w", i+1, named(name), err)
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

// stated reads the values of one table of the file. Beside an error come those
// that could be read.
func stated(table map[string]any) (settings.Values, error) {
	v := settings.Values{}
	var first error
	for _, r := range settings.Table() {
		in, ok := table[r.Key]
		if !ok || r.Key == "" {
			continue
		}
		x, err := r.Read(in)
		if err != nil {
			first = cmp.Or(first, fmt.Errorf("%s %w", r.Key, err))
			continue
		}
		v[r.Name] = x
	}
	return v, first
}

// Given is what of v a plan keeps for whoever reads it.
func Given(v settings.Values) settings.Values {
	out := settings.Values{}
	for _, r := range settings.Table() {
		if x, ok := v[r.Name]; ok && r.In == settings.Noted {
			out[r.Name] = x
		}
	}
	return out
}

// shootOf makes a shoot of what was stated, and fills in what follows.
func shootOf(v settings.Values) (Shoot, error) {
	s := Shoot{
		Name: settings.Name.Of(v), Folder: cleanFolder(settings.Folder.Of(v)),
		From: settings.From.Of(v), To: settings.To.Of(v), Frames: settings.Frames.Of(v),
		IntervalS: settings.Interval.Of(v), ShootingS: settings.Time.Of(v),
		ClipS: settings.Length.Of(v), ExposureS: settings.Exposure.Of(v), Settings: settings.Values{}, Given: Given(v),
	}
	if settings.Rate.Stated(v) {
		s.Rate = settings.Rate.Of(v)
	}
	for _, r := range settings.Table() {
		if x, ok := v[r.Name]; ok && r.In == settings.Default {
			s.Settings[r.Name] = x
		}
	}
	if s.Name == "" {
		return s, errors.New(`no name: add a line such as name = "harbour dawn"`)
	}
	if !s.From.IsZero() && !s.To.IsZero() && !s.To.After(s.From) {
		return s, errors.New("to is not after from: the window bounds the moment of the first frame")
	}
	return s.filled()
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
			if s.Frames = framesForClip(s.ClipS, s.Rate); s.Frames < 1 || s.Frames > maxFrames {
				return s, fmt.Errorf("a clip of %s at %s does not come to 1 to %d frames", words.Seconds(s.ClipS), RateLabel(s.Rate), maxFrames)
			}
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
