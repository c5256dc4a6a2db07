package format

import (
	"bytes"
	"strings"
	"testing"

	"stillspan/internal/hostile"
)

// Each bomb is refused by its structure, before any decoder sees it, and sound
// stills of its kind are not. The one of many scans only shows to who walks
// them: package measure's test has it.
func TestBombsAreRefused(t *testing.T) {
	for _, b := range hostile.Bombs {
		if b.Name == "jpeg-scans" {
			continue
		}
		data, err := hostile.Bomb(b.Name)
		if err != nil {
			t.Fatal(err)
		}
		facts, err := Read(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Errorf("%s: %v", b.Name, err)
		}
		d, _ := Look(bytes.NewReader(data), int64(len(data)), &facts)
		if d == nil || !strings.Contains(d.Text, b.Refused) {
			t.Errorf("%s: %+v", b.Name, d)
		}
		if sound, err := hostile.Sound(b.Ext); err == nil {
			facts, err := Read(bytes.NewReader(sound), int64(len(sound)))
			if d, _ := Look(bytes.NewReader(sound), int64(len(sound)), &facts); d != nil || err != nil {
				t.Errorf("sound %s: %+v, %v", b.Ext, d, err)
			}
		}
	}
}
