package format

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"io"
	"slices"

	"stillspan/ingest/meta"
	"stillspan/internal/problem"
)

var cutOff = problem.Truncated("the file ends before the picture does")

// endWindow is how far from the end the picture's end is looked for: cameras
// pad the file, and some write a preview after the picture.
const endWindow = 64 << 10

// jpegEnd looks for an EOI marker near the end. It can miss a cut that falls
// into a trailing preview; decoding finds that.
func jpegEnd(r io.ReaderAt, size int64) *problem.Still {
	if tailHolds(r, size, 512, "\xFF\xD9") || tailHolds(r, size, endWindow, "\xFF\xD9") {
		return nil
	}
	return cutOff
}

func tailHolds(r io.ReaderAt, size, window int64, mark string) bool {
	tail := make([]byte, min(size, window))
	n, err := r.ReadAt(tail, size-int64(len(tail)))
	if err != nil && err != io.EOF {
		return true // not the place to report a failing disk
	}
	return bytes.Contains(tail[:n], []byte(mark))
}

// tiffEnd walks the directories of a TIFF, whose samples may be of any value,
// and looks how large its picture is.
func tiffEnd(r io.ReaderAt, size int64) *problem.Still {
	w := walkTIFF(r, size)
	if w.damage == nil {
		return w.large
	}
	return w.damage
}

// rawTIFFEnd does the same for sensor data, which do not end in zeros.
func rawTIFFEnd(r io.ReaderAt, size int64) *problem.Still {
	w := walkTIFF(r, size)
	if w.damage != nil {
		return w.damage
	}
	if len(w.data) == 0 {
		return nil
	}
	return zeroed(r, size, w.data[len(w.data)-1])
}

// tiffData is where the sensor's data of a raw file built on TIFF lie.
func tiffData(r io.ReaderAt, size int64) []part {
	w := walkTIFF(r, size)
	if w.damage != nil {
		return nil
	}
	return w.data
}

// rafEnd looks at the parts of Fujifilm's raw container.
func rafEnd(r io.ReaderAt, size int64) *problem.Still {
	data, d := rafParts(r, size)
	if d != nil {
		return d
	}
	return zeroed(r, size, data)
}

func rafData(r io.ReaderAt, size int64) []part {
	data, _ := rafParts(r, size)
	return []part{data}
}

// rafParts looks at the parts that the header names: the JPEG, the list of facts
// and the sensor's data (exiftool's documentation of the format).
func rafParts(r io.ReaderAt, size int64) (data part, d *problem.Still) {
	head := make([]byte, 108)
	if n, err := r.ReadAt(head, 0); n < len(head) {
		return part{}, shortRead(err)
	}
	for at := 84; at < len(head); at += 8 {
		data = part{int64(binary.BigEndian.Uint32(head[at:])), int64(binary.BigEndian.Uint32(head[at+4:]))}
		if data.end() > size {
			return part{}, cutOff
		}
	}
	return data, nil
}

// x3fEnd looks for the directory of a Foveon file, to which its last four bytes
// point (the maker's published description of the format).
func x3fEnd(r io.ReaderAt, size int64) *problem.Still {
	var last, mark [4]byte
	if size < 4 {
		return cutOff
	}
	if _, err := r.ReadAt(last[:], size-4); err != nil {
		return shortRead(err)
	}
	if n, err := r.ReadAt(mark[:], int64(binary.LittleEndian.Uint32(last[:]))); n < 4 || string(mark[:]) != "SECd" {
		return shortRead(err)
	}
	return nil
}

// maxBoxes bounds the boxes of a file at its top level; cameras write a dozen.
const maxBoxes = 4096

// boxesEnd walks the boxes of a HEIF, AVIF, CR3 or JPEG XL file at their top
// level (ISO/IEC 14496-12): they have to fill the file.
func boxesEnd(r io.ReaderAt, size int64) *problem.Still {
	var data part
	head := make([]byte, 16)
	at := int64(0)
	for n := 0; n < maxBoxes && size-at >= 8; n++ {
		k, err := r.ReadAt(head, at)
		if k < 8 {
			return shortRead(err)
		}
		length := int64(binary.BigEndian.Uint32(head))
		switch {
		case length == 0 && head[4] == 0:
			return zeroed(r, size, data) // padding
		case length == 0:
			length = size - at
		case length == 1 && k == 16:
			if wide := binary.BigEndian.Uint64(head[8:]); wide < 1<<62 {
				length = int64(wide)
			}
		}
		if length < 8 {
			return problem.Corrupt(fmt.Sprintf("its structure makes no sense from byte %d on", at))
		}
		if length > size-at {
			return cutOff
		}
		if kind := string(head[4:8]); kind == "mdat" || kind == "jxlc" || kind == "jxlp" {
			data = part{at, length}
		}
		at += length
	}
	return zeroed(r, size, data)
}

// jxlEnd is boxesEnd for a JPEG XL in a container; a bare codestream says
// nothing of its end.
func jxlEnd(r io.ReaderAt, size int64) *problem.Still {
	var head [1]byte
	if _, err := r.ReadAt(head[:], 0); err != nil || head[0] == 0xff {
		return nil
	}
	return boxesEnd(r, size)
}

// shortRead is what a read that came short of its bytes tells; nothing where
// the disk failed, which is told elsewhere.
func shortRead(err error) *problem.Still {
	if err == nil || err == io.EOF {
		return cutOff
	}
	return nil
}

// part is a stretch of a file, bytes.
type part struct{ at, length int64 }

func (p part) end() int64 { return p.at + p.length }

// A copy that was interrupted leaves zeros from a sector's border on where its
// space was set aside. Samples may be zero, but hardly as many as manyZeros in
// a row, and a shorter run hardly begins at a border by chance.
const (
	sector    = 512
	someZeros = 4 << 10
	manyZeros = 64 << 10
)

// zeroed looks for zeros at the end of data.
func zeroed(r io.ReaderAt, size int64, data part) *problem.Still {
	if data.length < someZeros || data.end() > size {
		return nil
	}
	from := data.end()
	buf := make([]byte, manyZeros)
	window := int64(someZeros)
	for from > data.at {
		block := buf[:min(window, from-data.at)]
		if _, err := r.ReadAt(block, from-int64(len(block))); err != nil {
			return nil
		}
		kept := len(bytes.TrimRight(block, "\x00"))
		from -= int64(len(block) - kept)
		if kept > 0 {
			break
		}
		window = manyZeros
	}
	run := data.end() - from
	begins := from + sector - 1 - (from+sector-1)%sector
	switch {
	case run < someZeros, run < manyZeros && begins-from > 2 && from > data.at:
		return nil
	case from == data.at:
		return problem.Corrupt("its picture data are nothing but zeros")
	}
	return problem.Corrupt(fmt.Sprintf("the last %.0f %% of its picture data are nothing but zeros", max(1, 100*float64(run)/float64(data.length))))
}

// Walk reads the picture data of a raw file from end to end and looks for codes
// that make no sense, and for what a lost cluster leaves: zeros from one sector's border to another's. Samples, and
// what they are packed into, begin and end nowhere near both by chance. Runs at
// the ends of the data may be a sensor's covered rows.
func Walk(r io.ReaderAt, size int64, facts *meta.Facts) *problem.Still {
	find := ByName(facts.Format).Data
	if find == nil {
		return nil
	}
	parts := find(r, size)
	var sum int64
	for _, p := range parts {
		if sum += p.length; p.at < 0 || p.end() > size || sum > size {
			return nil // told elsewhere, or no camera's
		}
	}
	if sum < someZeros {
		return nil
	}
	if d := zeroSectors(r, parts); d != nil {
		return d
	}
	return losslessDamage(r, parts)
}

// zeroSectors looks for zeros from one sector's border to another's in the midst
// of data.
func zeroSectors(r io.ReaderAt, parts []part) *problem.Still {
	first := slices.MinFunc(parts, func(a, b part) int { return cmp.Compare(a.at, b.at) }).at
	data := part{first, parts[len(parts)-1].end() - first}
	buf := make([]byte, 1<<20)
	run, before := 0, sector // zero sectors in a row, and zeros at the end of the one before
	at := (data.at + sector - 1) / sector * sector
	whole := false // a sector with something in it came before
	for ; at < data.end(); at += int64(len(buf)) {
		block := buf[:min(int64(len(buf)), data.end()-at)]
		if _, err := r.ReadAt(block, at); err != nil {
			return nil // told elsewhere
		}
		for i := 0; i+sector <= len(block); i += sector {
			s := block[i : i+sector]
			if s[0] == 0 && s[sector/2] == 0 && bytes.Equal(s, zeroSector) {
				run++
				continue
			}
			lead := sector - len(bytes.TrimLeft(s, "\x00"))
			if whole && run >= someZeros/sector && before <= 2 && lead <= 2 {
				from := at + int64(i) - int64(run)*sector
				return problem.Corrupt(fmt.Sprintf("%d kB of its picture data, %.0f %% into them, are nothing but zeros", run*sector>>10, 100*float64(from-data.at)/float64(data.length)))
			}
			run, whole, before = 0, true, sector-len(bytes.TrimRight(s, "\x00"))
		}
	}
	return nil
}

var zeroSector = make([]byte, sector)
