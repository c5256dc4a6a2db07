package shoot

import (
	"bytes"
	"encoding/gob"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"stillspan/internal/demo"
	"stillspan/internal/scene"
	"stillspan/internal/settings"
)

// What was made of a sequence is believed as long as its files, the settings and
// the program are what they were: the same comes out, and no bytes but these are
// judged by it.
func TestKept(t *testing.T) {
	dir := card(t, demo.Shoot{Frames: 14, Scene: scene.Options{Seed: 3, ScatterEV: 0.05}, Truncated: []int{9}})
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	t.Setenv("LocalAppData", os.Getenv("XDG_CACHE_HOME"))
	t.Setenv("HOME", os.Getenv("XDG_CACHE_HOME"))
	look := func(set func(v settings.Values)) (m *Measured, loaded bool) {
		v := settings.Values{}
		if set != nil {
			set(v)
		}
		f, err := Find(t.Context(), dir, v, nil)
		if err != nil {
			t.Fatal(err)
		}
		calls := 0
		if err := f.Shoots[0].Measure(t.Context(), func(done, total int) { calls++ }); err != nil {
			t.Fatal(err)
		}
		return f.Shoots[0].Measured, calls == 1
	}
	first, loaded := look(nil)
	if loaded {
		t.Fatal("loaded what nobody has stored")
	}
	if _, loaded = look(nil); loaded {
		t.Skip("this file system is of another time than the clock")
	}
	time.Sleep(2100 * time.Millisecond)
	if _, loaded = look(nil); loaded {
		t.Error("kept of files that had just been written")
	}
	again, loaded := look(nil)
	if !loaded {
		t.Skip("files here have no time of change")
	}
	if again.Kept != 13 && again.Kept != 14 {
		t.Errorf("%d frames kept", again.Kept)
	}
	again.Kept = first.Kept
	say := func(m *Measured) []byte {
		var b bytes.Buffer
		if err := gob.NewEncoder(&b).Encode(kept{*m, m.columns}); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	if !bytes.Equal(say(first), say(again)) {
		t.Errorf("first\n%+v\nagain\n%+v", first, again)
	}
	for k := range first.columns {
		if (first.columns[k] == nil) != (again.columns[k] == nil) || first.Local.EV != nil && (first.Local.EV[k] == nil) != (again.Local.EV[k] == nil) {
			t.Errorf("frame %d: nothing known is not nil", k)
		}
	}
	for name, set := range map[string]func(settings.Values){
		"thorough":     func(v settings.Values) { settings.Thorough.Set(v, true) },
		"no cache":     func(v settings.Values) { settings.Cache.Set(v, false) },
		"other meters": func(v settings.Values) { settings.KeepBands.Set(v, true) },
	} {
		if _, loaded := look(set); loaded {
			t.Errorf("%s: believed", name)
		}
	}
	names, _ := filepath.Glob(filepath.Join(dir, "*", "*", "*"))
	more, _ := filepath.Glob(filepath.Join(dir, "*"))
	names = slices.DeleteFunc(append(names, more...), func(n string) bool { i, err := os.Stat(n); return err != nil || i.IsDir() })
	data, err := os.ReadFile(names[3])
	if err != nil {
		t.Fatal(err)
	}
	info, _ := os.Stat(names[3])
	copy(data[len(data)/2:], bytes.Repeat([]byte{0xff, 0xd0}, 20))
	if err := os.WriteFile(names[3], data, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(names[3], info.ModTime(), info.ModTime()); err != nil {
		t.Fatal(err)
	}
	damaged, loaded := look(nil)
	if loaded || len(damaged.Damage) != len(first.Damage)+1 {
		t.Errorf("damaged with its time put back: loaded %v, damage %v, was %v", loaded, damaged.Damage, first.Damage)
	}
}
