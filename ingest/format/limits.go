package format

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"stillspan/ingest/meta"
	"stillspan/internal/problem"
)

// MaxDecoded bounds what one still may take once it is decoded, bytes: 167
// million pixels of a JPEG, 125 million of other pictures of 8 bits a sample
// and 62 million of 16. Raw files, which a program of its own develops, are
// bounded by rawRatio.
const MaxDecoded = 480 << 20

// rawRatio is the most pixels to a byte that a raw file is believed: the
// tightest packing of sensor data in use takes a bit for several.
const rawRatio = 64

// tooLarge says that a picture would take more memory than a still may.
func tooLarge(w, h, pixelBytes int64) *problem.Still {
	if h <= 0 || w <= MaxDecoded/pixelBytes/h {
		return nil
	}
	return problem.TooLarge(fmt.Sprintf("%d x %d pixels are more than the %d million that are read of such a still", w, h, MaxDecoded/pixelBytes/1e6))
}

// Look tells what is wrong with a file's structure, its end and its size, as far
// as that shows without decoding. known is false where nothing is known of the
// format's structure.
func Look(r io.ReaderAt, size int64, facts *meta.Facts) (d *problem.Still, known bool) {
	f := ByName(facts.Format)
	w, h := int64(facts.Width), int64(facts.Height)
	switch {
	case f.Raw && h > 0 && w > rawRatio*size/h:
		return problem.Corrupt(fmt.Sprintf("it states %d x %d pixels and is too small to hold them", w, h)), true
	case f.PixelBytes > 0:
		d = tooLarge(w, h, f.PixelBytes)
	}
	if d == nil && f.Damage != nil {
		d = f.Damage(r, size)
	}
	return d, f.Damage != nil
}

// maxJPEGSegments bounds the segments before the frame header; cameras write a
// dozen, and a profile may take two hundred and more.
const maxJPEGSegments = 1024

// jpegDamage looks how large a progressive picture is, whose coefficients are
// all kept until its last scan, and for the end.
func jpegDamage(r io.ReaderAt, size int64) *problem.Still {
	head := make([]byte, 10+3*4)
	at := int64(2)
	for range maxJPEGSegments {
		if n, _ := r.ReadAt(head, at); n < 10 || head[0] != 0xff {
			break
		}
		kind, length := head[1], int64(binary.BigEndian.Uint16(head[2:]))
		switch {
		case kind == 0xff: // fill byte
			at++
			continue
		case kind == 0xc2: // progressive (T.81, B.2.2)
			h, w := int64(binary.BigEndian.Uint16(head[5:])), int64(binary.BigEndian.Uint16(head[7:]))
			if d := tooLarge(w, h, progressiveBytes(head[9:])); d != nil {
				return d
			}
		}
		if kind >= 0xc0 && kind <= 0xcf && kind != 0xc4 && kind != 0xc8 && kind != 0xcc || length < 2 {
			break
		}
		at += 2 + length
	}
	return jpegEnd(r, size)
}

// progressiveBytes is what a pixel takes: of each sample one byte, and two for
// its coefficient. c is the number of components and what the frame header says
// of each.
func progressiveBytes(c []byte) int64 {
	var samples, most int64
	for i := 0; i < min(int(c[0]), 4); i++ {
		s := int64(c[2+3*i]>>4) * int64(c[2+3*i]&15)
		samples += s
		most = max(most, s)
	}
	if c[0] == 1 || most == 0 {
		return 3
	}
	return (3*samples + most - 1) / most
}

// What the chunks of a PNG beside its picture may be and unpack to. Decoders
// unpack them whole, and a thousandth of a byte is enough for each one.
const (
	maxPNGChunks = 1 << 20
	maxPNGTexts  = 1024
	maxUnpacked  = 16 << 20
)

// pngDamage walks the chunks of a PNG (W3C PNG, third edition).
func pngDamage(r io.ReaderAt, size int64) *problem.Still {
	var head [26]byte
	if n, err := r.ReadAt(head[:], 0); n < len(head) {
		return shortRead(err)
	}
	w, h := int64(binary.BigEndian.Uint32(head[16:])), int64(binary.BigEndian.Uint32(head[20:]))
	pixelBytes := int64(4)
	if head[24] == 16 {
		pixelBytes = 8
	}
	if d := tooLarge(w, h, pixelBytes); d != nil {
		return d
	}
	left, texts := int64(maxUnpacked), 0
	at := int64(8)
	for range maxPNGChunks {
		n, err := r.ReadAt(head[:8], at)
		if n < 8 {
			return shortRead(err)
		}
		length, kind := int64(binary.BigEndian.Uint32(head[:])), string(head[4:8])
		if length > size-at-12 {
			return cutOff
		}
		switch kind {
		case "IEND":
			return nil
		case "tEXt", "sPLT":
			texts++
		case "iCCP", "zTXt", "iTXt":
			texts++
			left -= unpacked(io.NewSectionReader(r, at+8, length), kind, left)
		}
		if left < 0 || texts > maxPNGTexts {
			return problem.Undecodable("its texts and profiles unpack to more than any camera writes, and could bring a decoder down")
		}
		at += 12 + length
	}
	return problem.Undecodable("it is in more pieces than any program makes of a picture")
}

// unpacked is how many bytes a packed chunk unpacks to, one more than most where
// there are more.
func unpacked(chunk *io.SectionReader, kind string, most int64) int64 {
	// Keyword, zero, method; in an iTXt a flag before the method, and two more
	// texts that end in zeros after it.
	head := make([]byte, 4<<10)
	n, err := chunk.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return 0
	}
	head = head[:n]
	skip := bytes.IndexByte(head, 0) + 2
	if kind == "iTXt" {
		if skip >= len(head) || head[skip-1] == 0 {
			return chunk.Size() // not packed
		}
		skip++
		for range 2 {
			if skip > len(head) {
				return 0
			}
			i := bytes.IndexByte(head[skip:], 0)
			if i < 0 {
				return 0
			}
			skip += i + 1
		}
	}
	z, err := zlib.NewReader(io.NewSectionReader(chunk, int64(skip), chunk.Size()-int64(skip)))
	if err != nil {
		return 0
	}
	defer z.Close()
	got, _ := io.Copy(io.Discard, io.LimitReader(z, most+1))
	return got
}
