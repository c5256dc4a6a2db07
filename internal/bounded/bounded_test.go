//go:build unix

package bounded

import (
	"strings"
	"testing"
	"time"
)

// A recorder takes the place of the test that would fail.
type recorder struct {
	testing.TB
	said []string
}

func (r *recorder) Helper() {}

func (r *recorder) Errorf(format string, _ ...any) { r.said = append(r.said, format) }

var sink []byte

func TestRun(t *testing.T) {
	for _, c := range []struct {
		name, want string
		read       func()
	}{
		{"modest", "", func() { sink = make([]byte, 1<<20) }},
		{"large", "memory", func() { sink = make([]byte, maxBytes+1<<20) }},
		{"large in parts", "memory", func() {
			for range 40 {
				sink = make([]byte, 8<<20)
			}
		}},
		{"slow", "input took %v", func() {
			for used := cpu(t); cpu(t)-used <= maxTime+50*time.Millisecond; {
			}
		}},
		{"halted", "", func() { time.Sleep(maxTime + 50*time.Millisecond) }},
	} {
		r := &recorder{TB: t}
		Run(r, c.read)
		if got := strings.Join(r.said, "; "); (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: said %q, want %q", c.name, got, c.want)
		}
		sink = nil
	}
}
