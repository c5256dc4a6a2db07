//go:build unix

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"stillspan/internal/hostile"
)

// A still that is made to bring decoders down is left out by name, and the clip
// is made of the others.
func TestBombsAreLeftOut(t *testing.T) {
	env, _ := dayEnv(t)
	for _, b := range hostile.Bombs {
		t.Run(b.Name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			bomb, err := hostile.Bomb(b.Name)
			if err != nil {
				t.Fatal(err)
			}
			sound, err := hostile.Sound(b.Ext)
			if b.Ext == ".dng" {
				sound, err = hostile.Sound(".jpg") // which no raw file stands beside
			}
			if err != nil {
				t.Fatal(err)
			}
			const bad = 4
			for i := 1; i <= 7; i++ {
				data, ext := sound, b.Ext
				if i == bad {
					data = bomb
				} else if ext == ".dng" {
					ext = ".jpg"
				}
				if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("IMG_%04d%s", i, ext)), data, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			clip := filepath.Join(t.TempDir(), "clip.mp4")
			cmd := exec.Command("stillspan", "render", dir, "-o", clip)
			cmd.Env = append(os.Environ(), env...)
			var out, errs bytes.Buffer
			cmd.Stdout, cmd.Stderr = &out, &errs
			if err := cmd.Run(); cmd.ProcessState.ExitCode() != exitFindings {
				t.Fatalf("%v\n%s%s", err, out.String(), errs.String())
			}
			said := strings.Join(strings.Fields(out.String()), " ")
			if !strings.Contains(said, b.Refused) || !strings.Contains(said, fmt.Sprintf("IMG_%04d%s:", bad, b.Ext)) {
				t.Errorf("%q does not name the still and say %q", said, b.Refused)
			}
			if !strings.Contains(said, "clip.mp4: 6 frames") {
				t.Errorf("not six frames: %s", said)
			}
			if mb := peakMB(cmd.ProcessState); mb > 600 {
				t.Errorf("one of its processes took %d MB", mb)
			}
		})
	}
}

// peakMB is the most memory that an ended process, or one that it waited for,
// had; 0 where the system does not tell.
func peakMB(p *os.ProcessState) int64 {
	usage := reflect.ValueOf(p.SysUsage()).Elem().FieldByName("Maxrss")
	if runtime.GOOS != "linux" || !usage.IsValid() {
		return 0
	}
	return usage.Int() >> 10 // getrusage(2): kilobytes
}
