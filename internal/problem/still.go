package problem

import (
	"errors"
	"io/fs"

	"stillspan/internal/files"
)

// Still is what is wrong with one still: data, since it never stops the work.
// It is an error only on its way through functions that may also fail.
type Still struct {
	// Kind is "empty", "truncated", "corrupt", "undecodable", "wrong-size",
	// "too-large", "unreadable", "vanished", "changed", "no-time" or "not-a-file".
	Kind string
	Text string // one clear sentence, no path
	Try  string // advice
	// Left is the share of the picture that could be decoded, 0 to 1.
	Left float64
}

func (s *Still) Error() string { return s.Text }

const copyAgain = "copy it again from the card before wiping it"

// Empty is a file without a byte.
func Empty() *Still { return &Still{Kind: "empty", Text: "the file is empty", Try: copyAgain} }

// Truncated is a still that ends before its picture does.
func Truncated(text string) *Still { return &Still{Kind: "truncated", Text: text, Try: copyAgain} }

// Corrupt is a still whose bytes make no sense in places.
func Corrupt(text string) *Still { return &Still{Kind: "corrupt", Text: text, Try: copyAgain} }

// TooLarge is a still that would take more memory than one may.
func TooLarge(text string) *Still {
	return &Still{Kind: "too-large", Text: text, Try: "make it smaller in another program"}
}

// Undecodable is a still that is no picture known here, or a broken one.
func Undecodable(text string) *Still { return &Still{Kind: "undecodable", Text: text, Try: copyAgain} }

// Unread tells why a file could not be opened or read.
func Unread(err error) *Still {
	switch {
	case errors.Is(err, files.ErrNotRegular):
		return &Still{Kind: "not-a-file", Text: "it is a pipe, a device or a folder and not a picture", Try: "remove it from the folder"}
	case errors.Is(err, fs.ErrNotExist):
		return &Still{Kind: "vanished", Text: "it is no longer there", Try: "check that the drive is still connected and copy the card again"}
	case errors.Is(err, fs.ErrPermission):
		return &Still{Kind: "unreadable", Text: "you have no permission to read it", Try: "give yourself permission to read it, or copy the card again"}
	}
	return &Still{Kind: "unreadable", Text: "it cannot be read (" + files.Cause(err).Error() + ")", Try: "copy it again from the card"}
}
