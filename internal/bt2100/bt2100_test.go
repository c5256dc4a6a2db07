package bt2100_test

import (
	"math"
	"testing"

	"stillspan/internal/bt2100"
)

// limited is a signal as a 10-bit code of narrow range (BT.2100-2, table 9).
func limited(signal float64) float64 { return math.Round(876*signal + 64) }

// Reference levels of ITU-R BT.2408-7, table 1: percent of the signal of HLG and
// PQ for a grey card of 18 % (26 cd/m2) and for graphics white (203 cd/m2), and the
// bounds of both curves (BT.2100-2, tables 4 and 5).
func TestReferenceLevels(t *testing.T) {
	for _, v := range []struct {
		name      string
		got, want float64
	}{
		{"PQ of 203 cd/m2", 100 * bt2100.PQ(203.0/bt2100.PQNits), 58},
		{"PQ of 26 cd/m2", 100 * bt2100.PQ(26.0/bt2100.PQNits), 38},
		{"HLG of a scene that gives 203 cd/m2", 100 * bt2100.HLG(0.203*bt2100.SceneGain(0.203)), 75},
		{"HLG of 18 % of it", 100 * bt2100.HLG(0.18*0.203*bt2100.SceneGain(0.203)), 38},
	} {
		if math.Abs(v.got-v.want) > 0.5 {
			t.Errorf("%s is %.2f %%, want %.0f %%", v.name, v.got, v.want)
		}
	}
	for _, v := range []struct {
		name      string
		got, want float64
	}{
		{"PQ 0", limited(bt2100.PQ(0)), 64}, {"PQ 10000", limited(bt2100.PQ(1)), 940}, {"PQ 100", limited(bt2100.PQ(0.01)), 509},
		{"PQ 1000", limited(bt2100.PQ(0.1)), 723}, {"HLG 0", limited(bt2100.HLG(0)), 64}, {"HLG 1/12", limited(bt2100.HLG(1.0 / 12)), 502}, {"HLG 1", limited(bt2100.HLG(1)), 940},
	} {
		if v.got != v.want {
			t.Errorf("%s is code %.0f, want %.0f", v.name, v.got, v.want)
		}
	}
	if math.Abs(bt2100.HLG(1.0/12+1e-9)-bt2100.HLG(1.0/12)) > 1e-6 {
		t.Error("the parts of HLG do not meet")
	}
	if !math.IsNaN(bt2100.PQ(math.NaN())) || !math.IsNaN(bt2100.HLG(math.NaN())) {
		t.Error("NaN is lost")
	}
}

// The EOTFs as BT.2100-2 writes them take the signal back to its light.
func TestInverse(t *testing.T) {
	pq := func(e float64) float64 {
		p := math.Pow(e, 1/78.84375)
		return math.Pow(max(p-0.8359375, 0)/(18.8515625-18.6875*p), 1/0.1593017578125)
	}
	hlg := func(e float64) float64 {
		if e <= 0.5 {
			return e * e / 3
		}
		return (math.Exp((e-0.55991073)/0.17883277) + 0.28466892) / 12
	}
	for i := range 1001 {
		x := math.Pow(float64(i)/1000, 3)
		if got := pq(bt2100.PQ(x)); math.Abs(got-x) > 1e-9+1e-6*x {
			t.Errorf("PQ of %g comes back as %g", x, got)
		}
		if got := hlg(bt2100.HLG(x)); math.Abs(got-x) > 1e-7 {
			t.Errorf("HLG of %g comes back as %g", x, got)
		}
	}
}
