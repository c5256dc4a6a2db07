package plan

import (
	"bytes"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"stillspan/internal/playback"
	"stillspan/internal/settings"
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
# %s
#                of rig, place and supplies, as 'stillspan plan' was told
# %s
#                as on the command line
#
# [defaults] takes rate and the last line for every shoot that states none.

`

// Write writes the plan in the form Load reads.
func Write(w io.Writer, f *File) error {
	var b bytes.Buffer
	own := keys(settings.Default)
	noted := slices.DeleteFunc(keys(settings.Noted), func(k string) bool { return slices.Contains(own, k) })
	fmt.Fprintf(&b, header, strings.Join(noted, ", "), strings.Join(own, ", "))
	defaults := f.Defaults.Over()
	if f.Rate.Num != 0 {
		settings.Rate.Set(defaults, f.Rate)
	}
	if len(defaults) > 0 {
		b.WriteString("[defaults]\n")
		if err := lines(&b, defaults); err != nil {
			return err
		}
		b.WriteString("\n")
	}
	for i, s := range f.Shoots {
		if i > 0 {
			b.WriteString("\n")
		}
		if err := entry(&b, s, defaults); err != nil {
			return err
		}
	}
	_, err := w.Write(b.Bytes())
	return err
}

// WriteShoot writes one entry, to be added to a plan that is there.
func WriteShoot(w io.Writer, s Shoot) error {
	var b bytes.Buffer
	if err := entry(&b, s, nil); err != nil {
		return err
	}
	_, err := w.Write(b.Bytes())
	return err
}

// entry writes a shoot; what defaults state alike is left out.
func entry(b *bytes.Buffer, s Shoot, defaults settings.Values) error {
	v := s.Settings.Over(s.Given)
	settings.Name.Set(v, s.Name)
	settings.Folder.Set(v, s.Folder)
	settings.From.Set(v, s.From)
	settings.To.Set(v, s.To)
	settings.Frames.Set(v, s.Frames)
	settings.Interval.Set(v, s.IntervalS)
	settings.Exposure.Set(v, s.ExposureS)
	settings.Rate.Set(v, s.Rate)
	// What follows from the rest is left out, so that editing one number does
	// not contradict another.
	if s.Frames == 0 || s.IntervalS == 0 {
		settings.Time.Set(v, s.ShootingS)
	}
	if s.Rate.Num == 0 || s.Frames == 0 {
		settings.Length.Set(v, s.ClipS)
	}
	for name, x := range defaults {
		if reflect.DeepEqual(v[name], x) {
			delete(v, name)
		}
	}
	b.WriteString("[[shoot]]\n")
	return lines(b, v)
}

// lines writes values by their keys, the name first; zero ones but for
// switches are left out.
func lines(b *bytes.Buffer, v settings.Values) error {
	for _, first := range []bool{true, false} {
		for _, r := range settings.Table() {
			x, ok := v[r.Name]
			if !ok || r.Key == "" || first != (r.Key == "name") || reflect.ValueOf(x).IsZero() && x != false {
				continue
			}
			line, err := toml.Marshal(map[string]any{r.Key: plain(x)})
			if err != nil {
				return fmt.Errorf("cannot write plan: %w", err)
			}
			b.Write(line)
		}
	}
	return nil
}

// plain is a value as the file holds it.
func plain(x any) any {
	switch x := x.(type) {
	case float64:
		if x == float64(int64(x)) {
			return int64(x)
		}
	case playback.Rate:
		if x.Den == 1 {
			return int64(x.Num)
		}
		return x.String()
	case time.Time:
		return toml.LocalDateTime{
			LocalDate: toml.LocalDate{Year: x.Year(), Month: int(x.Month()), Day: x.Day()},
			LocalTime: toml.LocalTime{Hour: x.Hour(), Minute: x.Minute(), Second: x.Second()},
		}
	case fmt.Stringer:
		return x.String()
	}
	return x
}
