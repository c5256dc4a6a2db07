package day

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"

	"stillspan/internal/files"
)

// Input is a file that a task reads, as it was when the task was planned.
type Input struct {
	Path    string `json:"path"`
	Bytes   int64  `json:"bytes"`
	ModTime int64  `json:"mtime_ns"` // nanoseconds since 1970
	// Changed and Inode tell a file that was written to, or another put in its
	// place, with the times put back.
	Changed int64  `json:"ctime_ns"`
	Inode   uint64 `json:"inode"`
	// Key is of the content: see ContentKey.
	Key string `json:"key"`
}

// Inputs looks at the files a task is going to read.
func Inputs(paths []string) ([]Input, error) {
	in := make([]Input, len(paths))
	for i, p := range paths {
		info, err := os.Stat(p)
		if err != nil {
			return nil, fmt.Errorf("cannot read still: %w", err)
		}
		key, err := ContentKey(p)
		if err != nil {
			return nil, fmt.Errorf("cannot read still: %w", err)
		}
		id := files.IdentityOf(info)
		in[i] = Input{p, id.Size, id.ModTime, id.Changed, id.Inode, key}
	}
	return in, nil
}

// sampleBytes are hashed at each end of a file.
const sampleBytes = 16 << 10

// ContentKey is a hash of a file's head and tail: enough to tell an edited or
// exchanged still, at a small part of the cost of reading it.
func ContentKey(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", err
	}
	h := sha256.New()
	if _, err := io.Copy(h, io.NewSectionReader(f, 0, sampleBytes)); err != nil {
		return "", err
	}
	if _, err := io.Copy(h, io.NewSectionReader(f, max(sampleBytes, info.Size()-sampleBytes), sampleBytes)); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)[:16]), nil
}

// Changed tells which input is no longer what it was; nil when all are.
func Changed(in []Input) error {
	for _, was := range in {
		info, err := os.Stat(was.Path)
		if err != nil {
			return err
		}
		if !files.IdentityOf(info).Same(files.Identity{Inode: was.Inode, Size: was.Bytes, ModTime: was.ModTime, Changed: was.Changed}) {
			return fmt.Errorf("%q changed since the day was planned", was.Path)
		}
	}
	return nil
}

// Fingerprint is of all that a result depends on: its inputs, what is done to
// them (any value that JSON can hold, in a fixed order) and the versions of
// the tools.
func Fingerprint(in []Input, what any, versions ...string) (string, error) {
	h := sha256.New()
	e := json.NewEncoder(h)
	for _, v := range slices.Concat([]any{in}, []any{what}, []any{versions}) {
		if err := e.Encode(v); err != nil {
			return "", err
		}
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
