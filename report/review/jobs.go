package review

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"stillspan/assemble"
	"stillspan/assemble/flash"
	"stillspan/assemble/shoot"
	"stillspan/internal/settings"
	"stillspan/internal/words"
)

// job is the clip that is made now, or was made last; there is one at a time.
type job struct {
	Shoot   int    `json:"shoot"`
	Proof   bool   `json:"proof"`
	Running bool   `json:"running"`
	What    string `json:"what"` // measuring or rendering
	Done    int    `json:"done"`
	Total   int    `json:"total"`
	// Said is how it ended, in words; Failed that it did not end well.
	Said   string `json:"said"`
	Failed bool   `json:"failed"`
	Flash  string `json:"flash,omitempty"` // the clip flashes
	Number int    `json:"number"`          // counts the jobs

	cancel context.CancelFunc
}

var errBusy = errors.New("a clip is being made: wait for it, or cancel it")

// render begins a clip or a proof of shoot i.
func (s *Server) render(i int, proof, replace bool) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.job.Running {
		return errBusy
	}
	sh := *s.found.Shoots[i]
	out := filepath.Join(s.opt.Out, shoot.ClipNames(s.found.Shoots)[i])
	sh.Settings = sh.Settings.Over()
	settings.Overwrite.Set(sh.Settings, proof || replace)
	number := s.job.Number + 1
	if proof {
		settings.Preset.Set(sh.Settings, "proof")
		for _, name := range []string{settings.Codec.Name, settings.Quality.Name, settings.ClipSize.Name} {
			delete(sh.Settings, name)
		}
		out = s.work.Path(fmt.Sprintf("proof-%d.mp4", number))
	} else if err := os.MkdirAll(s.opt.Out, 0o777); err != nil {
		return fmt.Errorf("cannot make the folder for clips: %w", err)
	} else if err := assemble.MayPlace(out, replace); err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(s.ctx)
	s.job = job{Shoot: i, Proof: proof, Running: true, What: "measuring", Total: len(sh.Sequence.Frames), Number: number, cancel: cancel}
	if v := &s.views[i]; v.draft != nil && v.with == meterKey(sh.Settings) {
		sh.Measured = v.measured
	}
	s.tasks.Go(func() {
		defer cancel()
		err := s.make(ctx, &sh, out)
		s.ended(ctx, i, &sh, out, err)
	})
	return nil
}

// make is the same way that 'render' and 'day' take.
func (s *Server) make(ctx context.Context, sh *shoot.Shoot, out string) error {
	if sh.Measured == nil {
		if err := sh.Measure(ctx, s.progress("measuring")); err != nil {
			return err
		}
	}
	if err := sh.Solve(); err != nil {
		return err
	}
	return sh.Render(ctx, out, shoot.RenderOptions{Progress: s.progress("rendering")})
}

func (s *Server) progress(what string) func(done, total int) {
	return func(done, total int) {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.job.What, s.job.Done, s.job.Total = what, done, total
	}
}

// ended notes how a job ended.
func (s *Server) ended(ctx context.Context, i int, sh *shoot.Shoot, out string, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	j := &s.job
	j.Running = false
	switch {
	case ctx.Err() != nil:
		j.Said = "cancelled: nothing was written"
	case err != nil:
		j.Failed, j.Said = true, explained(err)
	default:
		r := sh.Rendered
		j.Said = fmt.Sprintf("%s, %s, %dx%d, %s", words.Count(r.Clip.Frames, "frame"), words.Seconds(r.Clip.DurationS), r.Clip.Width, r.Clip.Height, words.Bytes(r.Clip.Bytes))
		if ev := r.Light.FlickerEV; !math.IsNaN(ev) {
			j.Said += fmt.Sprintf(", flicker %.3f EV rms as measured in its frames", ev)
		}
		if len(r.Flashes) > 0 {
			j.Flash = fmt.Sprintf("The clip flashes more than the guideline allows, first at %s. %s", r.Flashes[0].Start, flash.Notice)
		}
		if old := s.views[i].clip; old != out && filepath.Dir(old) == s.work.Path("") {
			os.Remove(old)
		}
		if s.views[i].clip = out; r.Clip.Timecode == "" && filepath.Ext(out) == "" {
			s.views[i].clip = "" // images in a folder
		}
	}
}
