package assemble

import (
	"context"
	"errors"
	"fmt"
	"os/exec"
	"strings"
	"sync"
	"syscall"

	"stillspan/internal/process"
)

// noSpace is how the system's library words ENOSPC, which ffmpeg prints.
const noSpace = "No space left on device"

// failure is what a process's end means to the user.
func failure(ctx context.Context, what string, err error, t *process.Tail) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if t.Contains(noSpace) {
		return &Error{Text: what + ", the disk is full", Try: "free some space, or write to another disk", Err: syscall.ENOSPC}
	}
	if s := t.Last(); s != "" {
		return &Error{Text: what + ": " + s, Err: err}
	}
	return &Error{Text: what, Err: err}
}

// findTools looks for ffmpeg and ffprobe.
func findTools() error {
	for _, name := range []string{"ffmpeg", "ffprobe"} {
		if _, err := exec.LookPath(name); err != nil {
			return &Error{Text: fmt.Sprintf("no %s on this machine", name), Try: "install ffmpeg from the system's packages (Debian: apt-get install ffmpeg; macOS: brew install ffmpeg; Windows: winget install ffmpeg)"}
		}
	}
	return nil
}

// encoders asks this ffmpeg once what it can write.
var encoders = sync.OnceValues(func() (string, error) {
	return process.Text(context.Background(), "ffmpeg", "-hide_banner", "-encoders")
})

// AskEncoders asks ffmpeg for its encoders while there is other work; Prepare waits
// for the answer.
func AskEncoders() {
	go func() { _, _ = encoders() }()
}

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

// FFmpeg readies an ffmpeg that says nothing but what goes wrong.
func FFmpeg(ctx context.Context, args ...string) (*exec.Cmd, *process.Tail) {
	return process.Command(ctx, "ffmpeg", silenced(args)...)
}

func silenced(args []string) []string {
	return append([]string{"-hide_banner", "-nostdin", "-loglevel", "error"}, args...)
}

// errStopped is given to the writer of a pipe whose reader has gone.
var errStopped = errors.New("stopped")

// FFmpegVersion is the first line of "ffmpeg -version": another version may
// encode otherwise. Empty when there is no ffmpeg.
var FFmpegVersion = sync.OnceValue(func() string {
	out, err := process.Text(context.Background(), "ffmpeg", "-version")
	if err != nil {
		return ""
	}
	line, _, _ := strings.Cut(out, "\n")
	return strings.TrimSpace(line)
})
