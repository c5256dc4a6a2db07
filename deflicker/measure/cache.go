package measure

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"time"

	"stillspan/deflicker/pictures"
	"stillspan/internal/files"
)

// cache keeps measurements, one file each, named by the key of what was
// measured. A file is written aside and renamed, so that processes may share
// it; one that is broken or of another version is as good as none. Trouble
// with the cache is never trouble with the work: it only costs time.
type cache struct {
	dir     string
	limit   int64
	deaf    bool // keeps, but gives nothing
	written atomic.Int64
}

// cacheVersion is part of every key: a change of format or of what is measured
// changes it.
const cacheVersion = "stillspan measure 3"

// key names a measurement: a SHA-256 of which file was measured, in which state
// and by which path, of what its headers said, and of what was measured. No
// copy of a file has its key, and neither has the file once it was written to:
// what was found out about bytes is believed of these bytes alone.
type key [sha256.Size]byte

func keyOf(in Input, id files.Identity, source string) (key, error) {
	path, err := filepath.Abs(in.Path)
	if err != nil {
		return key{}, err
	}
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%q\n%q\n%+v\n%+v", cacheVersion, source, path, id, in.Facts)
	return key(h.Sum(nil)), nil
}

// settled is how long a file has to lie unchanged before it is measured for
// the measurement to be kept: FAT counts time in steps of two seconds, and what
// is written within the step would not show.
const settled = 2 * time.Second

// keeps tells whether a file in the state was can be told, at the time now,
// from what it will be once it is written to.
func keeps(f *os.File, was files.Identity, now time.Time) bool {
	return now.Sub(time.Unix(0, was.Changed)).Abs() >= settled && files.KeepsChangeTime(f)
}

// openCache is the cache of opt; nil where there is to be none, or no folder
// for it.
func openCache(opt Options) *cache {
	if opt.NoCache {
		return nil
	}
	dir := opt.CacheDir
	if dir == "" {
		base, err := os.UserCacheDir()
		if err != nil {
			return nil
		}
		dir = filepath.Join(base, "stillspan")
	}
	return &cache{dir: filepath.Join(dir, "measure"), limit: opt.CacheBytes, deaf: opt.Verify}
}

func (c *cache) path(k key) string {
	name := hex.EncodeToString(k[:])
	return filepath.Join(c.dir, name[:2], name[2:])
}

// lasting reports whether a result depends on the file alone: not on a program
// that may be installed or a card that may be put in again.
func lasting(g *Grid, f *Finding) bool {
	if f == nil {
		return g != nil
	}
	return f.Kind == "truncated" || f.Kind == "corrupt"
}

// maxEntry bounds a cache file: a grid of MaxCells x MaxCells, what is kept of
// the picture, and some text.
const maxEntry = 7*MaxCells*MaxCells + 360*360 + 4*pictures.CellSide*pictures.CellSide + 4096

func (c *cache) get(k key) (*Grid, *Finding, bool) {
	if c.deaf {
		return nil, nil, false
	}
	info, err := os.Stat(c.path(k))
	if err != nil || info.Size() > maxEntry {
		return nil, nil, false
	}
	data, err := os.ReadFile(c.path(k))
	if err != nil {
		return nil, nil, false
	}
	return decodeEntry(data, k)
}

func (c *cache) put(k key, g *Grid, f *Finding) { c.write(k, encodeEntry(k, g, f)) }

func (c *cache) write(k key, data []byte) {
	path := c.path(k)
	if os.MkdirAll(filepath.Dir(path), 0o700) != nil {
		return
	}
	if files.WriteLight(path, data) != nil {
		return
	}
	c.written.Add(int64(len(data)))
}

// staleTemp is the age at which a temporary file is one that a killed process
// has left.
const staleTemp = time.Hour

// prune removes the oldest entries until the cache is a tenth below its limit,
// if it was above. A run that wrote nothing does not look.
func (c *cache) prune() {
	if c == nil || c.written.Load() == 0 {
		return
	}
	type entry struct {
		path string
		size int64
		time time.Time
	}
	var all []entry
	var sum int64
	filepath.WalkDir(c.dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return nil
		}
		info, err := d.Info()
		if err != nil {
			return nil
		}
		if d.Name()[0] == '.' && time.Since(info.ModTime()) > staleTemp {
			os.Remove(path)
			return nil
		}
		all = append(all, entry{path, info.Size(), info.ModTime()})
		sum += info.Size()
		return nil
	})
	if sum <= c.limit {
		return
	}
	slices.SortFunc(all, func(a, b entry) int {
		return cmp.Or(a.time.Compare(b.time), cmp.Compare(a.path, b.path))
	})
	for _, e := range all {
		if sum <= c.limit-c.limit/10 {
			return
		}
		if os.Remove(e.path) == nil {
			sum -= e.size
		}
	}
}

// Codes are kept in 16 bits: from a code of 4 of 255 on, a step is below 0.002
// EV and the error at most half of it.
func wideCode(v float64) uint16 { return uint16(math.Round(65535 * min(max(v, 0), 1))) }

// round gives the grid the codes it will have out of the cache, so that a
// second run gives the same numbers as the first.
func (g *Grid) round() {
	for _, code := range g.Code {
		for i, v := range code {
			code[i] = float64(wideCode(v)) / 65535
		}
	}
}

// sourceNames are the sources by their code in an entry.
var sourceNames = []string{"", SourcePreview, SourceReduced, SourceFull, SourceDeveloped}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// encodeEntry is an entry: key; finding; grid; CRC-32C of all before it. All
// numbers are little-endian.
func encodeEntry(k key, g *Grid, f *Finding) []byte {
	le := binary.LittleEndian
	b := append(make([]byte, 0, maxEntry), k[:]...)
	text := func(s string) {
		s = s[:min(len(s), 1000)]
		b = le.AppendUint16(b, uint16(len(s)))
		b = append(b, s...)
	}
	number := func(v float64) { b = le.AppendUint64(b, math.Float64bits(v)) }
	if f == nil {
		f = &Finding{}
	}
	text(f.Kind)
	text(f.Text)
	text(f.Try)
	number(f.Left)
	if g == nil {
		g = &Grid{}
	}
	b = append(b, byte(slices.Index(sourceNames, g.Source)))
	b = le.AppendUint16(b, uint16(g.W))
	b = le.AppendUint16(b, uint16(g.H))
	number(g.HighShare)
	number(g.LowShare)
	number(g.MeanLum)
	for _, code := range g.Code {
		for _, v := range code {
			b = le.AppendUint16(b, wideCode(v))
		}
	}
	for _, clip := range g.Clip {
		b = append(b, byte(math.Round(255*clip)))
	}
	b = appendLook(b, &g.Look)
	return le.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

// decodeEntry reads what encodeEntry wrote; ok is false for anything else.
func decodeEntry(data []byte, k key) (g *Grid, f *Finding, ok bool) {
	le := binary.LittleEndian
	n := len(data) - 4
	if n < 0 || crc32.Checksum(data[:n], castagnoli) != le.Uint32(data[n:]) || !bytes.HasPrefix(data[:n], k[:]) {
		return nil, nil, false
	}
	// The checksum is right, so this process or one of its like wrote it; the
	// lengths are checked all the same.
	r := bytes.NewBuffer(data[len(k):n])
	text := func() string {
		if r.Len() < 2 {
			return ""
		}
		return string(r.Next(int(le.Uint16(r.Next(2)))))
	}
	number := func() float64 {
		if r.Len() < 8 {
			return math.NaN()
		}
		return math.Float64frombits(le.Uint64(r.Next(8)))
	}
	f = &Finding{Kind: text(), Text: text(), Try: text(), Left: number()}
	if f.Kind == "" {
		f = nil
	}
	if r.Len() < 5 {
		return nil, nil, false
	}
	source := int(r.Next(1)[0])
	g = &Grid{Kept: true}
	g.W, g.H = int(le.Uint16(r.Next(2))), int(le.Uint16(r.Next(2)))
	g.HighShare, g.LowShare, g.MeanLum = number(), number(), number()
	if source == 0 && f != nil {
		return nil, f, true
	}
	cells := g.W * g.H
	if source >= len(sourceNames) || r.Len() < 7*cells {
		return nil, nil, false
	}
	g.Source = sourceNames[source]
	for c := range g.Code {
		g.Code[c] = make([]float64, cells)
		codes := r.Next(2 * cells)
		for i := range g.Code[c] {
			g.Code[c][i] = float64(le.Uint16(codes[2*i:])) / 65535
		}
	}
	g.Clip = make([]float64, cells)
	for i, clip := range r.Next(cells) {
		g.Clip[i] = float64(clip) / 255
	}
	g.Look, ok = readLook(r)
	return g, f, ok
}

// appendLook appends what is kept of the picture.
func appendLook(b []byte, s *pictures.Still) []byte {
	le := binary.LittleEndian
	for _, n := range []int{s.Width, s.Pixels, s.W, s.H, s.CW, s.CH} {
		b = le.AppendUint32(b, uint32(n))
	}
	coded := byte(0)
	if s.Coded {
		coded = 1
	}
	b = append(append(b, coded), s.Luma...)
	for _, d := range s.Detail {
		b = le.AppendUint32(b, math.Float32bits(d))
	}
	return b
}

// readLook reads what appendLook wrote, up to the end.
func readLook(r *bytes.Buffer) (s pictures.Still, ok bool) {
	le := binary.LittleEndian
	const head = 6*4 + 1
	if r.Len() < head {
		return s, false
	}
	for _, n := range []*int{&s.Width, &s.Pixels, &s.W, &s.H, &s.CW, &s.CH} {
		if *n = int(le.Uint32(r.Next(4))); *n > maxEntry {
			return s, false // products of these stay far from overflow
		}
	}
	s.Coded = r.Next(1)[0] == 1
	if r.Len() != s.W*s.H+4*s.CW*s.CH {
		return s, false
	}
	s.Luma = bytes.Clone(r.Next(s.W * s.H))
	s.Detail = make([]float32, s.CW*s.CH)
	for i := range s.Detail {
		s.Detail[i] = math.Float32frombits(le.Uint32(r.Next(4)))
	}
	return s, true
}
