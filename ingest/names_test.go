package ingest

import (
	"fmt"
	"testing"
	"time"
)

// What the digits of a name mean, by the names beside it. Forms of names are
// those that cameras, phones and people write: common practice, no published
// source, but for DCF's folders and numbers (CIPA DC-009, from memory).
func TestNames(t *testing.T) {
	for _, c := range []struct {
		what   string
		name   func(i int) string
		number func(i int) int // nil for none
		stamp  func(i int) time.Time
	}{
		{"a DCF counter", func(i int) string { return fmt.Sprintf("DCIM/100STILL/FRAM%04d.JPG", i+7) }, func(i int) int { return i + 7 }, nil},
		{"date and time", func(i int) string { return "IMG_" + at(i).Format("20060102_150405") + ".jpg" }, nil, at},
		{"date and time alone", func(i int) string { return at(i).Format("20060102_150405") + ".jpg" }, nil, at},
		{"with dashes", func(i int) string { return at(i).Format("2006-01-02 15-04-05") + ".jpg" }, nil, at},
		{"with milliseconds", func(i int) string { return fmt.Sprintf("IMG_%s_%03d.jpg", at(i).Format("20060102_150405"), i*137%1000) }, nil,
			func(i int) time.Time { return at(i).Add(time.Duration(i*137%1000) * time.Millisecond) }},
		{"date, time and a counter", func(i int) string { return fmt.Sprintf("DJI_%s_%04d_V.JPG", at(i).Format("20060102150405"), i+12) },
			func(i int) int { return i + 12 }, at},
		{"a burst", func(i int) string { return fmt.Sprintf("IMG_%s_BURST%03d.jpg", at(i).Format("20060102_150405"), i+1) },
			func(i int) int { return i + 1 }, at},
		{"seconds since 1970", func(i int) string { return fmt.Sprintf("%d.tower.c1.jpg", at(i).Unix()) }, nil, at},
		{"milliseconds since 1970", func(i int) string { return fmt.Sprintf("f_%d.jpg", at(i).UnixMilli()) }, nil, at},
		{"a trail camera's", func(i int) string { return minutes(i).Format("01021504") + ".JPG" }, nil, minutes},
		{"n of m", func(i int) string { return fmt.Sprintf("ridge-%d-of-60.jpg", i+1) }, func(i int) int { return i + 1 }, nil},
		{"in brackets", func(i int) string { return fmt.Sprintf("IMG (%d).jpg", i+1) }, func(i int) int { return i + 1 }, nil},
		{"a letter behind", func(i int) string { return fmt.Sprintf("%da.jpg", i+1) }, func(i int) int { return i + 1 }, nil},
		{"letters behind", func(i int) string { return fmt.Sprintf("%d%c.jpg", i/3+1, 'a'+i%3) }, func(i int) int { return i + 3 }, nil},
		{"hexadecimal", func(i int) string { return fmt.Sprintf("%04x.jpg", i+0x3f8) }, func(i int) int { return i + 0x3f8 }, nil},
		{"drawn at random", func(i int) string { return fmt.Sprintf("%08x.jpg", uint32(i+1)*2654435761) }, nil, nil},
		{"a day and a counter", func(i int) string { return fmt.Sprintf("2026-11-25-%04d.jpg", i+1) }, func(i int) int { return i + 1 }, nil},
		{"a trail camera's each minute", func(i int) string { return at(0).Add(time.Duration(i+45)*time.Minute).Format("01021504") + ".JPG" }, nil,
			func(i int) time.Time { return at(0).Add(time.Duration(i+45) * time.Minute) }},
		{"a trail camera's to the second", func(i int) string { return at(i).Format("0102150405") + ".JPG" }, nil, at},
		{"a trail camera's with a counter", func(i int) string { return minutes(i/4).Format("01021504") + fmt.Sprintf("%04d.JPG", i+1) },
			func(i int) int { return i + 1 }, func(i int) time.Time { return minutes(i / 4) }},
		// DCF (CIPA DC-009): the last four digits are the file number, 0001 to 9999.
		{"over 9999 and on", func(i int) string { return fmt.Sprintf("P%07d.JPG", 1009990+i) }, func(i int) int { return 1009990 + i }, nil},
		{"over 9999 and from 0001", func(i int) string { return fmt.Sprintf("P100%04d.JPG", (9989+i)%9999+1) }, func(i int) int { return (9989+i)%9999 + 1 }, nil},
		{"the free characters counted on, without 0000", func(i int) string { return fmt.Sprintf("L%d%04d.JPG", 100+i/10, (9989+i)%9999+1) },
			func(i int) int { return (9989+i)%9999 + 1 }, nil},
		{"999 to a folder", func(i int) string { return fmt.Sprintf("%d_PANA/P1%02d%04d.JPG", 100+i/10, i/10, (989+i)%999+1) },
			func(i int) int { return (989+i)%999 + 1 }, nil},
		{"month and day", func(i int) string { return fmt.Sprintf("P%X%02d%04d.JPG", 9+i/20, 30-29*(i/20), i+70) }, func(i int) int { return i + 70 }, nil},
		{"a group and 0001 in another folder", func(i int) string { return fmt.Sprintf("%d/G00%d%04d.JPG", 100+i/10, 2+i/10, (9989+i)%9999+1) },
			func(i int) int { return (9989+i)%9999 + 1 }, nil},
		{"a folder's number before the counter, some like a month and a day", func(i int) string {
			return fmt.Sprintf("%d_PANA/P%d%04d.JPG", 100+i/20, 100+i/20, (979+i)%999+1)
		}, func(i int) int { return (979+i)%999 + 1 }, nil},
		{"a day and a counter without a mark", func(i int) string { return fmt.Sprintf("20261125%05d.jpg", i+10) }, func(i int) int { return i + 10 }, nil},
		{"a day and a long counter", func(i int) string { return fmt.Sprintf("20261125_%06d.jpg", i+1) }, func(i int) int { return i + 1 }, nil},
	} {
		t.Run(c.what, func(t *testing.T) {
			frames := make([]Frame, 30)
			for i := range frames {
				frames[i] = Frame{Name: c.name(i), ModTime: at(0).AddDate(0, 0, 3)}
			}
			for i, n := range readNames(frames, nil) {
				number := -1
				if c.number != nil {
					number = c.number(i)
				}
				var stamp time.Time
				if c.stamp != nil {
					stamp = c.stamp(i)
				}
				if n.number != number || !n.stamp.Equal(stamp) {
					t.Fatalf("%s: number %d, stamp %v; want %d, %v", frames[i].Name, n.number, n.stamp, number, stamp)
				}
			}
		})
	}
}

func at(i int) time.Time { return time.Date(2026, 11, 25, 10, 0, 7*i, 0, time.UTC) }

func minutes(i int) time.Time { return time.Date(2026, 11, 25, 10, 15*i, 0, 0, time.UTC) }

func TestNaturalOrder(t *testing.T) {
	for _, c := range [][2]string{{"a2", "a10"}, {"ridge-9-of-60", "ridge-10-of-60"}, {"IMG (2)", "IMG (11)"}, {"a", "b"}, {"a1", "a1b"}, {"x09", "x10"}} {
		if naturally(c[0], c[1]) >= 0 || naturally(c[1], c[0]) <= 0 {
			t.Errorf("%q does not come before %q", c[0], c[1])
		}
	}
}
