package assemble

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// readClip has ffmpeg decode a clip, or an image sequence's folder, to small
// packed RGB frames.
func readClip(t *testing.T, path string, w, h int, fn func(i int, rgb []byte)) {
	t.Helper()
	in := []string{"-i", file(path)}
	if entries, err := os.ReadDir(path); err == nil && len(entries) > 0 {
		in = []string{"-f", "image2", "-i", filepath.Join(strings.ReplaceAll(path, "%", "%%"), "%06d"+filepath.Ext(entries[len(entries)-1].Name()))}
	}
	args := append([]string{"-v", "error", "-nostdin"}, in...)
	cmd := exec.Command("ffmpeg", append(args, "-vf",
		fmt.Sprintf("scale=%d:%d:flags=area+full_chroma_int+full_chroma_inp,format=rgb24", w, h), "-vsync", "passthrough", "-f", "rawvideo", "pipe:1")...)
	var said strings.Builder
	cmd.Stderr = &said
	pipe, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 3*w*h)
	for i := 0; ; i++ {
		if _, err := io.ReadFull(pipe, buf); err != nil {
			break
		}
		fn(i, buf)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatalf("%s: %v: %s", path, err, said.String())
	}
}
