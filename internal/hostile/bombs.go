// Package hostile makes stills that are meant to bring a decoder down, for tests
// and benches.
package hostile

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"hash/adler32"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
)

// Bombs are the names that Bomb knows, with the ending of a file of it and the
// words by which it has to be refused.
var Bombs = []struct{ Name, Ext, Refused string }{
	{"iccp", ".png", "unpack to more than"},
	{"ztxt", ".png", "unpack to more than"},
	{"itxt", ".png", "unpack to more than"},
	{"texts", ".png", "unpack to more than"},
	{"png-pixels", ".png", "million that are read"},
	{"png-deep", ".png", "million that are read"},
	{"tiff-pixels", ".tif", "million that are read"},
	{"jpeg-pixels", ".jpg", "million that are read"},
	{"jpeg-scans", ".jpg", "more scans than any program makes"},
	{"dng-pixels", ".dng", "too small to hold them"},
}

// Bomb is a still of the kind named: half a megabyte or less that unpacks, or
// states pixels, to a thousand times as much.
func Bomb(name string) ([]byte, error) {
	switch name {
	case "iccp":
		return smallPNG(chunk("iCCP", append([]byte("x\x00\x00"), zeros(400<<20)...))), nil
	case "ztxt":
		return smallPNG(chunk("zTXt", append([]byte("Comment\x00\x00"), zeros(400<<20)...))), nil
	case "itxt":
		return smallPNG(chunk("iTXt", append([]byte("Comment\x00\x01\x00en\x00x\x00"), zeros(400<<20)...))), nil
	case "texts":
		return smallPNG(bytes.Repeat(chunk("tEXt", []byte("k\x00")), 30000)), nil
	case "png-pixels":
		return flatPNG(12000, 12000, 8), nil
	case "png-deep":
		return flatPNG(8500, 8500, 16), nil
	case "tiff-pixels":
		return flatTIFF(12000, 12000), nil
	case "jpeg-pixels":
		return flatJPEG(16000, 16000), nil
	case "jpeg-scans":
		return scans(2000), nil
	case "dng-pixels":
		return emptyDNG(20000, 20000), nil
	}
	return nil, fmt.Errorf("no bomb %q", name)
}

func chunk(kind string, body []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	b = append(append(b, kind...), body...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

// repeated is zlib data (RFC 1950) that unpack to block n times over. The block
// is packed once: deflated data that end in an empty stored block may be strung
// together (RFC 1951).
func repeated(block []byte, n int) []byte {
	var unit bytes.Buffer
	f, err := flate.NewWriter(&unit, flate.BestCompression)
	if err != nil {
		panic(err) // the level is known
	}
	f.Write(block) // into memory
	f.Flush()
	sum := adler32.New()
	for range n {
		sum.Write(block)
	}
	b := append([]byte{0x78, 0xda}, bytes.Repeat(unit.Bytes(), n)...)
	return sum.Sum(append(b, 0x01, 0x00, 0x00, 0xff, 0xff))
}

func zeros(n int) []byte { return repeated(make([]byte, 1<<20), n>>20) }

// rows are how many rows are packed at once.
const rows = 50

// png is a picture of one colour, with the chunks extra before it.
func png(w, h, depth int, extra []byte) []byte {
	head := binary.BigEndian.AppendUint32(nil, uint32(w))
	head = binary.BigEndian.AppendUint32(head, uint32(h))
	head = append(head, byte(depth), 2, 0, 0, 0)
	row := append([]byte{0}, bytes.Repeat([]byte{0x55}, 3*w*depth/8)...)
	data := repeated(bytes.Repeat(row, rows), h/rows)
	b := append([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", head)...)
	b = append(append(b, extra...), chunk("IDAT", data)...)
	return append(b, chunk("IEND", nil)...)
}

func smallPNG(extra []byte) []byte { return png(320, 250, 8, extra) }

func flatPNG(w, h, depth int) []byte { return png(w, h, depth, nil) }

// ifd is one TIFF directory of longs, sorted by tag.
func ifd(entries ...[2]uint32) []byte {
	le := binary.LittleEndian
	b := le.AppendUint16(nil, uint16(len(entries)))
	for _, e := range entries {
		b = le.AppendUint16(b, uint16(e[0]))
		b = le.AppendUint16(b, 4)
		b = le.AppendUint32(b, 1)
		b = le.AppendUint32(b, e[1])
	}
	return le.AppendUint32(b, 0)
}

// flatTIFF is a grey picture in one packed strip.
func flatTIFF(w, h int) []byte {
	data := repeated(bytes.Repeat([]byte{0x55}, w*rows), h/rows)
	b := append([]byte("II*\x00\x08\x00\x00\x00"), data...)
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)))
	return append(b, ifd([2]uint32{256, uint32(w)}, [2]uint32{257, uint32(h)}, [2]uint32{258, 8}, [2]uint32{259, 8},
		[2]uint32{262, 1}, [2]uint32{273, 8}, [2]uint32{277, 1}, [2]uint32{278, uint32(h)}, [2]uint32{279, uint32(len(data))})...)
}

// emptyDNG states a sensor's picture and holds next to none of it.
func emptyDNG(w, h int) []byte {
	b := append([]byte("II*\x00\x08\x00\x00\x00"), bytes.Repeat([]byte{0x5a}, 5000)...)
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)))
	return append(b, ifd([2]uint32{254, 0}, [2]uint32{256, uint32(w)}, [2]uint32{257, uint32(h)}, [2]uint32{258, 16}, [2]uint32{259, 7},
		[2]uint32{262, 32803}, [2]uint32{273, 8}, [2]uint32{277, 1}, [2]uint32{278, uint32(h)}, [2]uint32{279, 5000}, [2]uint32{0xC612, 0x00000401})...)
}

// flatJPEG is a sound progressive picture of one colour: its scan says no more
// than that nothing changes.
func flatJPEG(w, h int) []byte {
	return progressive(w, h, 1)
}

// scans is a small picture that gives its DC terms once and then says n times
// over that no AC term is there.
func scans(n int) []byte { return progressive(320, 240, n) }

// progressive is a grey progressive JPEG (ITU-T T.81, annex G): a DC scan of
// zero differences, then n AC scans of ends of bands.
func progressive(w, h, n int) []byte {
	be := binary.BigEndian
	b := []byte{0xff, 0xd8, 0xff, 0xdb, 0, 67, 0}
	b = append(b, bytes.Repeat([]byte{1}, 64)...)
	b = append(b, 0xff, 0xc2, 0, 11, 8)
	b = be.AppendUint16(b, uint16(h))
	b = be.AppendUint16(b, uint16(w))
	b = append(b, 1, 1, 0x11, 0)
	// One code of one bit each: for the DC difference 0, and for an end of band
	// that runs over 16384 blocks and more (symbol 0xe0).
	table := func(class byte, symbol byte) {
		b = append(b, 0xff, 0xc4, 0, 20, class, 1)
		b = append(append(b, make([]byte, 15)...), symbol)
	}
	table(0x00, 0)
	table(0x10, 0xe0)
	blocks := ((w + 7) / 8) * ((h + 7) / 8)
	b = append(b, 0xff, 0xda, 0, 8, 1, 1, 0x00, 0, 0, 0)
	b = append(b, make([]byte, (blocks+7)/8)...)
	runs := (blocks + 1<<15 - 2) / (1<<15 - 1)
	for range n {
		b = append(b, 0xff, 0xda, 0, 8, 1, 1, 0x00, 1, 63, 0)
		// Each run: the code 0 and 14 bits, all but the last set.
		bits, have := uint64(0), uint(0)
		for range runs {
			bits, have = bits<<15|0x3ffe, have+15
			for have >= 8 {
				have -= 8
				b = append(b, byte(bits>>have))
				if byte(bits>>have) == 0xff {
					b = append(b, 0)
				}
			}
		}
		if have > 0 {
			b = append(b, byte(bits<<(8-have)))
		}
	}
	return append(b, 0xff, 0xd9)
}

// Sound is a small still of the kind of a bomb's, that nothing is wrong with.
func Sound(ext string) ([]byte, error) {
	switch ext {
	case ".png":
		return smallPNG(nil), nil
	case ".tif":
		return flatTIFF(320, 250), nil
	case ".jpg":
		img := image.NewGray(image.Rect(0, 0, 320, 240))
		for i := range img.Pix {
			img.Pix[i] = color.Gray{Y: uint8(i % 320)}.Y
		}
		var b bytes.Buffer
		err := jpeg.Encode(&b, img, nil)
		return b.Bytes(), err
	}
	return nil, fmt.Errorf("no still %q", ext)
}
