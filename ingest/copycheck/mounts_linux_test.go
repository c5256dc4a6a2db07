package copycheck

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"stillspan/internal/bounded"
)

// A folder that shows the card's files again is no copy of it, however it is
// mounted.
func TestMountedAgain(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("mounting needs root")
	}
	dir := t.TempDir()
	card := filepath.Join(dir, "card")
	put(t, card, map[string]string{"DCIM/1": "one"})
	mount := func(name, source, kind string, flags uintptr, data string) string {
		t.Helper()
		at := filepath.Join(dir, name)
		if err := os.MkdirAll(at, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := unix.Mount(source, at, kind, flags, data); err != nil {
			t.Skip("mounting is not permitted here:", err)
		}
		t.Cleanup(func() { unix.Unmount(at, unix.MNT_DETACH) })
		return at
	}
	overlay := mount("overlay", "overlay", "overlay", 0, "lowerdir="+card+":"+t.TempDir())
	mount("dump/bind", filepath.Join(card, "DCIM"), "", unix.MS_BIND, "")
	other := mount("other", "tmpfs", "tmpfs", 0, "size=64k")
	put(t, other, map[string]string{"DCIM/1": "one"})
	for _, again := range []string{overlay, filepath.Join(overlay, "DCIM"), filepath.Join(dir, "dump")} {
		if _, err := Compare(t.Context(), card, []string{again}, Options{}); err == nil || !strings.Contains(err.Error(), "show the same files") {
			t.Errorf("%s: %v", again, err)
		}
	}
	if r, err := Compare(t.Context(), card, []string{other}, Options{}); err != nil || !r.Complete() {
		t.Errorf("a file system of its own: %+v, %v", r, err)
	}
}

func TestPlaces(t *testing.T) {
	mounts := readMounts([]byte(strings.Join([]string{
		"22 1 8:1 / / rw - ext4 /dev/sda1 rw",
		`23 22 8:17 / /media/my\040card rw shared:1 - vfat /dev/sdb1 rw`,
		"24 22 8:1 /home/x/card /mnt/bind rw - ext4 /dev/sda1 rw",
		`25 22 0:40 / /mnt/over rw - overlay overlay rw,lowerdir=/home/x/a\134:b:/media/my\040card,upperdir=/home/x/up,workdir=/home/x/w`,
		// A container's own root names layers that it cannot see.
		"26 22 0:41 / /box rw - overlay overlay rw,lowerdir=/box/l,upperdir=/box/u",
		"nonsense",
	}, "\n")))
	if len(mounts) != 5 {
		t.Fatalf("%d mounts", len(mounts))
	}
	for folder, want := range map[string]string{
		"/home/x":             "{8:1 /home/x}",
		"/media/my card/DCIM": "{8:17 /DCIM}",
		"/mnt/bind/DCIM":      "{8:1 /home/x/card/DCIM}",
		"/mnt/over/DCIM":      "{0:40 /DCIM} {8:1 /home/x/a:b/DCIM} {8:17 /DCIM} {8:1 /home/x/up/DCIM}",
		"/box/y":              "{0:41 /y} {0:41 /l/y} {0:41 /u/y}",
	} {
		var got []string
		for _, p := range placesOf(folder, mounts, nil) {
			got = append(got, "{"+p.device+" "+p.path+"}")
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s: %s, want %s", folder, strings.Join(got, " "), want)
		}
	}
}

func FuzzMounts(f *testing.F) {
	f.Add([]byte(`25 22 0:40 / /mnt/over rw - overlay overlay rw,lowerdir=/a\134:b:/c,upperdir=/d`), "/mnt/over/x")
	f.Fuzz(func(t *testing.T, data []byte, folder string) {
		bounded.Run(t, func() { placesOf(folder, readMounts(data), nil) })
	})
}
