package ingest

import (
	"errors"
	"strings"

	"stillspan/ingest/format"
	"stillspan/ingest/meta"
	"stillspan/internal/files"
)

// readFrame fills in what the file says about itself and what is wrong with
// it, as far as that shows without decoding.
func readFrame(f *Frame) {
	file, info, err := files.Open(f.Path)
	if err != nil {
		f.Problem = openProblem(err)
		return
	}
	defer file.Close()
	f.Size, f.ModTime = info.Size(), info.ModTime()
	if f.Size == 0 {
		f.Problem = &Problem{"empty", "the file is empty", "copy it again from the card"}
		return
	}
	facts, err := format.Read(file, f.Size)
	f.Facts = facts
	cutOff := format.ByName(facts.Format).CutOff
	var malformed *meta.FormatError
	switch {
	case err != nil && !errors.As(err, &malformed):
		f.Problem = openProblem(err)
	case cutOff != nil && cutOff(file, f.Size):
		f.Problem = &Problem{"truncated", "the file ends before the picture does", "copy it again from the card before wiping it"}
	case err != nil && malformed.Part == meta.PartMetadata && cutOff != nil:
		f.damagedMetadata = true // the picture itself may be sound; decoding tells
	case err != nil:
		f.Problem = &Problem{"undecodable", strings.TrimSuffix(malformed.Error(), "."), "copy it again from the card before wiping it"}
	}
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
