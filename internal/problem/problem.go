// Package problem holds work that went wrong together with what to try.
package problem

import "fmt"

// Error is work that cannot be done, with what to try.
type Error struct {
	Text string // what went wrong; may be empty when Err says it
	Try  string // advice; may be empty
	Err  error  // cause; may be nil
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
