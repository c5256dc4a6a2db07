package words_test

import (
	"math"
	"testing"

	"stillspan/internal/words"
)

func TestSeconds(t *testing.T) {
	for in, want := range map[float64]string{
		12.5: "12.5 s", 60: "1 min", 90: "1 min 30 s", 1500: "25 min", 5400: "1 h 30 min", 10800: "3 h", 10830: "3 h 00 min 30 s", 59.9999: "60 s",
		172740: "47 h 59 min", 172800: "2 days", 30*86400 + 14*3600 + 90: "30 days 14 h", -90: "-1 min 30 s", math.Inf(1): "unknown",
	} {
		if got := words.Seconds(in); got != want {
			t.Errorf("%g s is written %q, want %q", in, got, want)
		}
	}
}

// The spellings of cameras' dials: common practice, no published source.
func TestExposure(t *testing.T) {
	for in, want := range map[float64]string{
		1.0 / 8000: "1/8000 s", 1.0 / 125: "1/125 s", 0.25: "1/4 s", 1.0 / 3: "0.3 s", 0.4: "0.4 s", 0.5: "0.5 s", 1: "1 s", 1.3: "1.3 s", 30: "30 s", 120: "120 s",
		0: "", -1: "", math.Inf(1): "", math.NaN(): "",
	} {
		if got := words.Exposure(in); got != want {
			t.Errorf("%g s is written %q, want %q", in, got, want)
		}
	}
}

func TestBytesAndCount(t *testing.T) {
	for got, want := range map[string]string{
		words.Bytes(int64(999)): "999 B", words.Bytes(32e9): "32 GB", words.Bytes(1.25e6): "1.2 MB", words.Bytes(2e15): "2000 TB",
		words.Count(1, "entry"): "1 entry", words.Count(2, "entry"): "2 entries", words.Count(0, "frame"): "0 frames",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestParseSeconds(t *testing.T) {
	for in, want := range map[string]float64{
		"5": 5, "2.5": 2.5, "1/60": 1.0 / 60, "1/60s": 1.0 / 60, "25m": 1500, "1h30m": 5400, "90 min": 5400, "3 h": 10800, "36s": 36,
		"25:00": 1500, "1:30:05": 5405, "14d": 14 * 86400, "1d12h": 36 * 3600, "2 days": 2 * 86400,
	} {
		if got, err := words.ParseSeconds(in); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("%q: %g, %v; want %g", in, got, err, want)
		}
	}
	for _, in := range []string{"", "0", "-5", "five", "1/0", "0/5", "1/", "NaN", "Inf", "1e300", "5 5 x", "25:61", "1:2:3:4", ":", "d", "xd"} {
		if got, err := words.ParseSeconds(in); err == nil {
			t.Errorf("%q was read as %g s", in, got)
		}
	}
}

// Nothing that a terminal or a reader could take for something else passes:
// control characters, overrides of direction, bytes that are no UTF-8.
func TestOneLine(t *testing.T) {
	for in, want := range map[string]string{
		"a b.JPG": "a b.JPG", "\u00e9\u65e5 \u0646\u200c\u0645": "\u00e9\u65e5 \u0646\u200c\u0645",
		"a\nb\tc\x1b[2J": `a\nb\tc\x1b[2J`, "\u0085": `\u0085`,
		"photo\u202egpj.exe": `photo\u202egpj.exe`, "\u2066x\u2069": `\u2066x\u2069`, "a\u2028b": `a\u2028b`, "\ufeffa": `\ufeffa`,
		"\xff\xfe.JPG": `\xff\xfe.JPG`, "\ufffd": "\ufffd", "": "",
	} {
		if got := words.OneLine(in); got != want {
			t.Errorf("%q is written %q, want %q", in, got, want)
		}
	}
}
