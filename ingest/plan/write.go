package plan

import (
	"fmt"
	"io"
	"stillspan/internal/playback"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// header explains the file to whoever opens it.
const header = `# Plan of interval shoots, one [[shoot]] each.
#
# name           what the shoot is called; a folder or sequence of this name answers to it
# folder         where its frames lie, e.g. "DCIM/100MEDIA"
# from, to       window for the first frame by the camera's clock: 2026-05-01T05:40:00
# frames, interval_s, shooting_time ("25m")   any two give the third
# rate           playback: 24, 25, 23.976 or "24000/1001"
# clip_s         length of the clip; with rate it gives frames
# exposure       "1/60" or seconds
# aspect, size, codec, smooth, zone, gaps, deflicker   as on the command line
#
# [defaults] takes rate and the last line for every shoot that states none.

`

// Write writes the plan in the form Load reads.
func Write(w io.Writer, f *File) error {
	out := fileTOML{}
	if d := f.Defaults.toml(f.Rate); d != (renderTOML{}) {
		out.Defaults = &d
	}
	for _, s := range f.Shoots {
		out.Shoot = append(out.Shoot, entry(s, f.Rate))
	}
	body, err := toml.Marshal(out)
	if err != nil {
		return fmt.Errorf("cannot write plan: %w", err)
	}
	if _, err := io.WriteString(w, header); err != nil {
		return err
	}
	_, err = w.Write(body)
	return err
}

// WriteShoot writes one entry, to be added to a plan that is there.
func WriteShoot(w io.Writer, s Shoot) error {
	body, err := toml.Marshal(fileTOML{Shoot: []shootTOML{entry(s, playback.Rate{})}})
	if err != nil {
		return fmt.Errorf("cannot write plan: %w", err)
	}
	_, err = w.Write(body)
	return err
}

// entry is a shoot as the file holds it; base is the rate that need not be
// stated.
func entry(s Shoot, base playback.Rate) shootTOML {
	rate := s.Rate
	if rate == base {
		rate = playback.Rate{}
	}
	e := shootTOML{
		Name: s.Name, Folder: s.Folder, From: localTime(s.From), To: localTime(s.To), Frames: s.Frames,
		Interval: number(s.IntervalS), Exposure: number(s.ExposureS),
		renderTOML: s.Render.toml(rate),
	}
	// What follows from the rest is left out, so that editing one number does
	// not contradict another.
	if s.Frames == 0 || s.IntervalS == 0 {
		e.ShootingTime = number(s.ShootingS)
	}
	if s.Rate.Num == 0 || s.Frames == 0 {
		e.Clip = number(s.ClipS)
	}
	return e
}

func (r Render) toml(rate playback.Rate) renderTOML {
	out := renderTOML{
		Aspect: r.Aspect, Size: r.Size, Codec: r.Codec, Smooth: r.Smooth,
		Zone: r.Zone, Gaps: r.Gaps, Deflicker: r.Deflicker,
	}
	switch {
	case rate.Num == 0:
	case rate.Den == 1:
		out.Rate = int64(rate.Num)
	default:
		out.Rate = fmt.Sprintf("%d/%d", rate.Num, rate.Den)
	}
	return out
}

// number gives nil for zero, so that the key is left out.
func number(v float64) any {
	switch {
	case v == 0:
		return nil
	case v == float64(int64(v)):
		return int64(v)
	}
	return v
}

func localTime(t time.Time) *toml.LocalDateTime {
	if t.IsZero() {
		return nil
	}
	return &toml.LocalDateTime{
		LocalDate: toml.LocalDate{Year: t.Year(), Month: int(t.Month()), Day: t.Day()},
		LocalTime: toml.LocalTime{Hour: t.Hour(), Minute: t.Minute(), Second: t.Second()},
	}
}
