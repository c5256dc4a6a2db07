//go:build unix

// Package bounded holds fuzz tests to what one input may cost, whatever its
// bytes.
package bounded

import (
	"runtime/metrics"
	"syscall"
	"testing"
	"time"
)

// What one input may cost. Memory is all that was asked for while it was read,
// freed or not, which is never less than what was held at once.
const (
	maxBytes = 256 << 20
	maxTime  = time.Second
)

// Run calls read, which reads one input, and fails t when that cost more than
// 256 MB of memory or a second of processor time. Processor time, since a
// machine that is busy or halted says nothing about the input.
func Run(t testing.TB, read func()) {
	t.Helper()
	bytes, used := allocated(), cpu(t)
	read()
	if n := allocated() - bytes; n > maxBytes {
		t.Errorf("one input took %d MB of memory", n>>20)
	}
	if d := cpu(t) - used; d > maxTime {
		t.Errorf("one input took %v", d)
	}
}

func allocated() uint64 {
	sample := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}

func cpu(t testing.TB) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
