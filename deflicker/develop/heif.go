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

// maxConverted bounds a converted picture, bytes.
const maxConverted = 512 << 20

// libheifBytes is more than libheif takes for a pixel, tiles and all.
const libheifBytes = 32

// HEIFCommand is the command that Convert runs, to write the picture to out; nil
// where libheif's tools are not installed.
func HEIFCommand(path, out string) []string {
	tool := heifTool()
	if tool == "" {
		return nil
	}
	return []string{tool, "-q", "100", plainName(path), out}
}

// Convert decodes a HEIF or AVIF still, which ffmpeg's image reader does not
// take: upright and all its tiles joined, into a JPEG of quality 100, or into a
// PNG of 16 bits where the still is deeper than 8. to is "jpg" or "png". The
// error is ErrNoHEIF, that of ctx, or says what libheif said. pixels is how many
// the headers state; libheif is given memory for no more.
func Convert(parent context.Context, path, to string, pixels int64) ([]byte, error) {
	dir, err := os.MkdirTemp("", "stillspan-heif-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	args := HEIFCommand(path, filepath.Join(dir, "a."+to))
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
	names, err := filepath.Glob(filepath.Join(dir, "a*."+to))
	if err != nil || len(names) == 0 {
		return nil, errors.New("libheif found no picture in it")
	}
	f, err := os.Open(names[0])
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxConverted+1))
	if err == nil && len(data) > maxConverted {
		err = errors.New("libheif wrote more than a picture")
	}
	return data, err
}
