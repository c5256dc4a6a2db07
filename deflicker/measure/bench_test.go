package measure

import (
	"os"
	"path/filepath"
	"testing"
)

func BenchmarkBlocks(b *testing.B) {
	files, _ := filepath.Glob(os.Getenv("BENCH_JPEGS"))
	if len(files) == 0 {
		b.Skip("no pictures")
	}
	var r blocks
	r.maxPixels = 1 << 28
	m := &meter{}
	var raw [][]byte
	for _, f := range files {
		d, err := os.ReadFile(f)
		if err != nil {
			b.Fatal(err)
		}
		raw = append(raw, d)
	}
	buf := make([]byte, 0, 64<<20)
	b.SetBytes(int64(len(raw[0])))
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		buf = append(buf[:0], raw[i%len(raw)]...)
		if err := r.decode(buf); err != nil {
			b.Fatal(err)
		}
		if f := r.finding(); f != nil {
			b.Fatal(f.Text)
		}
		r.grid(m)
	}
}
