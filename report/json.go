package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"
)

// Float is a number that may be unknown: NaN and infinities are null in JSON
// and null is NaN in Go.
type Float float64

// Known tells whether f is a finite number.
func (f Float) Known() bool { return !math.IsNaN(float64(f)) && !math.IsInf(float64(f), 0) }

// unknown is the Float that is null.
var unknown = Float(math.NaN())

// positive gives v, or unknown when v is not above zero.
func positive(v float64) Float {
	if v > 0 && !math.IsInf(v, 0) {
		return Float(v)
	}
	return unknown
}

// MarshalJSON writes at most nine significant digits, enough to tell a
// microsecond in an hour, or null.
func (f Float) MarshalJSON() ([]byte, error) {
	if !f.Known() {
		return []byte("null"), nil
	}
	return json.RawMessage(strconv.FormatFloat(roundDigits(float64(f)), 'g', -1, 64)).MarshalJSON()
}

func roundDigits(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 9, 64), 64)
	if err != nil {
		return v
	}
	return r
}

// UnmarshalJSON reads a number or null.
func (f *Float) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*f = unknown
		return nil
	}
	v, err := strconv.ParseFloat(string(b), 64)
	*f = Float(v)
	return err
}

// Stamp is a moment as the camera wrote it. Without an offset the camera's
// wall clock is known but not where it stood on the globe: RFC 3339 section
// 4.3 writes that as "-00:00". The zero Stamp is null.
type Stamp struct {
	time.Time
	HasOffset bool
}

const (
	stampZone   = "2006-01-02T15:04:05.999999999Z07:00"
	stampNoZone = "2006-01-02T15:04:05.999999999"
)

// String is the RFC 3339 form, or the empty string for the zero Stamp.
func (s Stamp) String() string {
	switch {
	case s.IsZero():
		return ""
	case s.HasOffset:
		return s.Format(stampZone)
	}
	return s.Format(stampNoZone) + "-00:00"
}

// MarshalJSON writes the RFC 3339 form or null. Years outside 0 to 9999 have
// none and are null.
func (s Stamp) MarshalJSON() ([]byte, error) {
	if s.IsZero() || s.Year() < 0 || s.Year() > 9999 {
		return []byte("null"), nil
	}
	return json.Marshal(s.String())
}

// UnmarshalJSON reads the RFC 3339 form or null.
func (s *Stamp) UnmarshalJSON(b []byte) error {
	*s = Stamp{}
	if string(b) == "null" {
		return nil
	}
	var text string
	if err := json.Unmarshal(b, &text); err != nil {
		return err
	}
	const none = "-00:00"
	if n := len(text) - len(none); n > 0 && text[n:] == none {
		t, err := time.Parse(stampNoZone, text[:n])
		*s = Stamp{Time: t}
		return err
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	*s = Stamp{Time: t, HasOffset: true}
	return err
}

// WriteJSON writes the report as indented JSON.
func WriteJSON(w io.Writer, r *Report) error { return writeJSON(w, r) }

// writeJSON writes an object, its first member that which says who made it, its
// next "name_bytes" where names are not UTF-8.
func writeJSON(w io.Writer, v any) error {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return err
	}
	text := bytes.TrimPrefix(b.Bytes(), []byte("{\n"))
	first := MarkJSON
	if names := byteNames(v); len(names) > 0 {
		list, err := json.Marshal(names)
		if err != nil {
			return err
		}
		first += ",\n  \"name_bytes\": " + string(list)
	}
	_, err := fmt.Fprintf(w, "{\n  %s,\n%s", first, text)
	return err
}

// ReadJSON reads what WriteJSON wrote. The pictures of the HTML page are not
// in it.
func ReadJSON(rd io.Reader) (*Report, error) {
	r := new(Report)
	if err := json.NewDecoder(rd).Decode(r); err != nil {
		return nil, fmt.Errorf("cannot read report: %w", err)
	}
	if r.Version != Version {
		return nil, fmt.Errorf("report is of version %d, not %d", r.Version, Version)
	}
	return r, nil
}
