package develop

import (
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"

	"stillspan/internal/process"
)

// HEIFPackage says where libheif's tools come from.
const HEIFPackage = "libheif's tools from the system's packages (Debian: apt-get install libheif-examples)"

// ErrNoHEIF says that libheif's tools are not installed.
var ErrNoHEIF = errors.New("HEIF and AVIF stills need libheif's heif-convert, which was not found")

// heifTool is libheif's decoder; newer releases call it heif-dec.
func heifTool() string {
	for _, name := range []string{"heif-convert", "heif-dec"} {
		if _, err := exec.LookPath(name); err == nil {
			return name
		}
	}
	return ""
}

// maxJPEG bounds a converted picture, bytes.
const maxJPEG = 512 << 20

// libheifBytes is more than libheif takes for a pixel, tiles and all.
const libheifBytes = 32

// HEIFCommand is the command that JPEG runs, to write the picture to out; nil
// where libheif's tools are not installed.
func HEIFCommand(path, out string) []string {
	tool := heifTool()
	if tool == "" {
		return nil
	}
	return []string{tool, "-q", "100", plainName(path), out}
}

// JPEG decodes a HEIF or AVIF still, which ffmpeg's image reader does not take,
// into a JPEG of quality 100: upright, all its tiles joined, 8 bits deep. The
// error is ErrNoHEIF, that of ctx, or says what libheif said. pixels is how many
// the headers state; libheif is given memory for no more.
func JPEG(parent context.Context, path string, pixels int64) ([]byte, error) {
	dir, err := os.MkdirTemp("", "stillspan-heif-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	args := HEIFCommand(path, filepath.Join(dir, "a.jpg"))
	if args == nil {
		return nil, ErrNoHEIF
	}
	ctx, cancel := context.WithTimeout(parent, timeout)
	defer cancel()
	cmd, t := process.Command(ctx, args[0], args[1:]...)
	if err := ending(parent, ctx, "libheif", process.Run(cmd, process.Memory(libheifBytes*pixels)), t); err != nil {
		return nil, err
	}
	// Of a file with several pictures each is written, under a numbered name.
	names, err := filepath.Glob(filepath.Join(dir, "a*.jpg"))
	if err != nil || len(names) == 0 {
		return nil, errors.New("libheif found no picture in it")
	}
	f, err := os.Open(names[0])
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxJPEG+1))
	if err == nil && len(data) > maxJPEG {
		err = errors.New("libheif wrote more than a picture")
	}
	return data, err
}
