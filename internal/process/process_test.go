package process_test

import (
	"context"
	"errors"
	"os/exec"
	"runtime"
	"strings"
	"testing"
	"time"

	"stillspan/internal/process"
)

func TestOutputIsBounded(t *testing.T) {
	for _, c := range []struct {
		limit int
		fails bool
	}{{100000, false}, {99999, true}} {
		cmd, _ := process.Command(t.Context(), "sh", "-c", "head -c 100000 /dev/zero")
		out := process.Output{Limit: c.limit}
		cmd.Stdout = &out
		if err := cmd.Run(); (err != nil) != c.fails || len(out.Bytes()) > c.limit {
			t.Errorf("limit %d: %d bytes kept, %v", c.limit, len(out.Bytes()), err)
		}
	}
}

func TestTailKeepsTheEnd(t *testing.T) {
	cmd, tail := process.Command(t.Context(), "sh", "-c", `i=0; while [ $i -lt 3000 ]; do echo "line $i" >&2; i=$((i+1)); done; echo "Conversion failed!" >&2; exit 1`)
	if err := cmd.Run(); err == nil {
		t.Error("no error")
	}
	if got := tail.Last(); got != "line 2999" {
		t.Errorf("last line %q", got)
	}
	if tail.Contains("line 100\n") || !tail.Contains("line 2990\n") {
		t.Error("not the end is kept")
	}
}

// A program that will not stop is killed.
func TestCommandEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cmd, tail := process.Command(ctx, "sh", "-c", `trap "" TERM; echo up >&2; while :; do sleep 1; done`)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for !strings.Contains(tail.Last(), "up") {
		time.Sleep(10 * time.Millisecond)
	}
	cancel()
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()
	select {
	case err := <-done:
		if err == nil {
			t.Error("no error")
		}
	case <-time.After(time.Minute):
		t.Fatal("it goes on")
	}
}

// A real shell reads back what was quoted.
func TestQuote(t *testing.T) {
	odd := []string{"printf", "<%s>", "it's", `a "b" $HOME`, "new\nline", "100%a", "*", "", "-x", "`id`"}
	got, err := process.Text(t.Context(), "sh", "-c", process.Quote(odd...))
	if want := "<" + strings.Join(odd[2:], "><") + ">"; err != nil || got != want {
		t.Errorf("%q, %v; want %q", got, err, want)
	}
	if got := process.Quote("ffmpeg", "-i", "a/b.jpg"); got != "ffmpeg -i a/b.jpg" {
		t.Errorf("plain words quoted: %s", got)
	}
}

func TestTextTellsWhatFailed(t *testing.T) {
	out, err := process.Text(t.Context(), "sh", "-c", "echo said; echo why >&2; exit 3")
	x, ok := errors.AsType[*exec.ExitError](err)
	if out != "said\n" || !ok || x.ExitCode() != 3 || !strings.HasPrefix(err.Error(), "why: ") {
		t.Errorf("%q, %v", out, err)
	}
}

// A program that takes more memory than its bound is refused it.
func TestMemoryIsBounded(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("running programs are bounded on Linux only")
	}
	for _, c := range []struct {
		bound int64
		fails bool
	}{{process.Memory(0), false}, {64 << 20, true}} {
		// The shell waits, so that its bound is in place, and takes 200 MB.
		cmd, _ := process.Command(t.Context(), "sh", "-c", "sleep 0.1; x=$(head -c 100000000 /dev/zero | tr '\\0' x); test ${#x} = 100000000")
		if err := process.Run(cmd, c.bound); (err != nil) != c.fails {
			t.Errorf("bound to %d bytes: %v", c.bound, err)
		}
	}
}
