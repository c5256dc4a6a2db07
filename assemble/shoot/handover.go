package shoot

import (
	"cmp"
	"strings"
	"unicode"

	"stillspan/assemble"
	"stillspan/assemble/handover"
	"stillspan/internal/settings"
)

// ClipNames names the clips of shoots by the pattern that is stated, each with
// its extension; of two that come out alike, capitals or not, each gains its ID.
func ClipNames(shoots []*Shoot) []string {
	names := make([]string, len(shoots))
	count := map[string]int{}
	for i, s := range shoots {
		names[i] = s.clipName()
		count[strings.ToLower(names[i])]++
	}
	for i, s := range shoots {
		if count[strings.ToLower(names[i])] > 1 {
			names[i] += "_" + s.Sequence.ID
		}
		names[i] += ClipOptions(s.Settings).Ext()
	}
	return names
}

// clipName fills in the pattern. What a shoot does not tell is left out; where
// nothing is left the name is its ID.
func (s *Shoot) clipName() string {
	tell := map[string]string{"id": s.Sequence.ID, "camera": s.camera(), "shoot": s.Sequence.ID}
	if s.Planned != nil {
		tell["shoot"] = s.Planned.Name
	}
	if t := s.firstTaken(); !t.IsZero() {
		tell["date"], tell["time"] = t.Format("2006-01-02"), t.Format("1504")
	}
	var fill []string
	for _, w := range settings.ClipNameWords {
		fill = append(fill, "{"+w+"}", tell[w])
	}
	return cmp.Or(fileName(strings.NewReplacer(fill...).Replace(settings.ClipName.Of(s.Settings))), s.Sequence.ID)
}

// maxNameBytes leaves room in the 255 bytes of a file name for an ID.
const maxNameBytes = 120

// fileName makes a name that any system takes: letters, digits and ._- with
// none of the three at its ends.
func fileName(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.IsMark(r) || strings.ContainsRune("._-", r):
		case strings.HasSuffix(b.String(), "-"):
			continue
		default:
			r = '-'
		}
		if b.Len() > maxNameBytes {
			break
		}
		b.WriteRune(r)
	}
	return strings.Trim(b.String(), "._-")
}

// camera is the body's model, or else its maker.
func (s *Shoot) camera() string {
	for k := range s.Sequence.Frames {
		if f := &s.Sequence.Frames[k].Facts; f.Make+f.Model != "" {
			return cmp.Or(f.Model, f.Make)
		}
	}
	return ""
}

// HandOver is the rendered clip as it is handed to an editor, of the job that
// made it.
func (s *Shoot) HandOver(job assemble.Job, file string) handover.Clip {
	c := handover.Clip{
		File: file, Sequence: s.Sequence.ID, Camera: s.camera(), Rate: s.Rate, Timecode: s.Rendered.Clip.Timecode,
	}
	if s.Planned != nil {
		c.Shoot = s.Planned.Name
	}
	of := map[string]handover.Frame{}
	for k := range s.Sequence.Frames {
		f := &s.Sequence.Frames[k]
		still := handover.Frame{Still: f.Name}
		if t := f.Facts.Taken; !t.IsZero() {
			still.Taken = t.Format("2006-01-02T15:04:05.999")
		}
		of[f.Path] = still
	}
	for _, shown := range job.Shown() {
		if shown.Slate {
			c.Frames = append(c.Frames, handover.Frame{MadeUp: true})
			continue
		}
		src := &job.Sources[shown.Source]
		f := of[src.Path]
		f.CorrectionEV, f.MadeUp = src.CorrectionEV, shown.MadeUp
		if shown.Last > shown.Source {
			f.LastStill = of[job.Sources[shown.Last].Path].Still
		}
		c.Frames = append(c.Frames, f)
	}
	return c
}
