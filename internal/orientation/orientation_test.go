package orientation_test

import (
	"testing"

	"stillspan/internal/orientation"
)

// CIPA DC-008, tag 0x0112: the sides of the upright picture that row 0 and
// column 0 of the stored one are.
func TestTableAgainstTheStandard(t *testing.T) {
	for exif, want := range map[int][2]string{
		1: {"top", "left"}, 2: {"top", "right"}, 3: {"bottom", "right"}, 4: {"bottom", "left"},
		5: {"left", "top"}, 6: {"right", "top"}, 7: {"right", "bottom"}, 8: {"left", "bottom"},
	} {
		k := orientation.Of(exif)
		row, column := "top", "left"
		if k.FlipY {
			row = "bottom"
		}
		if k.FlipX {
			column = "right"
		}
		if k.Transpose {
			row, column = column, row
		}
		if row != want[0] || column != want[1] || k.EXIF() != exif {
			t.Errorf("%d: row 0 is the %s, column 0 the %s, code %d", exif, row, column, k.EXIF())
		}
		if k.Left().Left().Left().Left() != k {
			t.Errorf("%d: four quarter turns are none", exif)
		}
	}
	if orientation.Of(1).Left().EXIF() != 8 || orientation.Of(0) != orientation.Of(1) || orientation.Of(9) != orientation.Of(1) {
		t.Error("a quarter turn to the left is not 8, or a code outside the table turns")
	}
	if w, h := orientation.Of(6).Size(3, 2); w != 2 || h != 3 {
		t.Error(w, h)
	}
}
