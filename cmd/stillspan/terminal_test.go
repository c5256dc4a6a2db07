package main

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"stillspan/internal/settings"
)

// On a terminal of any width progress stays on one line.
func TestProgressIsOneLine(t *testing.T) {
	for _, width := range []int{60, 80} {
		var out bytes.Buffer
		c := &call{cli: &cli{stderr: &out, live: true, width: width}, stated: settings.Values{}}
		p := c.progress("measuring 2026-05-01-0512-of-a-long-name", 12345, counted)
		for k := range 6 {
			p.describe("3 of 12 clips, 2026-05-01-0512-of-a-long-name 34 %")
			p.set(2000*k+345, 12345)
			time.Sleep(120 * time.Millisecond) // what the bar waits between two looks
		}
		p.finish()
		lines := strings.FieldsFunc(out.String(), func(r rune) bool { return r == '\r' || r == '\n' })
		if len(lines) < 3 {
			t.Fatalf("%q", out.String())
		}
		for _, line := range lines {
			if n := utf8.RuneCountInString(strings.TrimRight(line, " ")); n > width {
				t.Errorf("%d columns of %d: %q", n, width, line)
			}
		}
	}
}
