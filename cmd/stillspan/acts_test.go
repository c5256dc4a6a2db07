//go:build linux

package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"image/jpeg"
	"image/png"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/image/tiff"

	"stillspan/internal/scene"
)

// TestHostileActs does HARM_ACTS hostile acts (20 unless stated; 'make test-harm'
// does 200) from the list that HARM_SEED draws, each on the real program in a
// world of its own, and holds against each that no original and no bystander
// has changed, that every failure has an exit code and names what it is about,
// that what was damaged is named, and that neither a process nor a half-written
// file outlives it. An act alone: go test -run 'TestHostileActs/017'.
func TestHostileActs(t *testing.T) {
	seed, n := uint64(number(t, "HARM_SEED", 1)), number(t, "HARM_ACTS", 20)
	w := drawWorld(t)
	order := rand.New(rand.NewPCG(seed, 0)).Perm(len(acts))
	places := make(chan struct{}, max(2, runtime.NumCPU()))
	for i := range n {
		kind := acts[order[i%len(acts)]]
		t.Run(fmt.Sprintf("%03d-%s", i, kind.name), func(t *testing.T) {
			t.Parallel()
			places <- struct{}{}
			defer func() { <-places }()
			w.enter(t, rand.New(rand.NewPCG(seed, uint64(i+1)))).perform(kind.dump, kind.do)
		})
	}
}

// dump is the kind of stills that an act begins with; empty for any.
var acts = []struct {
	name, dump string
	do         func(*act)
}{
	{"damage-jpeg", "jpeg", (*act).damage},
	{"damage-jpeg", "jpeg", (*act).damage},
	{"damage-raw", "pair", (*act).damage},
	{"damage-png", "png", (*act).damage},
	{"damage-tiff", "tiff", (*act).damage},
	{"damage-dump", "", (*act).damageDump},
	{"mid-render", "", func(a *act) { a.meddle("render") }},
	{"mid-check", "", func(a *act) { a.meddle("check") }},
	{"mid-day", "", func(a *act) { a.meddle("day") }},
	{"aim-report", "", (*act).aimReport},
	{"aim-clip", "", (*act).aimClip},
	{"aim-plan", "", (*act).aimPlan},
	{"aim-sums", "", (*act).aimSums},
	{"aim-day", "", (*act).aimDay},
	{"kill-check", "", func(a *act) { a.kill("check") }},
	{"kill-render", "", func(a *act) { a.kill("render") }},
	{"kill-day", "", func(a *act) { a.kill("day") }},
	{"full-disk", "jpeg", (*act).fullDisk},
	{"names", "jpeg", (*act).oddNames},
	{"bomb", "jpeg", (*act).bomb},
	{"state-link", "", (*act).stateLink},
	{"temp-link", "", (*act).tempLink},
}

// world is what every act begins with a copy of.
type world struct {
	dir   string
	kinds []string                 // of dumps
	clips map[string]string        // by kind: the frames of a clip that nobody disturbed
	took  map[string]time.Duration // by command, with the dump "jpeg"
}

func drawWorld(t *testing.T) *world {
	t.Helper()
	w := &world{dir: t.TempDir(), kinds: []string{"jpeg", "pair", "png", "tiff"}, clips: map[string]string{}, took: map[string]time.Duration{}}
	s := plainShoots(1, 10)[0]
	s.Number, s.Scene.Width, s.Scene.Height, s.Scene.Frames = 1, 960, 640, s.Frames
	dump := filepath.Join(w.dir, "jpeg")
	if err := s.Draw(context.Background(), scene.New(s.Scene), dump); err != nil {
		t.Fatal(err)
	}
	for _, kind := range []string{"png", "tiff"} {
		recode(t, dump, filepath.Join(w.dir, kind), kind)
	}
	if out, err := exec.Command("mkshoot", "-n", "8", "-size", "240x160", "-raw", "pair", filepath.Join(w.dir, "pair")).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	old := time.Now().Add(-time.Hour) // so that what is measured is kept
	err := filepath.WalkDir(w.dir, func(p string, _ fs.DirEntry, err error) error {
		if err == nil {
			err = os.Chtimes(p, old, old)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, kind := range w.kinds {
		a := w.enter(t, rand.New(rand.NewPCG(0, 0)))
		a.take(kind)
		for _, command := range []string{"check", "render", "day"} {
			began := time.Now()
			a.wants(a.run(nil, a.command(command)...), exitOK)
			if kind == "jpeg" {
				w.took[command] = time.Since(began)
			}
		}
		w.clips[kind] = a.frames(filepath.Join(a.out, "clip.mp4"))
		if w.clips[kind] != a.frames(a.dayClip()) {
			t.Fatalf("%s: the day's clip is not the rendered one", kind)
		}
	}
	return w
}

// recode makes stills without EXIF of another format of half the size.
func recode(t *testing.T, from, to, kind string) {
	t.Helper()
	stills, err := filepath.Glob(filepath.Join(from, "DCIM/*/*.JPG"))
	if err != nil || len(stills) == 0 {
		t.Fatalf("no stills: %v", err)
	}
	if err := os.MkdirAll(filepath.Join(to, "DCIM/100STILL"), 0o755); err != nil {
		t.Fatal(err)
	}
	for i, name := range stills {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		img, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if kind == "png" {
			err = png.Encode(&b, img)
		} else {
			err = tiff.Encode(&b, img, &tiff.Options{Compression: tiff.Deflate})
		}
		if err == nil {
			err = os.WriteFile(filepath.Join(to, "DCIM/100STILL", fmt.Sprintf("RAIL%04d.%s", i+1, map[string]string{"png": "PNG", "tiff": "TIF"}[kind])), b.Bytes(), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// act is a hostile act and its world.
type act struct {
	*testing.T
	*world
	rng *rand.Rand
	// at holds card, the dump, once it is taken; mine, what is the user's; out,
	// where results go; tmp, temporary files.
	at, card, mine, out, tmp string
	env                      []string
	kind                     string          // of the dump
	touched                  map[string]bool // by the act itself
}

func (w *world) enter(t *testing.T, rng *rand.Rand) *act {
	t.Helper()
	at := t.TempDir()
	a := &act{T: t, world: w, rng: rng, at: at, touched: map[string]bool{}}
	a.card, a.mine, a.out, a.tmp = filepath.Join(at, "card"), filepath.Join(at, "mine"), filepath.Join(at, "out"), filepath.Join(at, "tmp")
	for _, dir := range []string{a.mine, a.out, a.tmp, filepath.Join(a.mine, "kept")} {
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"notes", "index.html", "day.json", "frames.csv", "clip.mp4", "photo.JPG", "list.sha256", "kept/lock", "kept/precious"} {
		a.put(filepath.Join(a.mine, name), "of the user's own: "+name+"\n")
	}
	a.put(filepath.Join(a.mine, "plan.toml"), "[[shoot]]\nname = \"mine\"\nframes = 10\ninterval_s = 5\n")
	if err := os.Symlink("notes", filepath.Join(a.mine, "link")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("nothing", filepath.Join(a.mine, "dangling")); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(filepath.Join(a.mine, "pipe"), 0o644); err != nil {
		t.Fatal(err)
	}
	a.env = append(os.Environ(), "TMPDIR="+a.tmp, "XDG_CACHE_HOME="+filepath.Join(at, "cache"), "GORACE=atexit_sleep_ms=0", "HARM_AT="+at)
	return a
}

func (a *act) put(path, text string) {
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		a.Fatal(err)
	}
}

// take copies a dump of the world, times and all.
func (a *act) take(kind string) {
	a.kind = kind
	if out, err := exec.Command("cp", "-a", filepath.Join(a.dir, kind), a.card).CombinedOutput(); err != nil {
		a.Fatalf("%v: %s", err, out)
	}
}

func (a *act) stills() []string {
	list, err := filepath.Glob(filepath.Join(a.card, "DCIM/*/*"))
	if err != nil || len(list) == 0 {
		a.Fatalf("no stills: %v", err)
	}
	return list
}

// one is an element of a list.
func one[T any](a *act, list ...T) T { return list[a.rng.IntN(len(list))] }

// perform does the act and looks at what is left of the world.
func (a *act) perform(dump string, do func(*act)) {
	if dump == "" {
		dump = one(a, a.kinds...)
	}
	a.take(dump)
	before := a.state()
	do(a)
	a.orphans()
	after := a.state()
	for _, path := range slices.Sorted(maps.Keys(before)) {
		if !a.touched[path] && before[path] != after[path] {
			a.Errorf("HARMED: %s was %q and is %q", path, before[path], after[path])
		}
	}
	for _, path := range slices.Sorted(maps.Keys(after)) {
		if before[path] == "" && !a.touched[path] {
			a.Errorf("HARMED: %s appeared", path)
		}
	}
	a.leftovers(a.tmp)
	a.leftovers(a.out)
}

// state is each thing among originals and bystanders: its kind, and the SHA-256
// of a file, what a link names.
func (a *act) state() map[string]string {
	m := map[string]string{}
	for _, root := range []string{a.card, a.mine} {
		err := filepath.WalkDir(root, func(p string, e fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			what := e.Type().String()
			switch {
			case e.Type().IsRegular():
				data, err := os.ReadFile(p)
				if err != nil {
					return err
				}
				what += fmt.Sprintf(" %x", sha256.Sum256(data))
			case e.Type()&fs.ModeSymlink != 0:
				to, err := os.Readlink(p)
				if err != nil {
					return err
				}
				what += " " + to
			}
			m[p] = what
			return nil
		})
		if err != nil {
			a.Fatal(err)
		}
	}
	return m
}

// orphans looks for processes that the act has left.
func (a *act) orphans() {
	mark := []byte("HARM_AT=" + a.at + "\x00")
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		var left []string
		all, _ := filepath.Glob("/proc/[0-9]*/environ")
		for _, name := range all {
			if env, err := os.ReadFile(name); err == nil && bytes.Contains(env, mark) {
				line, _ := os.ReadFile(filepath.Join(filepath.Dir(name), "cmdline"))
				left = append(left, strings.ReplaceAll(string(line), "\x00", " "))
			}
		}
		if len(left) == 0 {
			return
		}
		if time.Now().After(deadline) {
			a.Errorf("processes left: %q", left)
			return
		}
	}
}

// leftovers looks for half-written files.
func (a *act) leftovers(dir string) {
	err := filepath.WalkDir(dir, func(p string, e fs.DirEntry, err error) error {
		if err == nil && p != dir && (strings.HasPrefix(e.Name(), ".stillspan-") || strings.HasPrefix(e.Name(), "stillspan-")) && !a.touched[p] {
			a.Errorf("left behind: %s", p)
		}
		return err
	})
	if err != nil {
		a.Error(err)
	}
}

// run is one run of the program.
type run struct {
	*exec.Cmd
	out, err bytes.Buffer
	ended    chan struct{}
}

func (a *act) start(env []string, args ...string) *run {
	r := &run{Cmd: exec.Command(args[0], args[1:]...), ended: make(chan struct{})}
	r.Env, r.Stdout, r.Stderr, r.Dir = append(slices.Clone(a.env), env...), &r.out, &r.err, a.at
	r.WaitDelay = time.Minute
	if err := r.Start(); err != nil {
		a.Fatal(err)
	}
	go func() { r.Wait(); close(r.ended) }()
	return r
}

// patience is how long a run of these small dumps may take on a machine that
// has much else to do.
const patience = 4 * time.Minute

// end waits for a run and holds its last words against what every run owes.
func (a *act) end(r *run) *run {
	select {
	case <-r.ended:
	case <-time.After(patience):
		r.Process.Signal(syscall.SIGQUIT)
		<-r.ended
		a.Fatalf("HANGS: %q\n%s", r.Args, r.err.String())
	}
	code, said := r.ProcessState.ExitCode(), r.err.String()
	if strings.Contains(said+r.out.String(), "goroutine ") || strings.Contains(said, "panic") {
		a.Errorf("PANIC: %q: %s", r.Args, said)
	}
	if (code == exitFailed || code == exitUsage) && !strings.Contains(said, "stillspan: ") {
		a.Errorf("WORDLESS: %q: exit code %d, %q", r.Args, code, said)
	}
	return r
}

func (a *act) run(env []string, args ...string) *run { return a.end(a.start(env, args...)) }

// wants holds a run to one of some exit codes.
func (a *act) wants(r *run, codes ...int) *run {
	a.Helper()
	if code := r.ProcessState.ExitCode(); !slices.Contains(codes, code) {
		a.Errorf("%q: exit code %d, want %d\n%s%s", r.Args, code, codes, r.out.String(), r.err.String())
	}
	return r
}

// says tells whether a run names a file.
func (r *run) says(path string) bool {
	return strings.Contains(strings.Join(strings.Fields(r.out.String()+r.err.String()), " "), filepath.Base(path))
}

// names wants a run to name a file.
func (a *act) names(r *run, path, what string) {
	a.Helper()
	if !r.says(path) {
		a.Errorf("UNSAID: %s of %s: %q: exit code %d\n%s%s", what, filepath.Base(path), r.Args, r.ProcessState.ExitCode(), r.out.String(), r.err.String())
	}
}

// command is the call that an act disturbs.
func (a *act) command(name string, more ...string) []string {
	args := map[string][]string{
		"check":  {"stillspan", "check", a.card, "--thorough", "--html", filepath.Join(a.out, "page.html"), "--json", filepath.Join(a.out, "page.json")},
		"render": {"stillspan", "render", a.card, "-o", filepath.Join(a.out, "clip.mp4"), "--preset", "proof", "--overwrite"},
		"day":    {"stillspan", "day", a.card, "--out", filepath.Join(a.out, "day"), "--preset", "proof"},
	}[name]
	return append(args, more...)
}

// dayClip is the one clip of a day; "" for none.
func (a *act) dayClip() string {
	list, _ := filepath.Glob(filepath.Join(a.out, "day", "*.mp4"))
	if len(list) == 0 {
		return ""
	}
	return list[0]
}

// frames are ffmpeg's MD5 of each decoded frame of a clip; "" for no clip.
func (a *act) frames(clip string) string {
	if _, err := os.Stat(clip); err != nil {
		return ""
	}
	out, err := exec.Command("ffmpeg", "-v", "error", "-i", clip, "-f", "framemd5", "-").Output()
	if err != nil {
		a.Errorf("%s: %v", clip, err)
	}
	return string(out)
}
