package ingest

import (
	"fmt"
	"slices"
	"testing"
)

// A card whose numbers run on over a folder that is not here lacks the folder; one
// that is merely numbered otherwise does not.
func TestFolderGaps(t *testing.T) {
	type part struct {
		folder      string
		first, last int
	}
	one := FolderGap{"a/DCIM/101ACME_/IMG_0199.JPG", "a/DCIM/103ACME_/IMG_0300.JPG", "a/DCIM/102ACME_", "a/DCIM/102ACME_", 100}
	for name, c := range map[string]struct {
		parts []part
		want  []FolderGap
	}{
		"all there":      {[]part{{"a/DCIM/100ACME_", 1, 99}, {"a/DCIM/101ACME_", 100, 199}}, nil},
		"one lost":       {[]part{{"a/DCIM/101ACME_", 100, 199}, {"a/DCIM/103ACME_", 300, 310}}, []FolderGap{one}},
		"numbers run on": {[]part{{"a/DCIM/101ACME_", 100, 199}, {"a/DCIM/103ACME_", 200, 310}}, nil},
		"lost at the rollover": {[]part{{"DCIM/101ACME_", 9000, 9989}, {"DCIM/103ACME_", 6, 9}},
			[]FolderGap{{"DCIM/101ACME_/IMG_9989.JPG", "DCIM/103ACME_/IMG_0006.JPG", "DCIM/102ACME_", "DCIM/102ACME_", 15}}},
		"numbers began anew": {[]part{{"DCIM/101ACME_", 100, 199}, {"DCIM/105ACME_", 1, 90}}, nil},
		"two cards":          {[]part{{"a/DCIM/101ACME_", 100, 199}, {"b/DCIM/103ACME_", 300, 310}}, nil},
		"two cameras":        {[]part{{"DCIM/101ACME_", 100, 199}, {"DCIM/103OTHER", 300, 310}}, nil},
		"no card":            {[]part{{"101ACME_", 100, 199}, {"103ACME_", 300, 310}}, nil},
	} {
		var files []Frame
		for _, p := range c.parts {
			for n := p.first; n <= p.last; n++ {
				files = append(files, Frame{Name: fmt.Sprintf("%s/IMG_%04d.JPG", p.folder, n)})
			}
		}
		if got := folderGaps(files, nil); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}
