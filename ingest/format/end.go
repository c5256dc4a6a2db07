package format

import (
	"bytes"
	"encoding/binary"
	"io"
)

// endWindow is how far from the end the picture's end is looked for: cameras
// pad the file, and some write a preview after the picture.
const endWindow = 64 << 10

// jpegCutOff looks for an EOI marker near the end. It can miss a cut that falls
// into a trailing preview; decoding finds that.
func jpegCutOff(r io.ReaderAt, size int64) bool {
	return !tailHolds(r, size, 512, "\xFF\xD9") && !tailHolds(r, size, endWindow, "\xFF\xD9")
}

func pngCutOff(r io.ReaderAt, size int64) bool {
	return !tailHolds(r, size, 512, "IEND\xAE\x42\x60\x82")
}

// tiffCutOff looks where the first picture's data ends.
func tiffCutOff(r io.ReaderAt, size int64) bool { return tiffDataEnd(r, size) > size }

func tailHolds(r io.ReaderAt, size, window int64, mark string) bool {
	tail := make([]byte, min(size, window))
	n, err := r.ReadAt(tail, size-int64(len(tail)))
	if err != nil && err != io.EOF {
		return true // not the place to report a failing disk
	}
	return bytes.Contains(tail[:n], []byte(mark))
}

// Tags of TIFF 6.0 that say where the picture's data lies.
const (
	stripOffsets    = 273
	stripByteCounts = 279
	tileOffsets     = 324
	tileByteCounts  = 325
)

// maxTIFFParts bounds the strips or tiles of one picture; a row a strip of the
// tallest picture is far below.
const maxTIFFParts = 1 << 18

// tiffDataEnd is where the last strip or tile of the first picture of a TIFF
// ends, in bytes from the start; 0 if that cannot be told.
func tiffDataEnd(r io.ReaderAt, size int64) int64 {
	head := make([]byte, 8)
	if _, err := r.ReadAt(head, 0); err != nil {
		return 0
	}
	var order binary.ByteOrder = binary.LittleEndian
	if head[0] == 'M' {
		order = binary.BigEndian
	}
	at := int64(order.Uint32(head[4:]))
	count := make([]byte, 2)
	if _, err := r.ReadAt(count, at); err != nil {
		return 0
	}
	table := make([]byte, 12*int64(order.Uint16(count)))
	if _, err := r.ReadAt(table, at+2); err != nil {
		return 0
	}
	parts := make(map[uint16][]int64)
	for ; len(table) > 0; table = table[12:] {
		switch tag := order.Uint16(table); tag {
		case stripOffsets, stripByteCounts, tileOffsets, tileByteCounts:
			if _, seen := parts[tag]; !seen {
				parts[tag] = tiffNumbers(r, order, table[:12], size)
			}
		}
	}
	var end int64
	for offsets, counts := range map[uint16]uint16{stripOffsets: stripByteCounts, tileOffsets: tileByteCounts} {
		for i := range min(len(parts[offsets]), len(parts[counts])) {
			end = max(end, parts[offsets][i]+parts[counts][i])
		}
	}
	return end
}

// tiffNumbers reads the values of an entry of shorts or longs.
func tiffNumbers(r io.ReaderAt, order binary.ByteOrder, entry []byte, size int64) []int64 {
	n := int64(order.Uint32(entry[4:]))
	width := map[uint16]int64{3: 2, 4: 4}[order.Uint16(entry[2:])]
	if width == 0 || n > maxTIFFParts || n*width > size {
		return nil
	}
	data := entry[8:12]
	if n*width > 4 {
		data = make([]byte, n*width)
		if _, err := r.ReadAt(data, int64(order.Uint32(entry[8:]))); err != nil {
			return nil
		}
	}
	list := make([]int64, n)
	for i := range list {
		if width == 2 {
			list[i] = int64(order.Uint16(data[2*i:]))
		} else {
			list[i] = int64(order.Uint32(data[4*i:]))
		}
	}
	return list
}
