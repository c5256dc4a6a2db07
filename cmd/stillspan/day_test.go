//go:build unix

package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"stillspan/internal/demo"
	"stillspan/internal/scene"
	"stillspan/report"
)

// drawShoots draws n shoots by two bodies, an hour apart, each of its own
// number of frames.
func drawShoots(t *testing.T, card string, shoots []demo.Shoot, w, h int) {
	t.Helper()
	fired := map[demo.Body]int{} // a body's numbers run on from shoot to shoot
	for _, s := range shoots {
		s.Number = fired[s.Body] + 1
		fired[s.Body] += s.Frames - len(s.NotFired)
		s.Scene.Width, s.Scene.Height, s.Scene.Frames = w, h, s.Frames
		if err := s.Draw(context.Background(), scene.New(s.Scene), card); err != nil {
			t.Fatal(err)
		}
	}
}

func plainShoots(n, frames int) []demo.Shoot {
	bodies := []demo.Body{
		{Make: "Stillspan", Model: "Test One", Serial: "1001", Prefix: "RAIL", Folder: "STILL"},
		{Make: "Stillspan", Model: "Test Two", Serial: "2002", Prefix: "POLE", Folder: "SPARE"},
	}
	var out []demo.Shoot
	for i := range n {
		out = append(out, demo.Shoot{
			Name: fmt.Sprintf("shoot %d", i+1), Start: time.Date(2026, 5, 1, 5+i, 10, 0, 0, time.UTC),
			IntervalS: 5, ReallyS: 5, Frames: frames, Folder: 100, Body: bodies[i%2],
			Scene: scene.Options{Seed: uint64(i + 1), ScatterEV: 0.05, Clouds: 0.4, Noise: 0.01},
		})
	}
	return out
}

// dayProcess is one run of the real program.
type dayProcess struct {
	*exec.Cmd
	out, err bytes.Buffer
}

func startDay(t *testing.T, env []string, args ...string) *dayProcess {
	t.Helper()
	r := &dayProcess{Cmd: exec.Command("stillspan", append([]string{"day"}, args...)...)}
	r.Stdout, r.Stderr = &r.out, &r.err
	r.Env = append(os.Environ(), env...)
	if err := r.Start(); err != nil {
		t.Fatal(err)
	}
	return r
}

// runDayTo runs to the end and wants the exit code.
func runDayTo(t *testing.T, code int, env []string, args ...string) *dayProcess {
	t.Helper()
	r := startDay(t, env, args...)
	r.Wait()
	if got := r.ProcessState.ExitCode(); got != code {
		t.Fatalf("day %q: exit code %d, want %d\n%s%s", args, got, code, r.out.String(), r.err.String())
	}
	return r
}

// dayEnv keeps caches and temporary files of a test apart, so that what is
// left there can be seen.
func dayEnv(t *testing.T) (env []string, tmp string) {
	t.Helper()
	dir := t.TempDir()
	tmp = filepath.Join(dir, "tmp")
	if err := os.Mkdir(tmp, 0o755); err != nil {
		t.Fatal(err)
	}
	return []string{"TMPDIR=" + tmp, "XDG_CACHE_HOME=" + filepath.Join(dir, "cache"), "GORACE=atexit_sleep_ms=0"}, tmp
}

// sums are the SHA-256 of every file below root, by name.
func sums(t *testing.T, root string) map[string][32]byte {
	t.Helper()
	m := map[string][32]byte{}
	err := filepath.WalkDir(root, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		rel, _ := filepath.Rel(root, p)
		m[rel] = sha256.Sum256(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func names(t *testing.T, root string) []string {
	t.Helper()
	var list []string
	for name := range sums(t, root) {
		list = append(list, name)
	}
	slices.Sort(list)
	return list
}

// frameSums are ffmpeg's MD5 of each decoded frame of each clip in dir.
func frameSums(t *testing.T, dir string) map[string]string {
	t.Helper()
	clips, err := filepath.Glob(filepath.Join(dir, "*.mp4"))
	if err != nil || len(clips) == 0 {
		t.Fatalf("no clips in %s (%v)", dir, err)
	}
	m := map[string]string{}
	for _, c := range clips {
		out, err := exec.Command("ffmpeg", "-v", "error", "-i", c, "-f", "framemd5", "-").Output()
		if err != nil {
			t.Fatalf("%s: %v", c, err)
		}
		m[filepath.Base(c)] = string(out)
	}
	return m
}

// number reads a count from the environment.
func number(t *testing.T, name string, otherwise int) int {
	t.Helper()
	v := os.Getenv(name)
	if v == "" {
		return otherwise
	}
	n, err := strconv.Atoi(v)
	if err != nil {
		t.Fatalf("%s=%q: %v", name, v, err)
	}
	return n
}

// A day that is killed at a random moment and started again ends as if nothing
// had happened. STILLSPAN_KILLS=50 does it fifty times, as 'make test-kill'.
func TestDaySurvivesKills(t *testing.T) {
	kills := number(t, "STILLSPAN_KILLS", 3)
	dir := t.TempDir()
	card := filepath.Join(dir, "card")
	drawShoots(t, card, plainShoots(3, 16), 96, 64)
	originals := sums(t, card)
	env, tmp := dayEnv(t)
	calm := filepath.Join(dir, "calm")
	start := time.Now()
	runDayTo(t, exitOK, env, card, "--out", calm)
	took := time.Since(start)
	want, wantNames := frameSums(t, calm), names(t, calm)
	if len(want) != 3 {
		t.Fatalf("%d clips, want 3", len(want))
	}
	rng := rand.New(rand.NewPCG(uint64(number(t, "STILLSPAN_SEED", 1)), 0))
	moments := map[string]int{}
	for k := range kills {
		out, log := filepath.Join(dir, fmt.Sprintf("out%d", k)), filepath.Join(dir, fmt.Sprintf("log%d", k))
		// Every other day is killed twice: the resuming run as well.
		for range 1 + k%2 {
			r := startDay(t, env, card, "--out", out, "--log-json", log)
			time.Sleep(time.Duration(rng.Float64() * float64(took)))
			r.Process.Signal(syscall.SIGKILL)
			r.Wait()
			moments[lastEvent(log)]++
		}
		runDayTo(t, exitOK, env, card, "--out", out)
		if got := frameSums(t, out); !reflect.DeepEqual(got, want) {
			t.Errorf("kill %d, after %s: the clips differ from those of an undisturbed run", k+1, lastEvent(log))
		}
		if got := names(t, out); !slices.Equal(got, wantNames) {
			t.Errorf("kill %d, after %s: files\n%q\nwant\n%q", k+1, lastEvent(log), got, wantNames)
		}
		for id, c := range clipsOf(t, out) {
			if !c.Verified {
				t.Errorf("kill %d: clip of %s is not verified", k+1, id)
			}
		}
		if left := names(t, tmp); len(left) > 0 {
			t.Errorf("kill %d: left among the temporary files: %q", k+1, left)
		}
		if !reflect.DeepEqual(sums(t, card), originals) {
			t.Fatalf("kill %d: the originals have changed", k+1)
		}
		os.RemoveAll(out)
	}
	t.Logf("an undisturbed run took %v; killed after: %v", took.Round(time.Millisecond), moments)
}

// lastEvent is the last thing a day logged before it was killed.
func lastEvent(log string) string {
	b, _ := os.ReadFile(log)
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	var e struct{ Event string }
	if json.Unmarshal([]byte(lines[len(lines)-1]), &e) != nil {
		return "nothing"
	}
	return e.Event
}

func clipsOf(t *testing.T, out string) map[string]report.Render {
	t.Helper()
	m := map[string]report.Render{}
	for _, s := range readDay(t, out).Sequences {
		if s.Render == nil {
			t.Errorf("no clip of %s", s.ID)
			continue
		}
		m[s.ID] = *s.Render
	}
	return m
}

func readDay(t *testing.T, out string) *report.Report {
	t.Helper()
	f, err := os.Open(filepath.Join(out, "day.json"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := report.ReadJSON(f)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// What stands is kept; what changed is made again, and nothing else.
func TestDayResumesByFingerprint(t *testing.T) {
	dir := t.TempDir()
	card, out := filepath.Join(dir, "card"), filepath.Join(dir, "out")
	drawShoots(t, card, plainShoots(2, 12), 96, 64)
	env, _ := dayEnv(t)
	kept := func(args ...string) int {
		t.Helper()
		log := filepath.Join(t.TempDir(), "log")
		runDayTo(t, exitOK, env, append([]string{card, "--out", out, "--log-json", log}, args...)...)
		b, err := os.ReadFile(log)
		if err != nil {
			t.Fatal(err)
		}
		return bytes.Count(b, []byte(`"clip-kept"`))
	}
	if n := kept(); n != 0 {
		t.Errorf("first run kept %d", n)
	}
	if n := kept(); n != 2 {
		t.Errorf("second run kept %d of 2", n)
	}
	if n := kept("--smooth", "9"); n > 1 { // one may come out alike
		t.Errorf("other settings kept %d", n)
	}
	if n := kept("--rate", "25"); n != 0 {
		t.Errorf("another rate kept %d", n)
	}
	if n := kept("--rate", "25"); n != 2 {
		t.Errorf("the same again kept %d of 2", n)
	}
	stills, err := filepath.Glob(filepath.Join(card, "DCIM", "*", "RAIL*.JPG"))
	if err != nil || len(stills) != 12 {
		t.Fatalf("%d stills, %v", len(stills), err)
	}
	now := time.Now()
	if err := os.Chtimes(stills[3], now, now); err != nil {
		t.Fatal(err)
	}
	if n := kept("--rate", "25"); n != 1 {
		t.Errorf("with one still touched kept %d of 2", n)
	}
	clips, _ := filepath.Glob(filepath.Join(out, "*.mp4"))
	b, err := os.ReadFile(clips[0])
	if err != nil {
		t.Fatal(err)
	}
	b[len(b)/2] ^= 1
	if err := os.WriteFile(clips[0], b, 0o644); err != nil {
		t.Fatal(err)
	}
	if n := kept("--rate", "25"); n != 1 {
		t.Errorf("with one clip damaged kept %d of 2", n)
	}
}

// A long sequence is made in parts, and joined to the very frames that render
// gives; a part that stands from a killed run is not made again.
func TestDayLongSequence(t *testing.T) {
	if testing.Short() {
		t.Skip("renders 640 frames three times")
	}
	dir := t.TempDir()
	card, out := filepath.Join(dir, "card"), filepath.Join(dir, "out")
	drawShoots(t, card, plainShoots(1, 640), 64, 64)
	env, _ := dayEnv(t)
	log := filepath.Join(dir, "log")
	r := startDay(t, env, card, "--out", out, "--log-json", log, "--jobs", "1")
	waitFor(t, log, "task-ended")
	r.Process.Kill()
	r.Wait()
	os.Remove(log)
	runDayTo(t, exitOK, env, card, "--out", out, "--log-json", log, "--jobs", "1")
	b, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(b, []byte(`"task-started"`)); n != 1 {
		t.Errorf("%d parts made after the kill, want 1 of 2", n)
	}
	clip := filepath.Join(dir, "render", "clip.mp4")
	cmd := exec.Command("stillspan", "render", card, "-o", clip, "--quiet")
	cmd.Env = append(os.Environ(), env...)
	if err := os.Mkdir(filepath.Dir(clip), 0o755); err != nil {
		t.Fatal(err)
	}
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("render: %v: %s", err, said)
	}
	day, render := frameSums(t, out), frameSums(t, filepath.Dir(clip))
	for _, frames := range day {
		if frames != render["clip.mp4"] {
			t.Error("the joined clip differs from the rendered one")
		}
	}
}

func TestDayInterrupted(t *testing.T) {
	dir := t.TempDir()
	card, out := filepath.Join(dir, "card"), filepath.Join(dir, "out")
	drawShoots(t, card, plainShoots(2, 60), 320, 240)
	env, tmp := dayEnv(t)
	log := filepath.Join(dir, "log")
	r := startDay(t, env, card, "--out", out, "--log-json", log)
	waitFor(t, log, "task-started")
	second := startDay(t, env, card, "--out", out)
	second.Wait()
	if second.ProcessState.ExitCode() != exitFailed || !strings.Contains(second.err.String(), "another run is at work") {
		t.Errorf("a second run beside the first: code %d, %s", second.ProcessState.ExitCode(), second.err.String())
	}
	r.Process.Signal(os.Interrupt)
	r.Wait()
	if code := r.ProcessState.ExitCode(); code != exitInterrupted {
		t.Errorf("exit code %d, want %d: %s", code, exitInterrupted, r.err.String())
	}
	if left := names(t, tmp); len(left) > 0 {
		t.Errorf("left among the temporary files: %q", left)
	}
	for _, name := range names(t, out) {
		if strings.Contains(name, "work") || strings.HasPrefix(name, ".stillspan-") {
			t.Errorf("left: %s", name)
		}
	}
	runDayTo(t, exitOK, env, card, "--out", out)
	if n := len(frameSums(t, out)); n != 2 {
		t.Errorf("%d clips after the second run", n)
	}
}

func waitFor(t *testing.T, log, event string) {
	t.Helper()
	for deadline := time.Now().Add(5 * time.Minute); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if b, _ := os.ReadFile(log); bytes.Contains(b, []byte(`"event":"`+event+`"`)) {
			return
		}
	}
	t.Fatalf("no %s in %s", event, log)
}

// The disk fills up: a clear word, and the day goes on when there is space.
func TestDayOnFullDisk(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("mounting a small file system needs root")
	}
	dir := t.TempDir()
	card, out := filepath.Join(dir, "card"), filepath.Join(dir, "out")
	drawShoots(t, card, plainShoots(2, 24), 320, 240)
	env, _ := dayEnv(t)
	if err := os.Mkdir(out, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mount("tmpfs", out, "tmpfs", 0, "size=16m"); err != nil {
		t.Skip("mounting is not permitted here:", err)
	}
	defer unix.Unmount(out, 0)
	for _, free := range []int64{0, 4 << 10, 20 << 10} {
		filler := filepath.Join(out, "filler")
		fill(t, filler, out, free)
		r := startDay(t, env, card, "--out", out)
		r.Wait()
		said := r.err.String()
		if code := r.ProcessState.ExitCode(); code != exitFailed || !strings.Contains(said, "space") || !strings.Contains(said, "try: ") {
			t.Errorf("%d bytes free: exit code %d: %s", free, code, said)
		}
		if clips, _ := filepath.Glob(filepath.Join(out, "*.mp4")); len(clips) > 0 && free == 0 {
			t.Errorf("clips on a full disk: %q", clips)
		}
		os.Remove(filler)
	}
	runDayTo(t, exitOK, env, card, "--out", out)
	if n := len(frameSums(t, out)); n != 2 {
		t.Errorf("%d clips when there was space", n)
	}
}

// fill leaves so many bytes free in dir.
func fill(t *testing.T, name, dir string, free int64) {
	t.Helper()
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		t.Fatal(err)
	}
	n := int64(st.Bavail)*st.Bsize - free
	if n <= 0 {
		return
	}
	if err := os.WriteFile(name, make([]byte, n), 0o644); err != nil && !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
}

// The drive with the stills is unplugged in the middle.
func TestDayDriveUnplugged(t *testing.T) {
	for _, how := range []string{"no folder", "empty folder"} {
		t.Run(how, func(t *testing.T) {
			dir := t.TempDir()
			card, out := filepath.Join(dir, "card"), filepath.Join(dir, "out")
			drawShoots(t, card, plainShoots(2, 80), 320, 240)
			env, _ := dayEnv(t)
			log := filepath.Join(dir, "log")
			r := startDay(t, env, card, "--out", out, "--log-json", log, "--jobs", "1")
			waitFor(t, log, "task-started")
			if err := os.Rename(card, card+"-gone"); err != nil {
				t.Fatal(err)
			}
			if how == "empty folder" {
				if err := os.Mkdir(card, 0o755); err != nil {
					t.Fatal(err)
				}
			}
			r.Wait()
			said := r.err.String()
			if code := r.ProcessState.ExitCode(); code != exitFailed || !strings.Contains(said, "no longer there") && !strings.Contains(said, "went away") {
				t.Errorf("exit code %d: %s", code, said)
			}
			if !strings.Contains(said, "plug the drive in again") {
				t.Errorf("no advice: %s", said)
			}
			if clips, _ := filepath.Glob(filepath.Join(out, "*.mp4")); len(clips) > 0 {
				t.Errorf("a clip was delivered without its stills: %q", clips)
			}
			os.Remove(card)
			if err := os.Rename(card+"-gone", card); err != nil {
				t.Fatal(err)
			}
			runDayTo(t, exitOK, env, card, "--out", out)
			if n := len(frameSums(t, out)); n != 2 {
				t.Errorf("%d clips when it was back", n)
			}
		})
	}
}

// A day of twelve shoots by two bodies, with six kinds of fault: every one is
// in the report, and no other. STILLSPAN_DAY_FRAMES=250 makes it 3,000 stills.
func TestDayFindsEveryFault(t *testing.T) {
	frames := number(t, "STILLSPAN_DAY_FRAMES", 40)
	shoots := plainShoots(12, frames)
	shoots[1].NotFired = []int{7, 8, frames - 9}
	shoots[2].Lost = []int{11}
	shoots[4].Late = map[int]float64{20: 3}
	shoots[5].Truncated = []int{13}
	shoots[7].Empty = []int{5}
	shoots[8].ISOFrom = frames / 2
	shoots[10].NotFired, shoots[10].Truncated = []int{30}, []int{6, 17}
	dir := t.TempDir()
	card, out, planFile := filepath.Join(dir, "card"), filepath.Join(dir, "out"), filepath.Join(dir, "plan.toml")
	drawShoots(t, card, shoots, 96, 64)
	if err := demo.WritePlan(planFile, shoots); err != nil {
		t.Fatal(err)
	}
	env, _ := dayEnv(t)
	start := time.Now()
	runDayTo(t, exitFindings, env, card, "--out", out, "--plan", planFile)
	t.Logf("%d stills in %v", 12*frames, time.Since(start).Round(time.Second))
	r := readDay(t, out)
	if len(r.Sequences) != 12 || len(r.Loose) != 0 || len(r.NotFound) != 0 {
		t.Fatalf("%d sequences, %d loose, %d not found", len(r.Sequences), len(r.Loose), len(r.NotFound))
	}
	byPlan := map[string]report.Sequence{}
	for _, s := range r.Sequences {
		if s.Plan == nil {
			t.Errorf("%s answers to no plan", s.ID)
			continue
		}
		byPlan[s.Plan.Name] = s
		if s.Render == nil || !s.Render.Verified {
			t.Errorf("%s: no verified clip", s.ID)
		}
	}
	for _, shoot := range shoots {
		s, ok := byPlan[shoot.Name]
		if !ok {
			t.Errorf("%s: not in the report", shoot.Name)
			continue
		}
		causes := map[string]int{}
		for _, m := range s.Missing {
			causes[m.Cause] += m.Count
		}
		want := map[string]int{}
		if n := len(shoot.NotFired); n > 0 {
			want["not-fired"] = n
		}
		if n := len(shoot.Lost); n > 0 {
			want["file-lost"] = n
		}
		// An empty file has no time: whether its slot is also listed as
		// missing is the timing's business, but no more than that one.
		if n := len(shoot.Empty); n > 0 && causes["file-lost"] == n {
			delete(causes, "file-lost")
		}
		if !reflect.DeepEqual(causes, want) {
			t.Errorf("%s: missing %v, want %v", shoot.Name, causes, want)
		}
		if got, want := len(s.Irregular), len(shoot.Late); got != want {
			t.Errorf("%s: %d irregular %+v, want %d", shoot.Name, got, s.Irregular, want)
		}
		if got, want := len(s.Damaged), len(shoot.Truncated)+len(shoot.Empty); got != want {
			t.Errorf("%s: %d damaged %+v, want %d", shoot.Name, got, s.Damaged, want)
		}
		moved := map[string]bool{}
		for _, c := range s.SettingsChanges {
			moved[c.Field] = true
		}
		if (shoot.ISOFrom > 0) != (len(s.SettingsChanges) > 0) || shoot.ISOFrom > 0 && len(s.SettingsChanges) != 2 {
			t.Errorf("%s: settings %+v", shoot.Name, s.SettingsChanges)
		}
		faulty := len(shoot.NotFired)+len(shoot.Lost)+len(shoot.Late)+len(shoot.Truncated)+len(shoot.Empty)+shoot.ISOFrom > 0
		if !faulty && len(s.Findings) > 0 {
			t.Errorf("%s is sound, but: %+v", shoot.Name, s.Findings)
		}
		if faulty && len(s.Findings) == 0 {
			t.Errorf("%s has faults, but no findings", shoot.Name)
		}
	}
}
