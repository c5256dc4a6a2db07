package ingest

import (
	"cmp"
	"errors"
	"io"
	"strings"

	"stillspan/ingest/format"
	"stillspan/ingest/meta"
	"stillspan/internal/files"
	"stillspan/internal/problem"
)

// readFrame fills in what the file says about itself and what is wrong with
// it, as far as that shows without decoding.
func readFrame(f *Frame, thorough bool) {
	file, info, err := files.Open(f.Path)
	if err != nil {
		f.Problem = problem.Unread(err)
		return
	}
	defer file.Close()
	f.Size, f.ModTime, f.Was = info.Size(), info.ModTime(), files.IdentityOf(info)
	f.Facts, f.Problem, f.damagedMetadata = readStill(file, f.Size, thorough)
}

// readCompanion looks for what is wrong with the other file of a pair.
func readCompanion(f *Frame, thorough bool) {
	file, info, err := files.Open(cmp.Or(f.Raw, f.Picture))
	if err != nil {
		f.Companion = problem.Unread(err)
		return
	}
	defer file.Close()
	_, f.Companion, _ = readStill(file, info.Size(), thorough)
}

// readStill reads what a file says about itself and what is wrong with it.
// metadata is set where only that is damaged: facts are then what could be
// read.
func readStill(file io.ReaderAt, size int64, thorough bool) (facts meta.Facts, wrong *Problem, metadata bool) {
	if size == 0 {
		return facts, problem.Empty(), false
	}
	facts, err := format.Read(file, size)
	var malformed *meta.FormatError
	if err != nil && !errors.As(err, &malformed) {
		return facts, problem.Unread(err), false
	}
	damage, known := format.Look(file, size, &facts)
	if damage == nil && thorough {
		damage = format.Walk(file, size, &facts)
	}
	if damage != nil {
		return facts, damage, false
	}
	switch {
	case err == nil:
		return facts, nil, false
	case malformed.Part == meta.PartMetadata && known:
		return facts, nil, true // the picture itself may be sound; decoding tells
	}
	return facts, problem.Undecodable(strings.TrimSuffix(malformed.Error(), ".")), false
}

// share makes equal words of many frames one string, as thousands of frames
// repeat their camera's name.
func share(words map[string]string, f *meta.Facts) {
	for _, p := range []*string{&f.Format, &f.Make, &f.Model, &f.Serial, &f.Lens, &f.WhiteBalance, &f.ExposureMode, &f.Program, &f.FocusMode} {
		if known, ok := words[*p]; ok {
			*p = known
		} else {
			words[*p] = strings.Clone(*p)
		}
	}
}
