package measure

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/gob"
	"fmt"
	"hash/crc32"
	"os"
	"time"

	"stillspan/internal/files"
)

// Whole is what a caller has made of the measurements of a sequence, all of them,
// as the cache keeps it: believed of the same files in the same state, as a
// measurement is, of what else it was made by, and of the same program, since
// another may make something else of the same measurements.
type Whole struct {
	c    *cache
	in   []Input
	with string
	key  key
}

// maxWhole bounds what is kept of a sequence, bytes.
const maxWhole = 256 << 20

// WholeOf names what is made of in, measured by opt. with says what else it is made
// by. It is nil where nothing is kept or believed.
func WholeOf(in []Input, opt Options, with string) *Whole {
	c := openCache(opt.filled())
	if c == nil || c.deaf {
		return nil
	}
	w := &Whole{c: c, in: in, with: fmt.Sprintf("%q %q", opt.Source, with)}
	var ok bool
	if w.key, ok = w.now(); !ok {
		return nil
	}
	return w
}

// now is the key by the state of the files at present; ok is false where that cannot
// be told from what it will be once one is written to.
func (w *Whole) now() (k key, ok bool) {
	program, err := os.Executable()
	if err != nil {
		return key{}, false
	}
	info, err := os.Stat(program)
	if err != nil {
		return key{}, false
	}
	h, now := sha256.New(), time.Now()
	fmt.Fprintf(h, "%s whole\n%q %+v\n%s\n", cacheVersion, program, files.IdentityOf(info), w.with)
	tells := map[uint64]bool{} // by device
	for i := range w.in {
		in := &w.in[i]
		info, err := os.Stat(in.Path)
		if err != nil || !info.Mode().IsRegular() {
			return key{}, false
		}
		id := files.IdentityOf(info)
		if _, asked := tells[id.Device]; !asked {
			tells[id.Device] = keepsChangeTime(in.Path)
		}
		if !tells[id.Device] || now.Sub(time.Unix(0, id.Changed)).Abs() < settled || !in.ModTime.IsZero() && (in.Size != id.Size || !in.ModTime.Equal(info.ModTime())) {
			return key{}, false
		}
		k, err := keyOf(*in, id, "")
		if err != nil {
			return key{}, false
		}
		h.Write(k[:])
	}
	return key(h.Sum(nil)), true
}

func keepsChangeTime(path string) bool {
	f, _, err := files.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	return files.KeepsChangeTime(f)
}

// Load reads what was stored, into a pointer to the same type, and reports whether
// it was there.
func (w *Whole) Load(into any) bool {
	if w == nil {
		return false
	}
	path := w.c.path(w.key)
	info, err := os.Stat(path)
	if err != nil || info.Size() > maxWhole {
		return false
	}
	data, err := os.ReadFile(path)
	n := len(data) - 4
	if err != nil || n < len(w.key) || crc32.Checksum(data[:n], castagnoli) != binary.LittleEndian.Uint32(data[n:]) || !bytes.HasPrefix(data, w.key[:]) {
		return false
	}
	return gob.NewDecoder(bytes.NewReader(data[len(w.key):n])).Decode(into) == nil
}

// Store keeps v, unless a file has changed since WholeOf or one of the findings
// depends on more than the files.
func (w *Whole) Store(v any, found map[int]Finding) {
	if w == nil {
		return
	}
	for _, f := range found {
		if !lasting(nil, &f) {
			return
		}
	}
	if k, ok := w.now(); !ok || k != w.key {
		return
	}
	b := bytes.NewBuffer(w.key[:])
	if gob.NewEncoder(b).Encode(v) != nil || b.Len()+4 > maxWhole {
		return
	}
	data := binary.LittleEndian.AppendUint32(b.Bytes(), crc32.Checksum(b.Bytes(), castagnoli))
	w.c.write(w.key, data)
	w.c.prune()
}
