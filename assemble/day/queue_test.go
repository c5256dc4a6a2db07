//go:build unix

package day

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// The test binary is also the program whose runs are queued: real processes
// that sleep, fail, hang or get killed as their arguments say.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && strings.HasPrefix(os.Args[1], "task:") {
		pretend(strings.TrimPrefix(os.Args[1], "task:"), os.Args[2:])
		os.Exit(0)
	}
	// The race detector holds each process back for a second at its end,
	// which here are many.
	os.Setenv("GORACE", "atexit_sleep_ms=0")
	os.Exit(m.Run())
}

func pretend(what string, args []string) {
	say := json.NewEncoder(os.Stdout)
	switch what {
	case "ok":
		say.Encode(Line{Done: 1, Total: 2})
		say.Encode(Line{Done: 2, Total: 2})
	case "note": // appends its start and end to a file
		note := func(s string) {
			f, _ := os.OpenFile(args[0], os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
			fmt.Fprintln(f, s, args[1])
			f.Close()
		}
		note("+")
		time.Sleep(150 * time.Millisecond)
		note("-")
	case "fail":
		say.Encode(Line{Failure: &Failure{Kind: args[0], Text: "as told", Try: "something else"}})
		os.Exit(1)
	case "die":
		fmt.Fprintln(os.Stderr, "last words")
		syscall.Kill(os.Getpid(), syscall.SIGKILL)
	case "noise": // says a line too long to be one of ours, and garbage
		fmt.Println(strings.Repeat("x", 3<<20))
		fmt.Println("{")
	case "sleep":
		fmt.Println(`{"done":1,"total":9}`)
		time.Sleep(time.Minute)
	case "temp": // leaves something among its temporary files
		os.WriteFile(filepath.Join(os.TempDir(), "left"), nil, 0o644)
		os.WriteFile(args[0], []byte(os.TempDir()), 0o644)
	case "args":
		for _, a := range args {
			fmt.Printf("%q\n", a)
		}
	case "hold": // takes a day's lock, starts a task and is killed
		s, err := Open(args[0])
		if err == nil {
			err = s.Lock()
		}
		if err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		l := &Local{Program: os.Args[0], Store: s}
		b := Batch{Tasks: []Task{{ID: "t", Args: []string{"task:linger", args[0]}}}, LogDir: s.LogDir()}
		l.Run(context.Background(), b, func(Event) {})
	case "linger": // notices its parent's end late
		signal.Ignore(syscall.SIGTERM, os.Interrupt)
		os.WriteFile(filepath.Join(args[0], "lingers"), nil, 0o644)
		time.Sleep(time.Second)
		os.WriteFile(filepath.Join(args[0], "ended"), nil, 0o644)
	}
}

func run(t *testing.T, l *Local, tasks ...Task) ([]Event, error) {
	t.Helper()
	var events []Event
	err := l.Run(t.Context(), Batch{Tasks: tasks, LogDir: t.TempDir()}, func(e Event) { events = append(events, e) })
	return events, err
}

func self(t *testing.T) *Local {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return &Local{Program: exe, Limits: Limits{Workers: 2}}
}

func kinds(events []Event, id string) string {
	var s []string
	for _, e := range events {
		if e.Task == id {
			s = append(s, string(e.Kind))
		}
	}
	return strings.Join(s, " ")
}

func TestLocalFailuresStayApart(t *testing.T) {
	events, err := run(t, self(t),
		Task{ID: "good", Args: []string{"task:ok"}},
		Task{ID: "bad", Args: []string{"task:fail", "failed"}},
		Task{ID: "killed", Args: []string{"task:die"}},
		Task{ID: "loud", Args: []string{"task:noise"}},
		Task{ID: "late", Args: []string{"task:ok"}, Cost: -1},
	)
	if err != nil {
		t.Fatal(err)
	}
	for id, want := range map[string]string{
		"good": "started progress progress ended", "bad": "started failed", "killed": "started failed",
		"loud": "started ended", "late": "started progress progress ended",
	} {
		if got := kinds(events, id); got != want {
			t.Errorf("%s: %s, want %s", id, got, want)
		}
	}
	for _, e := range events {
		switch {
		case e.Kind != Failed:
		case e.Task == "bad" && (e.Failure.Text != "as told" || e.Failure.Try != "something else"):
			t.Errorf("bad: %+v", e.Failure)
		case e.Task == "killed" && (!strings.Contains(e.Failure.Text, "killed") || !strings.Contains(e.Failure.Text, "last words")):
			t.Errorf("killed: %+v", e.Failure)
		}
	}
}

// On a full disk, and with the drive gone, no further task is started.
func TestLocalStops(t *testing.T) {
	for _, kind := range []string{DiskFull, SourceGone} {
		l := self(t)
		l.Limits.Workers = 1
		events, err := run(t, l,
			Task{ID: "1", Args: []string{"task:fail", kind}, Cost: 2},
			Task{ID: "2", Args: []string{"task:ok"}, Cost: 1},
		)
		if !errors.Is(err, ErrStopped) || kinds(events, "2") != "withheld" {
			t.Errorf("%s: %v, %s", kind, err, kinds(events, "2"))
		}
	}
}

func TestLocalNoSuchProgram(t *testing.T) {
	events, err := run(t, &Local{Program: "/no/such/program"}, Task{ID: "1"})
	if err != nil || kinds(events, "1") != "started failed" {
		t.Errorf("%v, %+v", err, events)
	}
}

// The longest goes first; no more run together than workers and memory allow.
func TestLocalLimits(t *testing.T) {
	for _, tt := range []struct {
		name   string
		limits Limits
		memory int64
		most   int
	}{
		{"two workers", Limits{Workers: 2, MemoryBytes: 100}, 10, 2},
		{"memory for one", Limits{Workers: 4, MemoryBytes: 100}, 60, 1},
		{"larger than the memory there is", Limits{Workers: 4, MemoryBytes: 100}, 1000, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			notes := filepath.Join(t.TempDir(), "notes")
			l := self(t)
			l.Limits = tt.limits
			var tasks []Task
			for i := range 4 {
				tasks = append(tasks, Task{ID: strconv.Itoa(i), Args: []string{"task:note", notes, strconv.Itoa(i)}, Cost: float64(i), MemoryBytes: tt.memory})
			}
			if _, err := run(t, l, tasks...); err != nil {
				t.Fatal(err)
			}
			b, err := os.ReadFile(notes)
			if err != nil {
				t.Fatal(err)
			}
			now, most := 0, 0
			lines := strings.Split(strings.TrimSpace(string(b)), "\n")
			for _, line := range lines {
				if line[0] == '+' {
					now++
				} else {
					now--
				}
				most = max(most, now)
			}
			if most != tt.most {
				t.Errorf("%d at once, want %d: %q", most, tt.most, lines)
			}
			if tt.most == 1 && lines[0] != "+ 3" {
				t.Errorf("the longest did not go first: %q", lines)
			}
		})
	}
}

func TestLocalInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	l := self(t)
	l.Limits.Workers = 1
	var events []Event
	err := l.Run(ctx, Batch{Tasks: []Task{{ID: "1", Args: []string{"task:sleep"}, Cost: 1}, {ID: "2", Args: []string{"task:sleep"}}}, LogDir: t.TempDir()}, func(e Event) {
		events = append(events, e)
		if e.Kind == Progressed {
			cancel()
		}
	})
	if err == nil {
		t.Error("no error")
	}
	if kinds(events, "2") != "" {
		t.Errorf("started another after the interrupt: %+v", events)
	}
}

// Temporary files of tasks, and of a run that was killed, do not stay.
func TestLocalTempDir(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	s := store(t)
	l := self(t)
	l.OwnTemp = true
	killed := filepath.Join(os.Getenv("TMPDIR"), "stillspan-123")
	if err := errors.Join(os.Mkdir(killed, 0o755), os.WriteFile(filepath.Join(killed, "lock"), nil, 0o644)); err != nil {
		t.Fatal(err)
	}
	said := s.Path("said")
	if _, err := run(t, l, Task{ID: "1", Args: []string{"task:temp", said}}); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(said); !strings.HasPrefix(string(b), os.Getenv("TMPDIR")+"/stillspan-") {
		t.Errorf("the task used %q", b)
	}
	if left, _ := os.ReadDir(os.Getenv("TMPDIR")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}

func TestLimitsValidate(t *testing.T) {
	for _, l := range []Limits{{Workers: -1}, {Workers: 257}, {MemoryBytes: -1}} {
		if l.Validate() == nil {
			t.Errorf("%+v passes", l)
		}
	}
	if f := (Limits{}).filled(); f.Workers < 1 || f.MemoryBytes < 1 {
		t.Errorf("chosen: %+v", f)
	}
}

func TestOrder(t *testing.T) {
	tasks := []Task{{ID: "b", Cost: 1}, {ID: "c", Cost: 3}, {ID: "a", Cost: 1}}
	Order(tasks)
	if got := tasks[0].ID + tasks[1].ID + tasks[2].ID; got != "cab" {
		t.Error(got)
	}
}

func store(t *testing.T) *Store {
	t.Helper()
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestStanding(t *testing.T) {
	s := store(t)
	clip := s.WorkPath("a.mp4")
	write := func(p, content string) {
		t.Helper()
		if err := os.WriteFile(p, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(clip, "a clip")
	to, err := s.Deliver("a", clip, "a.mp4", false)
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := s.Standing("a", "f1"); ok {
		t.Error("delivered but not finished: a crash between the two must not pass")
	}
	if _, err := s.Finish("a", "f1", to, map[string]int{"frames": 3}); err != nil {
		t.Fatal(err)
	}
	r, ok := s.Standing("a", "f1")
	if !ok || r.File != "a.mp4" || r.Bytes != 6 || string(r.Detail) == "" {
		t.Errorf("%v %+v", ok, r)
	}
	if _, ok := s.Standing("a", "f2"); ok {
		t.Error("other inputs pass")
	}
	write(to, "b clip")
	if _, ok := s.Standing("a", "f1"); ok {
		t.Error("an altered clip passes")
	}
	os.Remove(to)
	if _, ok := s.Standing("a", "f1"); ok {
		t.Error("a lost clip passes")
	}
	for _, junk := range []string{"", "{", `{"id":"b"}`, `{"id":"a","fingerprint":"f1","file":"../../etc/passwd"}`} {
		write(s.recordPath("a"), junk)
		if _, ok := s.Standing("a", "f1"); ok {
			t.Errorf("record %q passes", junk)
		}
	}
}

// A folder of pictures is a result like any other.
func TestStandingFolder(t *testing.T) {
	s := store(t)
	dir := s.WorkPath("pictures")
	os.Mkdir(dir, 0o755)
	os.WriteFile(filepath.Join(dir, "1.png"), []byte("one"), 0o644)
	to, err := s.Deliver("a", dir, "pictures", false)
	if err == nil {
		_, err = s.Finish("a", "f", to, nil)
	}
	if err != nil {
		t.Fatal(err)
	}
	if r, ok := s.Standing("a", "f"); !ok || r.Bytes != 3 {
		t.Errorf("%v %+v", ok, r)
	}
	os.Rename(filepath.Join(to, "1.png"), filepath.Join(to, "2.png"))
	if _, ok := s.Standing("a", "f"); ok {
		t.Error("a renamed picture passes")
	}
}

func TestDeliverReplacesOnlyOurs(t *testing.T) {
	s := store(t)
	make := func(content string) string {
		p := s.WorkPath("a.mp4")
		if err := os.WriteFile(p, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
		return p
	}
	os.WriteFile(s.Path("a.mp4"), []byte("someone's holiday"), 0o644)
	if _, err := s.Deliver("a", make("clip"), "a.mp4", false); err == nil {
		t.Fatal("replaced a file that is not ours")
	}
	if b, _ := os.ReadFile(s.Path("a.mp4")); string(b) != "someone's holiday" {
		t.Fatalf("the file that is not ours is now %q", b)
	}
	os.Remove(s.Path("a.mp4"))
	if _, err := s.Deliver("a", make("clip"), "a.mp4", false); err != nil {
		t.Fatal(err)
	}
	// Other settings, and a failure between: it is still ours.
	if err := s.Fail("a", "f2", &Failure{Text: "no"}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Deliver("a", make("clip 2"), "a.mp4", false); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(s.Path("a.mp4")); string(b) != "clip 2" {
		t.Errorf("delivered %q", b)
	}
	// Another file that took its place since is not ours.
	if _, err := s.Finish("a", "f2", s.Path("a.mp4"), nil); err != nil {
		t.Fatal(err)
	}
	os.WriteFile(s.Path("a.mp4"), []byte("the user's own cut of it"), 0o644)
	if _, err := s.Deliver("a", make("clip 3"), "a.mp4", false); err == nil {
		t.Error("replaced a file that took the place of ours")
	}
	if _, err := s.Deliver("a", make("clip 3"), "a.mp4", true); err != nil {
		t.Errorf("to be overwritten: %v", err)
	}
}

func TestSweep(t *testing.T) {
	s := store(t)
	s.WriteSpec("keep", 1)
	s.WriteSpec("drop", 1)
	os.WriteFile(s.WorkPath("drop.mp4"), nil, 0o644)
	os.WriteFile(s.WorkPath(".stillspan-1.tmp"), nil, 0o644)
	os.WriteFile(s.Path(".stillspan-123"), nil, 0o644)
	os.WriteFile(s.Path("not ours"), nil, 0o644)
	if err := s.Sweep(func(id string) bool { return id == "keep" }); err != nil {
		t.Fatal(err)
	}
	var left []string
	filepath.WalkDir(s.out, func(p string, e os.DirEntry, _ error) error {
		if !e.IsDir() {
			left = append(left, filepath.Base(p))
		}
		return nil
	})
	slices.Sort(left)
	if !reflect.DeepEqual(left, []string{"keep.gob", "not ours"}) {
		t.Errorf("left: %q", left)
	}
}

func TestLock(t *testing.T) {
	out := t.TempDir()
	a, err := Open(out)
	if err == nil {
		err = a.Lock()
	}
	if err != nil {
		t.Fatal(err)
	}
	b, err := Open(out)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Lock(); !errors.Is(err, ErrBusy) {
		t.Errorf("two at once: %v", err)
	}
	a.Unlock()
	if err := b.Lock(); err != nil {
		t.Errorf("after the first has gone: %v", err)
	}
	b.Unlock()
}

// After kill -9 the lock is free again, but not before the last task of the
// killed run has ended.
func TestLockAfterKill(t *testing.T) {
	out := t.TempDir()
	cmd := exec.Command(self(t).Program, "task:hold", out)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(filepath.Join(out, "lingers")); err == nil {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the task did not start")
		}
	}
	cmd.Process.Kill()
	cmd.Wait()
	s, err := Open(out)
	if err == nil {
		err = s.Lock()
	}
	if err != nil {
		t.Fatal(err)
	}
	defer s.Unlock()
	if _, err := os.Stat(filepath.Join(out, "ended")); err != nil {
		t.Error("the lock was free while a task of the killed run was at work")
	}
}

func TestFingerprint(t *testing.T) {
	p := filepath.Join(t.TempDir(), "1.jpg")
	content := []byte(strings.Repeat("a", 40000))
	when := time.Date(2026, 5, 1, 5, 40, 0, 0, time.UTC)
	write := func() {
		t.Helper()
		time.Sleep(20 * time.Millisecond) // a tick of the file system's clock
		if err := errors.Join(os.WriteFile(p, content, 0o644), os.Chtimes(p, when, when)); err != nil {
			t.Fatal(err)
		}
	}
	write()
	look := func(what any, version string) string {
		t.Helper()
		in, err := Inputs([]string{p})
		if err != nil {
			t.Fatal(err)
		}
		if err := Changed(in); err != nil {
			t.Error(err)
		}
		f, err := Fingerprint(in, what, version)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	seen := map[string]string{}
	add := func(name, f string) {
		if other, twice := seen[f]; twice {
			t.Errorf("%s and %s have one fingerprint", name, other)
		}
		seen[f] = name
	}
	first := look("a", "v1")
	add("first", first)
	if look("a", "v1") != first {
		t.Error("the same gives another fingerprint")
	}
	add("settings", look("b", "v1"))
	add("version", look("a", "v2"))
	write()
	add("written again, with the time put back", look("a", "v1"))
	content[0] = 'b'
	write()
	add("head", look("a", "v1"))
	content[len(content)-1] = 'b'
	write()
	add("tail", look("a", "v1"))
	when = when.Add(time.Nanosecond)
	write()
	add("time", look("a", "v1"))
	in, err := Inputs([]string{p})
	if err != nil {
		t.Fatal(err)
	}
	os.WriteFile(p, nil, 0o644)
	if Changed(in) == nil {
		t.Error("a changed still passes")
	}
	os.Remove(p)
	if Changed(in) == nil {
		t.Error("a vanished still passes")
	}
	if _, err := Inputs([]string{p}); err == nil {
		t.Error("a still that is not there has a fingerprint")
	}
}

// The array's script, run by a real shell, gives each task its own arguments
// whatever they hold.
func TestArrayScript(t *testing.T) {
	odd := []string{"task:args", "it's", `a "b" $HOME`, "new\nline", "100%a", "*", "", "-x", "`id`"}
	script := ArrayScript(self(t).Program, []Task{{ID: "1", Args: []string{"task:ok"}}, {ID: "2", Args: odd}, {ID: "3", Args: []string{"task:fail", "failed"}}})
	sh := func(element string) (string, error) {
		cmd := exec.Command("sh")
		cmd.Stdin = strings.NewReader(script)
		cmd.Env = append(os.Environ(), "SLURM_ARRAY_TASK_ID="+element)
		out, err := cmd.Output()
		return string(out), err
	}
	var want strings.Builder
	for _, a := range odd[1:] {
		fmt.Fprintf(&want, "%q\n", a)
	}
	if got, err := sh("2"); err != nil || got != want.String() {
		t.Errorf("%v\ngot  %s\nwant %s", err, got, want.String())
	}
	for _, element := range []string{"3", "4"} {
		if _, err := sh(element); err == nil {
			t.Errorf("element %s ends well", element)
		}
	}
}

// The exit codes and states of a job as scontrol prints them (scontrol(1)).
func TestField(t *testing.T) {
	line := "JobId=3 JobName=a b UserId=root(0) JobState=COMPLETED Reason=None ExitCode=3:0 Command=/a b/x"
	if field(line, "JobState") != "COMPLETED" || field(line, "ExitCode") != "3:0" || field(line, "State") != "" {
		t.Error("fields are read wrongly")
	}
}

// Progress lines are told one at a time.
func TestEventsComeOneAtATime(t *testing.T) {
	l := self(t)
	l.Limits.Workers = 8
	var tasks []Task
	for i := range 8 {
		tasks = append(tasks, Task{ID: strconv.Itoa(i), Args: []string{"task:ok"}})
	}
	var mu sync.Mutex
	err := l.Run(t.Context(), Batch{Tasks: tasks, LogDir: t.TempDir()}, func(Event) {
		if !mu.TryLock() {
			t.Error("two events at once")
			return
		}
		time.Sleep(time.Millisecond)
		mu.Unlock()
	})
	if err != nil {
		t.Fatal(err)
	}
}
