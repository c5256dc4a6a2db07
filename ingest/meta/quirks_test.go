package meta

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"runtime"
	"testing"
	"time"
)

func binaryOrder(s section) binary.ByteOrder {
	if b, err := s.bytes(0, 1); err == nil && b[0] == 'M' {
		return binary.BigEndian
	}
	return binary.LittleEndian
}

// Both of these bring goexif down when it reads them unchecked: the first by
// an allocation of gigabytes, the second by reading for ever.
func TestKnownKillers(t *testing.T) {
	for name, block := range map[string][]byte{"overflowing length": overflowBlock, "directory loop": loopBlock} {
		for _, s := range []seed{{TIFF, block}, {JPEG, withEXIF(block)}} {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, err := check(t, s)
			runtime.ReadMemStats(&after)
			if err == nil {
				t.Errorf("%s: no error", name)
			}
			if grown := after.TotalAlloc - before.TotalAlloc; grown > 1<<20 {
				t.Errorf("%s: %d bytes were allocated", name, grown)
			}
		}
	}
	// The picture itself is sound: its size is still given.
	if f, _ := check(t, seed{JPEG, withEXIF(loopBlock)}); f.Width != 16 || f.Height != 8 {
		t.Errorf("facts beside the damage are lost: %+v", f)
	}
}

// Every cut of every seed is read without a panic and without delay.
func TestEveryCut(t *testing.T) {
	for _, s := range seeds() {
		for n := range s.data {
			check(t, seed{s.read, s.data[:n]})
		}
	}
}

func TestTimes(t *testing.T) {
	for _, c := range []struct {
		stamp
		want  string
		zoned bool
	}{
		{stamp{"2026:05:01 21:14:07", "", ""}, "2026-05-01T21:14:07Z", false},
		{stamp{"2026:05:01 21:14:07", "5", ""}, "2026-05-01T21:14:07.5Z", false},
		{stamp{"2026:05:01 21:14:07", "05", ""}, "2026-05-01T21:14:07.05Z", false},
		{stamp{"2026:05:01 21:14:07", "0370", "+02:00"}, "2026-05-01T21:14:07.037+02:00", true},
		{stamp{"2026:05:01 21:14:07", "37 ", "-09:30"}, "2026-05-01T21:14:07.37-09:30", true},
		{stamp{"2026:05:01 21:14:07", "1234567891", "Z"}, "2026-05-01T21:14:07.123456789Z", true},
		{stamp{"2026:05:01 21:14:07", "x", "   :  "}, "2026-05-01T21:14:07Z", false},
		{stamp{"2026:05:01 21:14:07", "", "+99:00"}, "2026-05-01T21:14:07Z", false},
		{stamp{"2026-05-01 21:14:07", "", ""}, "2026-05-01T21:14:07Z", false},
		{stamp{"2026: 5: 1  1:14:07", "", ""}, "2026-05-01T01:14:07Z", false},
		{stamp{"0000:00:00 00:00:00", "37", "+02:00"}, "0001-01-01T00:00:00Z", false},
		{stamp{"    :  :     :  :  ", "", ""}, "0001-01-01T00:00:00Z", false},
		{stamp{"2026:04:31 21:14:07", "", ""}, "0001-01-01T00:00:00Z", false},
		{stamp{"2026:05:01", "", ""}, "0001-01-01T00:00:00Z", false},
		{stamp{"", "", ""}, "0001-01-01T00:00:00Z", false},
	} {
		at, zoned := c.time()
		if got := at.Format(time.RFC3339Nano); got != c.want || zoned != c.zoned {
			t.Errorf("%q: %s, zone %v; want %s, %v", c.stamp, got, zoned, c.want, c.zoned)
		}
	}
}

func TestPictureBomb(t *testing.T) {
	data := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR\x00\x01\x00\x00\x00\x01\x00\x00\x08\x02\x00\x00\x00abcd\x00\x00\x00\x00IENDabcd")
	_, err := check(t, seed{PNG, data})
	var bad *FormatError
	if !errors.As(err, &bad) || bad.Part != PartPicture {
		t.Errorf("a picture of 65536 x 65536 gives %v", err)
	}
}

type failingReader struct{}

func (failingReader) ReadAt([]byte, int64) (int, error) { return 0, io.ErrClosedPipe }

func TestFailureToReadIsNoDamage(t *testing.T) {
	var bad *FormatError
	var f Facts
	if err := f.Read(failingReader{}, 1000, JPEG); !errors.Is(err, io.ErrClosedPipe) || errors.As(err, &bad) {
		t.Errorf("got %v", err)
	}
	// A file that shrank since its size was asked.
	if err := f.Read(bytes.NewReader(plainJPEG()), 1<<20, JPEG); errors.As(err, &bad) || err == nil {
		t.Errorf("got %v", err)
	}
}

// The number of bytes read does not follow the size of the file.
type countingReader struct {
	bytes.Reader
	n int64
}

func (c *countingReader) ReadAt(p []byte, off int64) (int, error) {
	n, err := c.Reader.ReadAt(p, off)
	c.n += int64(n)
	return n, err
}

func TestOnlyHeadersAreRead(t *testing.T) {
	data := append(withEXIF(seeds()[4].data), make([]byte, 8<<20)...)
	r := &countingReader{Reader: *bytes.NewReader(data)}
	if err := new(Facts).Read(r, int64(len(data)), JPEG); err != nil {
		t.Fatal(err)
	}
	if r.n > 64<<10 {
		t.Errorf("%d bytes of %d were read", r.n, len(data))
	}
}
