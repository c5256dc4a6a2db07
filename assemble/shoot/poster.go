package shoot

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"image/jpeg"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"stillspan/assemble"
	"stillspan/ingest/plan"
	"stillspan/internal/settings"
	"stillspan/internal/timecode"
	"stillspan/internal/words"
)

// PosterMark stands near the beginning of every poster.
const PosterMark = "stillspan poster frame"

// PosterName is that of the poster beside a clip.
func PosterName(clip string) string { return strings.TrimSuffix(clip, filepath.Ext(clip)) + ".jpg" }

// Poster is a frame of the rendered clip as a JPEG in sRGB: the one that was asked for,
// or the one nearest to it that the clip shows. It is nil where none was asked for.
func (s *Shoot) Poster(ctx context.Context) ([]byte, error) {
	if !settings.Poster.Stated(s.Settings) || s.Rendered == nil {
		return nil, nil
	}
	job := s.Job("")
	at := len(job.Sources) / 2
	if want := settings.Poster.Of(s.Settings) - 1; want >= 0 {
		far := func(k int) int { return max(k-want, want-k) }
		index := slices.Concat(s.picked()...)
		at = slices.Index(index, slices.MinFunc(index, func(a, b int) int { return cmp.Compare(far(a), far(b)) }))
	}
	img, err := assemble.Poster(ctx, job, at)
	if err != nil {
		return nil, fmt.Errorf("cannot make the poster of %s: %w", s.Sequence.ID, err)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 92}); err != nil {
		return nil, err
	}
	// A comment after the first marker (ITU-T T.81, B.2.4.5).
	comment := append([]byte{0xFF, 0xFE, 0, byte(2 + len(PosterMark))}, PosterMark...)
	return slices.Insert(b.Bytes(), 2, comment...), nil
}

// slate is the title card of a job, nil where none was asked for; the clip begins that
// much before its first frame, by its time code too.
func (s *Shoot) slate(job *assemble.Job) {
	n := int(settings.Slate.Of(s.Settings)*s.Rate.FPS() + 0.5)
	if n == 0 {
		return
	}
	card := &assemble.Slate{Title: s.Sequence.ID}
	line := func(format string, args ...any) { card.Lines = append(card.Lines, fmt.Sprintf(format, args...)) }
	if first := s.firstTaken(); !first.IsZero() {
		last := s.Sequence.Frames[len(s.Sequence.Frames)-1].Facts.Taken
		to := "15:04:05"
		if last.Format(time.DateOnly) != first.Format(time.DateOnly) {
			to = "2 January, 15:04:05"
		}
		line("%s to %s", first.Format("2 January 2006, 15:04:05"), last.Format(to))
	}
	if p := s.Planned; p != nil {
		card.Title = cmp.Or(p.Name, card.Title)
		line("planned: %d frames, %s apart", p.Frames, words.Seconds(p.IntervalS))
	}
	frames := len(job.Shown())
	line("%d frames at %s fps: %s", frames, plan.RateLabel(s.Rate), words.Seconds(float64(frames)/s.Rate.FPS()))
	if c := s.camera(); c != "" {
		line("%s", c)
	}
	if start, err := timecode.Parse(job.Timecode, s.Rate); err == nil {
		line("first frame at %s", start)
		job.Timecode = start.Add(-n).String()
	}
	card.Frames, job.Slate = n, card
}
