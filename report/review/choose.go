package review

import (
	"fmt"
	"math"

	"stillspan/assemble/shoot"
	"stillspan/ingest/plan"
	"stillspan/internal/problem"
	"stillspan/internal/settings"
	"stillspan/internal/words"
)

// choices are the options that the page sets.
func choices() []*settings.Row {
	return []*settings.Row{
		settings.Rate.Row, settings.First.Row, settings.Last.Row, settings.LeaveOut.Row, settings.Gaps.Row,
		settings.Aspect.Row, settings.Crop.Row, settings.CropAt.Row,
		settings.Zone.Row, settings.Smooth.Row, settings.Deflicker.Row, settings.KeepSteps.Row, settings.KeepColour.Row,
	}
}

// wish is what a window asks to be chosen: of the plan as it has seen it, the
// options by name as they would be typed, empty for none stated.
type wish struct {
	Version  string            `json:"version"`
	Settings map[string]string `json:"settings"`
}

// choose writes to the plan what a window chose for shoot i.
func (s *Server) choose(i int, w wish) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if w.Version != s.version {
		return plan.ErrChanged
	}
	sh := s.found.Shoots[i]
	var defaults settings.Values
	if s.found.Plan != nil {
		defaults = s.found.Plan.Defaults
	}
	change, err := changes(w.Settings, sh.Settings, defaults)
	if err != nil || len(change) == 0 {
		return err
	}
	data, err := plan.Revise(s.opt.Plan, s.version, func(old []byte) ([]byte, error) {
		at := s.planned(sh)
		if sh.Planned == nil {
			var err error
			if old, err = plan.Append(old, plannedLike(sh)); err != nil {
				return nil, err
			}
			if s.found.Plan != nil {
				at = len(s.found.Plan.Shoots)
			}
		}
		return plan.Set(old, at, change)
	})
	if err != nil {
		return err
	}
	p, err := plan.Parse(data)
	if err != nil {
		return err
	}
	p.Path = s.opt.Plan
	s.found, s.version = s.found.Replan(p, s.opt.Root, s.opt.Stated), plan.Version(data)
	s.tell()
	return nil
}

// planned is where in the plan a shoot stands; 0 for one that is to begin it.
func (s *Server) planned(sh *shoot.Shoot) int {
	for k := 0; s.found.Plan != nil && k < len(s.found.Plan.Shoots); k++ {
		if &s.found.Plan.Shoots[k] == sh.Planned {
			return k
		}
	}
	return 0
}

// plannedLike is the entry of a sequence that nobody planned: its name, and the
// interval that was shot, or else the frames, as an entry has to state one.
func plannedLike(sh *shoot.Shoot) plan.Shoot {
	p := plan.Shoot{Name: sh.Sequence.ID, Given: settings.Values{}}
	if t := &sh.Sequence.Timing; t.Judged && t.IntervalS > 0 {
		p.IntervalS = math.Round(t.IntervalS*100) / 100
	}
	if p.IntervalS == 0 {
		p.Frames = len(sh.Sequence.Frames)
	}
	return p
}

// changes are the options that were asked to be other than they are: a value, or
// nil where what holds without being stated by the shoot is wanted.
func changes(asked map[string]string, now, defaults settings.Values) (settings.Values, error) {
	out := settings.Values{}
	is, fallback := typed(now), typed(defaults)
	for _, r := range choices() {
		text, ok := asked[r.Name]
		if !ok || text == is[r.Name] {
			continue
		}
		if text == "" && fallback[r.Name] != "" {
			text = whole[r.Name]
		}
		if text == "" || text == fallback[r.Name] {
			out[r.Name] = nil
			continue
		}
		x, err := r.Read(text)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", r.Name, err)
		}
		if fmt.Sprint(x) == is[r.Name] {
			continue
		}
		out[r.Name] = x
	}
	first, last := asked[settings.First.Name], asked[settings.Last.Name]
	if a, b := number(first), number(last); first != "" && last != "" && a > b {
		return nil, fmt.Errorf("the first frame, %d, lies after the last, %d", a, b)
	}
	return out, nil
}

// whole is said of a shoot that is not to have what the plan's defaults state.
var whole = map[string]string{"crop": "0,0,1,1", "zone": "0,0,1,1", "first": "1"}

func number(s string) (n int) {
	fmt.Sscan(s, &n)
	return n
}

// explained is an error with what to try, on one line.
func explained(err error) string {
	text := err.Error()
	if try := problem.Try(err); try != "" {
		text += "; try: " + try
	}
	return words.OneLine(text)
}
