// Package problem has what is wrong together with what to try.
package problem

import (
	"errors"
	"fmt"
)

// Error is work that cannot be done.
type Error struct {
	Kind string `json:"kind,omitempty"` // where somebody has to tell; else empty
	Text string `json:"text"`           // what went wrong; may be empty when Err says it
	Try  string `json:"try,omitempty"`  // advice; may be empty
	Err  error  `json:"-"`              // cause; may be nil
}

func (e *Error) Error() string {
	switch {
	case e.Err == nil:
		return e.Text
	case e.Text == "":
		return e.Err.Error()
	}
	return e.Text + ": " + e.Err.Error()
}

func (e *Error) Unwrap() error { return e.Err }

// Hint adds what to try to an error.
func Hint(err error, format string, args ...any) error {
	return &Error{Err: err, Try: fmt.Sprintf(format, args...)}
}

// Try is the advice that an error carries; empty for none.
func Try(err error) string {
	if e, ok := errors.AsType[*Error](err); ok {
		return e.Try
	}
	return ""
}
