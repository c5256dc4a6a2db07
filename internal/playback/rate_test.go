package playback

import "testing"

// The fractional rates are 24, 30 and 60 times 1000/1001: SMPTE ST 12-1 (from
// memory).
func TestParseRate(t *testing.T) {
	for _, c := range []struct {
		in   string
		want Rate
	}{
		{"24", Rate{24, 1}}, {"25", Rate{25, 1}}, {" 30 ", Rate{30, 1}}, {"48", Rate{48, 1}}, {"50", Rate{50, 1}}, {"60", Rate{60, 1}},
		{"23.976", Rate{24000, 1001}}, {"23.98", Rate{24000, 1001}}, {"29.97", Rate{30000, 1001}}, {"59.94", Rate{60000, 1001}},
		{"24000/1001", Rate{24000, 1001}}, {"50/2", Rate{25, 1}}, {"12.5", Rate{25, 2}}, {"1/2", Rate{1, 2}}, {"0.01", Rate{1, 100}}, {"1000/1", Rate{1000, 1}},
	} {
		got, err := ParseRate(c.in)
		if err != nil || got != c.want {
			t.Errorf("ParseRate(%q) = %v, %v; want %v", c.in, got, err, c.want)
		}
	}
	for _, bad := range []string{"", "fast", "0", "-24", "24/0", "0/1", "NaN", "Inf", "1e9", "24/", "/24", "2000", "2000/1", "0.0000001", "1/1000000000", "0.009", "1/101"} {
		if got, err := ParseRate(bad); err == nil {
			t.Errorf("ParseRate(%q) = %v, want an error", bad, got)
		}
	}
}

// 240 frames at 24000/1001 last 10.010 s exactly.
func TestRateIsExact(t *testing.T) {
	r, err := ParseRate("23.976")
	if err != nil {
		t.Fatal(err)
	}
	if num, den := 240*r.Den, r.Num; num*100 != 1001*den {
		t.Errorf("240 frames last %d/%d s, want 10.010", num, den)
	}
}
