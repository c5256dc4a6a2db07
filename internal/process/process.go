// Package process starts other programs so that none outlives its use: each
// has a context, a bounded tail of what it wrote to standard error, and ends
// with this program.
package process

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"time"
)

// Tail keeps the last 4 KB that a process wrote, for its error.
type Tail struct {
	mu  sync.Mutex
	buf []byte
}

const tailBytes = 4096

// Write keeps the end of what it is given; it never fails.
func (t *Tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.buf = append(t.buf, p...)
	if n := len(t.buf) - tailBytes; n > 0 {
		t.buf = append(t.buf[:0], t.buf[n:]...)
	}
	return len(p), nil
}

// Last is the last line that says something; "" for none.
func (t *Tail) Last() string {
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

// Contains reports whether s is among what is kept.
func (t *Tail) Contains(s string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return bytes.Contains(t.buf, []byte(s))
}

// Command readies a program under ctx: at its end the program is asked to
// stop, and killed when it does not within a few seconds.
func Command(ctx context.Context, name string, args ...string) (*exec.Cmd, *Tail) {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Cancel = func() error { return stop(cmd.Process) }
	cmd.WaitDelay = 3 * time.Second
	dieWithParent(cmd)
	t := &Tail{}
	cmd.Stderr = t
	return cmd, t
}

// What a program takes by itself, and for each of its threads, of which it may
// start a few for each CPU.
const (
	ownBytes    = 384 << 20
	threadBytes = 8 << 20
	perCPU      = 3
)

// Memory is what a program that is given a picture may take, bytes: its own, and
// picture for what it makes of it.
func Memory(picture int64) int64 {
	return ownBytes + perCPU*threadBytes*int64(runtime.NumCPU()) + picture
}

// Start starts a program that may make as much memory for itself, as far as the
// system lets it be bounded: pictures come from anywhere.
func Start(cmd *exec.Cmd, memory int64) error {
	if err := cmd.Start(); err != nil {
		return err
	}
	if err := bound(cmd, memory); err != nil && !errors.Is(err, syscall.ESRCH) { // it has ended
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		return fmt.Errorf("cannot bound its memory: %w", err)
	}
	return nil
}

// Run starts such a program and waits for it.
func Run(cmd *exec.Cmd, memory int64) error {
	if err := Start(cmd, memory); err != nil {
		return err
	}
	return cmd.Wait()
}

// Output keeps what a process writes, up to Limit bytes, and fails the
// process's writing after that.
type Output struct {
	Limit int
	buf   bytes.Buffer // not embedded: its ReadFrom would pass the limit by
}

// Reserve makes room for Limit bytes at once, where that many are expected.
func (o *Output) Reserve() { o.buf.Grow(o.Limit) }

// Write takes p whole or not at all.
func (o *Output) Write(p []byte) (int, error) {
	if o.buf.Len()+len(p) > o.Limit {
		return 0, errTooMuch
	}
	return o.buf.Write(p)
}

// Bytes is what was written.
func (o *Output) Bytes() []byte { return o.buf.Bytes() }

var errTooMuch = errors.New("the program wrote more than it should have")

// textBytes is the most that Text keeps of a program's words.
const textBytes = 1 << 20

// Text runs a program to its end and returns what it wrote to standard
// output, up to 1 MB. Where it fails, its last word on standard error leads
// the error.
func Text(ctx context.Context, name string, args ...string) (string, error) {
	cmd, tail := Command(ctx, name, args...)
	out := Output{Limit: textBytes}
	cmd.Stdout = &out
	err := Run(cmd, Memory(0))
	if last := tail.Last(); err != nil && last != "" {
		err = fmt.Errorf("%s: %w", last, err)
	}
	return string(out.Bytes()), err
}

// Quote writes a command as a line of a POSIX shell.
func Quote(args ...string) string {
	const plain = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-./:=,+@%"
	words := make([]string, len(args))
	for i, a := range args {
		words[i] = a
		if a == "" || strings.Trim(a, plain) != "" {
			words[i] = "'" + strings.ReplaceAll(a, "'", `'\''`) + "'"
		}
	}
	return strings.Join(words, " ")
}
