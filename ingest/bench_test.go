package ingest

import (
	"fmt"
	"os"
	"regexp"
	"strconv"
	"testing"
	"time"
)

// BenchmarkScan reads the headers of 2,500 and 10,000 stills: the time for one
// frame, the ratio of the two, which is 1 for work in proportion to the number
// of frames, and the most memory the process held, to be below 150 MB.
func BenchmarkScan(b *testing.B) {
	perFrame := make(map[int]float64)
	for _, n := range []int{2500, 10000} {
		dir := b.TempDir()
		for i := range n {
			still(b, dir, fmt.Sprintf("FRAM%05d.JPG", i+1), evening.Add(time.Duration(i)*5*time.Second), nil)
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				scan(b, dir)
			}
			perFrame[n] = float64(b.Elapsed().Nanoseconds()) / float64(b.N) / float64(n) / 1e3
			b.ReportMetric(perFrame[n], "us/frame")
			b.ReportMetric(peakMB(), "peak-MB")
			if n == 10000 && perFrame[2500] > 0 {
				b.ReportMetric(perFrame[10000]/perFrame[2500], "x-per-frame")
			}
		})
	}
}

var highWater = regexp.MustCompile(`VmHWM:\s*(\d+) kB`)

// peakMB is the most memory the process ever held, where the system tells
// (Linux, proc(5)); else 0.
func peakMB() float64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	m := highWater.FindSubmatch(status)
	if m == nil {
		return 0
	}
	kB, _ := strconv.ParseFloat(string(m[1]), 64)
	return kB / 1024
}
