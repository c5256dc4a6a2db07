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
	var entry bytes.Buffer
	old, err := read(file)
	there := err == nil
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, files.ErrNotRegular):
		err = Write(&entry, &File{Shoots: []Shoot{s}})
	case err != nil:
		return problem.Hint(fmt.Errorf("cannot read plan %q: %w", file, files.Cause(err)), "another file with -o")
	default:
		if _, err := Parse(old); err != nil {
			return problem.Hint(fmt.Errorf("plan %q: %w", file, err), "mend the file, or name another with -o")
		}
		entry.Write(bytes.TrimRight(old, "\n"))
		entry.WriteString("\n\n")
		err = WriteShoot(&entry, s)
	}
	if err != nil {
		return err
	}
	if _, err := Parse(entry.Bytes()); err != nil {
		return problem.Hint(fmt.Errorf("cannot add the shoot to %q: %w", file, err), "another --name, or another file with -o")
	}
	// What was read is replaced, and nothing that came there since.
	same := func(path string) bool {
		now, err := read(path)
		return there && err == nil && bytes.Equal(now, old)
	}
	err = files.Place{Path: file, Ours: same}.Write(func(w io.Writer) error { _, err := w.Write(entry.Bytes()); return err })
	switch {
	case errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission):
		return problem.Hint(err, "a folder that exists and may be written to")
	case err != nil:
		return problem.Hint(err, "another file with -o")
	}
	return nil
}

// read reads a plan's file; a pipe, a device or a folder holds none.
func read(path string) ([]byte, error) {
	f, _, err := files.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return all(f)
}
