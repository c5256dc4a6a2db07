package plan

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"time"

	"stillspan/internal/files"
	"stillspan/internal/problem"
	"stillspan/internal/settings"
)

// AskOf is the question that the options put.
func AskOf(v settings.Values) Ask {
	move := settings.Move.Of(v)
	q := Ask{
		Start: settings.Start.Of(v), MoveS: settings.MoveTime.Of(v), SettleS: settings.Settle.Of(v),
		CardsAtHand: settings.Cards.Of(v), BatteriesAtHand: settings.Batteries.Of(v),
		Frames: settings.Frames.Of(v), IntervalS: settings.Interval.Of(v), ShootingS: settings.Time.Of(v),
		Rate: settings.PlanRate.Of(v), ClipS: settings.Length.Of(v),
		ExposureS: settings.Exposure.Of(v), WriteS: settings.WriteTime.Of(v),
		Travel: move.Amount, TravelUnit: move.Unit,
		BytesPerFrame: settings.FrameSize.Of(v), CardBytes: settings.Card.Of(v),
		ShotsPerBattery: settings.Shots.Of(v), HoursPerBattery: settings.Hours.Of(v),
	}
	if settings.Location.Stated(v) {
		at := Place(settings.Location.Of(v))
		q.Place = &at
	}
	if t, err := time.Parse("-07:00", settings.UTC.Of(v)); err == nil {
		_, s := t.Zone()
		d := time.Duration(s) * time.Second
		q.UTCOffset = &d
	}
	return q
}

// Add writes a new plan file, or adds the shoot to one that is there and
// leaves its other lines, comments too, as they are.
func Add(file string, s Shoot) error {
	old, err := Read(file)
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, files.ErrNotRegular):
		old = nil
	case err != nil:
		return problem.Hint(fmt.Errorf("cannot read plan %q: %w", file, files.Cause(err)), "another file with -o")
	default:
		if _, err := Parse(old); err != nil {
			return problem.Hint(fmt.Errorf("plan %q: %w", file, err), "mend the file, or name another with -o")
		}
	}
	data, err := Append(old, s)
	if err != nil {
		return problem.Hint(fmt.Errorf("cannot add the shoot to %q: %w", file, err), "another --name, or another file with -o")
	}
	err = replace(file, old, data)
	switch {
	case errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission):
		return problem.Hint(err, "a folder that exists and may be written to")
	case err != nil:
		return problem.Hint(err, "another file with -o")
	}
	return nil
}

// replace writes a plan in the place of what was read of it, nil for none there,
// and of nothing that came there since.
func replace(file string, old, data []byte) error {
	same := func(path string) bool {
		now, err := Read(path)
		return old != nil && err == nil && bytes.Equal(now, old)
	}
	return files.Place{Path: file, Ours: same}.Write(func(w io.Writer) error { _, err := w.Write(data); return err })
}

// Read reads a plan's file without looking into it; a pipe, a device or a
// folder holds none.
func Read(path string) ([]byte, error) {
	f, _, err := files.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return all(f)
}
