package assemble

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"time"
)

// tail keeps the last bytes that a process wrote, for its error.
type tail struct {
	mu  sync.Mutex
	buf []byte
}

const tailBytes = 4096

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.buf = append(t.buf, p...)
	if n := len(t.buf) - tailBytes; n > 0 {
		t.buf = append(t.buf[:0], t.buf[n:]...)
	}
	return len(p), nil
}

// last is the last line that says something.
func (t *tail) last() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	lines := strings.Split(strings.TrimSpace(string(t.buf)), "\n")
	for i := len(lines) - 1; i >= 0; i-- {
		s := strings.TrimSpace(lines[i])
		if s != "" && !strings.HasPrefix(s, "Conversion failed") {
			return s
		}
	}
	return ""
}

func (t *tail) contains(s string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return bytes.Contains(t.buf, []byte(s))
}

// process readies a program under ctx: at its end the program is asked to
// stop, and killed when it does not within a few seconds.
func process(ctx context.Context, name string, args ...string) (*exec.Cmd, *tail) {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	cmd.WaitDelay = 3 * time.Second
	dieWithParent(cmd)
	t := &tail{}
	cmd.Stderr = t
	return cmd, t
}

// noSpace is how the system's library words ENOSPC, which ffmpeg prints.
const noSpace = "No space left on device"

// failure is what a process's end means to the user.
func failure(ctx context.Context, what string, err error, t *tail) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if t.contains(noSpace) {
		return &Error{Text: what + ", the disk is full", Try: "free some space, or write to another disk", Err: syscall.ENOSPC}
	}
	if s := t.last(); s != "" {
		return &Error{Text: what + ": " + s, Err: err}
	}
	return &Error{Text: what, Err: err}
}

// findTools looks for ffmpeg and ffprobe.
func findTools() error {
	for _, name := range []string{"ffmpeg", "ffprobe"} {
		if _, err := exec.LookPath(name); err != nil {
			return &Error{Text: fmt.Sprintf("no %s on this machine", name), Try: "install ffmpeg from the system's packages (Debian: apt-get install ffmpeg)"}
		}
	}
	return nil
}

// encoders asks this ffmpeg once what it can write.
var encoders = sync.OnceValues(func() (string, error) {
	out, err := exec.Command("ffmpeg", "-hide_banner", "-encoders").Output()
	return string(out), err
})

func hasEncoder(name string) (bool, error) {
	list, err := encoders()
	if err != nil {
		return false, fmt.Errorf("cannot ask ffmpeg for its encoders: %w", err)
	}
	for _, line := range strings.Split(list, "\n") {
		if f := strings.Fields(line); len(f) > 1 && f[1] == name {
			return true, nil
		}
	}
	return false, nil
}

// errStopped is given to the writer of a pipe whose reader has gone.
var errStopped = errors.New("stopped")

// FFmpegVersion is the first line of "ffmpeg -version": another version may
// encode otherwise. Empty when there is no ffmpeg.
var FFmpegVersion = sync.OnceValue(func() string {
	out, err := exec.Command("ffmpeg", "-version").Output()
	if err != nil {
		return ""
	}
	line, _, _ := strings.Cut(string(out), "\n")
	return strings.TrimSpace(line)
})
