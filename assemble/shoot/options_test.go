package shoot

import (
	"reflect"
	"testing"

	"stillspan/ingest"
	"stillspan/internal/settings"
)

// What the table of options permits, the stages permit, to both ends of each
// range; and the defaults are theirs.
func TestOptionsArePermitted(t *testing.T) {
	ends := map[string][]string{
		"smooth": {"4", "2000"}, "min-frames": {"2", "100000"}, "workers": {"1", "256"}, "quality": {"1", "63"},
		"size": {"16x16", "16384x16384"}, "aspect": {"source", "10000:1"}, "crop-at": {"0,0", "1,1"}, "zone": {"0,0,1,1"},
		"gaps": {"leave", "hold", "blend"}, "raw": {"develop", "preview"}, "rate": {"0.001", "1000"}, "bracket": {"1", "9"},
	}
	check := func(v settings.Values, what string) {
		for _, err := range []error{
			ScanOptions(v).Validate(), measureOptions(v).Validate(), meterOptions(v, 1).Zone.Validate(),
			solveOptions(v).Validate(), ClipOptions(v).Validate(),
		} {
			if err != nil {
				t.Errorf("%s: %v", what, err)
			}
		}
	}
	check(settings.Values{}, "defaults")
	for _, r := range settings.Table() {
		for _, s := range ends[r.Name] {
			if x, err := r.Read(s); err == nil && r.For&settings.Judge != 0 {
				check(settings.Values{r.Name: x}, r.Flag()+" "+s)
			}
		}
	}
	if got, want := ScanOptions(settings.Values{}), ingest.DefaultOptions(); !reflect.DeepEqual(got, want) {
		t.Errorf("scans by default with %+v, want %+v", got, want)
	}
}
