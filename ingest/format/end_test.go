package format

import (
	"bytes"
	"encoding/binary"
	"testing"

	"golang.org/x/image/tiff"

	"stillspan/internal/bounded"
)

// tiffOf is a TIFF 6.0 file of one directory with the given entries of longs,
// without the pixels.
func tiffOf(order binary.AppendByteOrder, entries map[uint16][]uint32) []byte {
	b := []byte("II*\x00")
	if order == binary.AppendByteOrder(binary.BigEndian) {
		b = []byte("MM\x00*")
	}
	b = order.AppendUint32(b, 8)
	b = order.AppendUint16(b, uint16(len(entries)))
	at := uint32(8 + 2 + 12*len(entries) + 4)
	var values []byte
	for tag, v := range entries {
		b = order.AppendUint16(b, tag)
		b = order.AppendUint16(b, 4)
		b = order.AppendUint32(b, uint32(len(v)))
		if len(v) == 1 {
			b = order.AppendUint32(b, v[0])
			continue
		}
		b = order.AppendUint32(b, at+uint32(len(values)))
		for _, x := range v {
			values = order.AppendUint32(values, x)
		}
	}
	return append(order.AppendUint32(b, 0), values...)
}

// Strips and tiles, either byte order (TIFF 6.0, sections 2 and 15).
func TestTIFFDataEnd(t *testing.T) {
	for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
		for want, entries := range map[int64]map[uint16][]uint32{
			1500:       {stripOffsets: {1000}, stripByteCounts: {500}},
			2700:       {stripOffsets: {1000, 2000, 1500}, stripByteCounts: {500, 700, 500}},
			4100:       {tileOffsets: {1000, 4000}, tileByteCounts: {100, 100}},
			8589934590: {stripOffsets: {1<<32 - 1}, stripByteCounts: {1<<32 - 1}},
			0:          {stripOffsets: {1000}},
		} {
			data := tiffOf(order, entries)
			if got := tiffDataEnd(bytes.NewReader(data), int64(len(data))); got != want {
				t.Errorf("%v: data ends at %d, want %d", entries, got, want)
			}
		}
	}
}

func FuzzCutOff(f *testing.F) {
	var b bytes.Buffer
	if err := tiff.Encode(&b, gray, nil); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add(tiffOf(binary.BigEndian, map[uint16][]uint32{tileOffsets: {1, 2}, tileByteCounts: {3, 4}}))
	f.Add(plainJPEG())
	f.Add([]byte("MM\x00*\xff\xff\xff\xff"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		bounded.Run(t, func() {
			for _, row := range table {
				if row.CutOff != nil {
					row.CutOff(bytes.NewReader(data), int64(len(data)))
				}
			}
		})
	})
}
