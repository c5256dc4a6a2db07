package report

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"stillspan/internal/words"
)

var csvHeader = []string{
	"sequence", "file", "number", "time", "slot", "offset_s", "step_s", "shutter_s", "f_number", "iso",
	"lum_ev", "correction_ev", "high_share", "low_share", "problem",
}

// WriteCSV writes one row a frame (RFC 4180, UTF-8); what is not known is
// empty. Names are spelled as on a terminal, and behind an apostrophe where
// spreadsheets would take them for a formula.
func WriteCSV(w io.Writer, r *Report) error {
	c := csv.NewWriter(w)
	if err := c.Write(csvHeader); err != nil {
		return err
	}
	for i := range r.Sequences {
		s := &r.Sequences[i]
		for _, f := range s.Rows {
			row := []string{
				cell(s.ID), cell(f.File), whole(f.Number), f.Time.String(), whole(f.Slot), f.OffsetS.text(), f.StepS.text(),
				f.ShutterS.text(), f.FNumber.text(), f.ISO.text(), f.LumEV.text(), f.CorrectionEV.text(),
				f.HighShare.text(), f.LowShare.text(), cell(f.Problem),
			}
			if err := c.Write(row); err != nil {
				return err
			}
		}
	}
	c.Flush()
	return c.Error()
}

// cell is text that no program takes for anything else. What begins a formula is
// the practice of spreadsheets (OWASP, CSV injection), letters of double width
// among it.
func cell(s string) string {
	s = words.OneLine(s)
	if r, _ := utf8.DecodeRuneInString(strings.TrimLeft(s, " ")); strings.ContainsRune("=+-@\uff1d\uff0b\uff0d\uff20", r) && s != "" {
		return "'" + s
	}
	return s
}

// whole writes a number that is -1 when there is none.
func whole(n int) string {
	if n < 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func (f Float) text() string {
	if !f.Known() {
		return ""
	}
	return strconv.FormatFloat(roundDigits(float64(f)), 'g', 6, 64)
}
