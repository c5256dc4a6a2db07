package format

import (
	"cmp"
	"encoding/binary"
	"io"
	"slices"

	"stillspan/internal/problem"
)

// Tags of TIFF 6.0 and its supplement 1, of Exif, and of Panasonic's raw files.
const (
	tagImageWidth      = 256
	tagImageLength     = 257
	tagBitsPerSample   = 258
	tagStripOffsets    = 273
	tagStripByteCounts = 279
	tagTileOffsets     = 324
	tagTileByteCounts  = 325
	tagSubIFDs         = 330
	tagJPEGOffset      = 513
	tagJPEGByteCount   = 514
	tagExifIFD         = 34665
	tagRawOffset       = 0x118
)

// Limits of one TIFF structure. Cameras use a dozen directories of up to a
// hundred entries; a row a strip of the tallest picture is far below
// maxTIFFParts.
const (
	maxTIFFDirs    = 64
	maxTIFFEntries = 4096
	maxTIFFParts   = 1 << 18
)

// tiffWalk walks the directories of a TIFF structure.
type tiffWalk struct {
	r      io.ReaderAt
	size   int64
	order  binary.ByteOrder
	seen   map[int64]bool
	damage *problem.Still
	data   []part // strips or tiles of the directory with most in them, the last one last
	most   int64
	large  *problem.Still // a picture that takes too much memory
}

// walkTIFF looks whether the directories of a TIFF, and of the raw formats
// built on it, reach inside the file, with their values and with the strips,
// tiles and JPEGs that they name, and finds the end of its largest picture. What
// only a reader of the maker's notes understands is passed over.
func walkTIFF(r io.ReaderAt, size int64) *tiffWalk {
	w := &tiffWalk{r: r, size: size, order: binary.LittleEndian, seen: map[int64]bool{}}
	head := make([]byte, 8)
	if n, err := r.ReadAt(head, 0); n < len(head) {
		w.damage = shortRead(err)
		return w
	}
	if head[0] == 'M' {
		w.order = binary.BigEndian
	}
	next := int64(w.order.Uint32(head[4:]))
	if next > size-2 {
		w.damage = cutOff
	}
	// A chain that leads out of the file ends there: what lies beyond the first
	// directory are thumbnails, and some writers end it so.
	for next >= 8 && next <= size-2 && w.damage == nil {
		next = w.dir(next)
	}
	return w
}

// dir walks one directory and those that it names, and returns where the next
// of its chain lies; 0 for none, or one that was walked already.
func (w *tiffWalk) dir(at int64) (next int64) {
	if w.seen[at] || len(w.seen) == maxTIFFDirs {
		return 0
	}
	w.seen[at] = true
	if at < 8 || at > w.size-2 {
		w.damage = cutOff
		return 0
	}
	count := make([]byte, 2)
	if _, err := w.r.ReadAt(count, at); err != nil {
		w.damage = shortRead(err)
		return 0
	}
	n := int64(w.order.Uint16(count))
	if n > maxTIFFEntries {
		w.damage = problem.Corrupt("a table in it is broken")
		return 0
	}
	table := make([]byte, 12*n+4)
	if got, err := w.r.ReadAt(table, at+2); int64(got) < 12*n {
		w.damage = shortRead(err)
		return 0
	}
	numbers := map[uint16][]int64{}
	for e := table[:12*n]; len(e) > 0; e = e[12:] {
		tag := w.order.Uint16(e)
		if _, twice := numbers[tag]; !twice {
			numbers[tag] = w.numbers(tag, e[:12])
		}
	}
	w.parts(numbers)
	w.measure(numbers)
	for _, tag := range []uint16{tagSubIFDs, tagExifIFD} {
		for _, sub := range numbers[tag] {
			if w.damage == nil {
				w.dir(sub)
			}
		}
	}
	return int64(w.order.Uint32(table[12*n:]))
}

// tiffTypeBytes is the size of one element by its type (TIFF 6.0, and the IFD
// type 13 of supplement 1); 0 for types unknown.
var tiffTypeBytes = [14]int64{0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4}

// numbers looks whether an entry's value lies in the file, and of the tags that
// are needed reads it.
func (w *tiffWalk) numbers(tag uint16, entry []byte) []int64 {
	kind, n := w.order.Uint16(entry[2:]), int64(w.order.Uint32(entry[4:]))
	if int(kind) >= len(tiffTypeBytes) || tiffTypeBytes[kind] == 0 {
		return nil
	}
	length := n * tiffTypeBytes[kind]
	inline := length <= 4
	at := int64(w.order.Uint32(entry[8:]))
	if !inline && at+length > w.size {
		w.damage = cutOff
		return nil
	}
	switch tag {
	case tagImageWidth, tagImageLength, tagBitsPerSample, tagStripOffsets, tagStripByteCounts, tagTileOffsets, tagTileByteCounts, tagSubIFDs, tagJPEGOffset, tagJPEGByteCount, tagExifIFD, tagRawOffset:
	default:
		return nil
	}
	if kind != 3 && kind != 4 && kind != 13 || n > maxTIFFParts {
		return nil
	}
	value := entry[8:12]
	if !inline {
		value = make([]byte, length)
		if _, err := w.r.ReadAt(value, at); err != nil {
			return nil
		}
	}
	list := make([]int64, n)
	for i := range list {
		if kind == 3 {
			list[i] = int64(w.order.Uint16(value[2*i:]))
		} else {
			list[i] = int64(w.order.Uint32(value[4*i:]))
		}
	}
	return list
}

// measure looks how large a directory's picture is.
func (w *tiffWalk) measure(numbers map[uint16][]int64) {
	across, down := numbers[tagImageWidth], numbers[tagImageLength]
	if len(across) != 1 || len(down) != 1 || w.large != nil {
		return
	}
	pixelBytes := int64(4)
	for _, bits := range numbers[tagBitsPerSample] {
		if bits > 8 {
			pixelBytes = 8
		}
	}
	w.large = tooLarge(across[0], down[0], pixelBytes)
}

// parts looks whether a directory's picture lies in the file.
func (w *tiffWalk) parts(numbers map[uint16][]int64) {
	var sum int64
	var data []part
	add := func(p part) {
		if p.end() > w.size {
			w.damage = cutOff
		}
		sum += p.length
		data = append(data, p)
	}
	if raw := numbers[tagRawOffset]; len(raw) == 1 && raw[0] > 0 {
		// Panasonic's: the data go on to the end of the file, and the strip's own
		// offset may be none.
		if raw[0] >= w.size {
			w.damage = cutOff
		}
		add(part{raw[0], max(0, w.size-raw[0])})
	} else {
		for offsets, counts := range map[uint16]uint16{tagStripOffsets: tagStripByteCounts, tagTileOffsets: tagTileByteCounts} {
			for i := range min(len(numbers[offsets]), len(numbers[counts])) {
				add(part{numbers[offsets][i], numbers[counts][i]})
			}
		}
	}
	if sum > w.most {
		slices.SortFunc(data, func(a, b part) int { return cmp.Compare(a.end(), b.end()) })
		w.most, w.data = sum, data
	}
	if at, n := numbers[tagJPEGOffset], numbers[tagJPEGByteCount]; len(at) == 1 && len(n) == 1 && at[0]+n[0] > w.size {
		w.damage = cutOff
	}
}
