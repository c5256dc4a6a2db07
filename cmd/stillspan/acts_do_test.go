//go:build linux

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"stillspan/internal/hostile"
)

// damage hurts a still of a copy, where the card may have been checked before,
// and wants the thorough check to name it.
func (a *act) damage() {
	if a.rng.IntN(2) == 0 {
		a.wants(a.run(nil, "stillspan", "check", a.card), exitOK)
	}
	whole := a.card
	a.card = filepath.Join(a.at, "copy")
	if out, err := exec.Command("cp", "-a", whole, a.card).CombinedOutput(); err != nil {
		a.Fatalf("%v: %s", err, out)
	}
	still := one(a, a.stills()...)
	if a.kind == "pair" {
		still = strings.TrimSuffix(still, filepath.Ext(still)) + ".DNG"
	}
	how := a.hurt(still)
	r := a.run(nil, "stillspan", "check", a.card, "--thorough")
	a.card = whole
	a.names(r, still, how)
	a.wants(r, exitFindings)
}

// hurt damages a file as cards, readers and interrupted copies do, keeps its
// times, and says how.
func (a *act) hurt(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		a.Fatal(err)
	}
	was, err := os.ReadFile(path)
	if err != nil {
		a.Fatal(err)
	}
	size := len(was)
	kinds := []string{"cut", "cut", "empty", "zeros to the end", "no head"}
	if a.kind == "pair" { // what else lies in the midst of bare samples may be anything
		kinds = append(kinds, "lost cluster")
	} else {
		kinds = append(kinds, "zeros", "zeros", "noise", "noise", "repeated", "repeated", "of another", "ones")
	}
	var now []byte
	how := one(a, kinds...)
	var at, n int
	for now == nil || bytes.Equal(now, was) {
		now = bytes.Clone(was)
		at = a.rng.IntN(size)
		if how != "cut" {
			at = at / 512 * 512
		}
		n = min(512<<a.rng.IntN(8), size-at)
		switch how {
		case "cut":
			at = 1 + a.rng.IntN(size-1)
			now = now[:at]
		case "empty":
			now = []byte{}
		case "zeros to the end":
			at = a.rng.IntN(size-8<<10) / 512 * 512
			clear(now[at:])
		case "lost cluster":
			n = 4096 << a.rng.IntN(4)
			at = (size/2 + a.rng.IntN(size/2-n-1024)) / 512 * 512
			clear(now[at : at+n])
		case "no head":
			at = 0
			clear(now[:512])
		case "zeros":
			clear(now[at : at+n])
		case "ones":
			copy(now[at:at+n], bytes.Repeat([]byte{0xff}, n))
		case "noise":
			for i := range n {
				now[at+i] = byte(a.rng.Uint32())
			}
		case "repeated":
			copy(now[at:at+n], was[a.rng.IntN(size-n+1)/512*512:])
		case "of another":
			other, err := os.ReadFile(one(a, a.stills()...))
			if err != nil {
				a.Fatal(err)
			}
			if at < len(other) {
				copy(now[at:], other[at:])
			}
		}
	}
	a.put(path, string(now))
	if err := os.Chtimes(path, info.ModTime(), info.ModTime()); err != nil {
		a.Fatal(err)
	}
	return fmt.Sprintf("%s at %d of %d (%d bytes)", how, at, size, n)
}

// damageDump hurts a copy by as little as a bit and wants compare to name it.
func (a *act) damageDump() {
	whole := a.card
	a.card = filepath.Join(a.at, "copy")
	if out, err := exec.Command("cp", "-a", whole, a.card).CombinedOutput(); err != nil {
		a.Fatalf("%v: %s", err, out)
	}
	still, list := one(a, a.stills()...), filepath.Join(a.out, "list")
	switch a.rng.IntN(4) {
	case 0:
		os.Remove(still)
	case 1:
		a.hurt(still)
	default:
		data, err := os.ReadFile(still)
		if err != nil {
			a.Fatal(err)
		}
		data[a.rng.IntN(len(data))] ^= 1 << a.rng.IntN(8)
		a.put(still, string(data))
	}
	r := a.run(nil, "stillspan", "compare", whole, a.card, "--sums", list)
	a.wants(r, exitFindings)
	a.names(r, still, "a difference")
	empty := filepath.Join(a.at, "empty")
	os.Mkdir(empty, 0o755)
	a.wants(a.run(nil, "stillspan", "compare", empty, a.card), exitFailed)
	a.card = whole
}

// wait waits a moment of a command's run.
func (a *act) wait(command string) {
	time.Sleep(time.Duration(1.2 * a.rng.Float64() * float64(a.took[command])))
}

// meddle changes a still in mid-run. The clip has to show what an undisturbed
// run shows, or the still is named.
func (a *act) meddle(command string) {
	still := one(a, a.stills()...)
	a.touched[still] = true
	r := a.start(nil, a.command(command, "--no-cache")...)
	a.wait(command)
	how := one(a, "swapped", "swapped in place", "cut", "grown", "gone", "a pipe", "a folder", "zeroed")
	sound, err := hostile.Sound(".jpg")
	if err != nil {
		a.Fatal(err)
	}
	aside := filepath.Join(a.at, "aside")
	switch how {
	case "swapped":
		a.put(aside, string(sound))
		err = os.Rename(aside, still)
	case "swapped in place":
		a.put(still, string(sound))
	case "cut":
		err = os.Truncate(still, int64(100+a.rng.IntN(5000)))
	case "grown":
		var f *os.File
		if f, err = os.OpenFile(still, os.O_APPEND|os.O_WRONLY, 0); err == nil {
			f.Write(make([]byte, 5000))
			err = f.Close()
		}
	case "gone":
		err = os.Remove(still)
	case "a pipe", "a folder":
		if err = os.Remove(still); err == nil && how == "a pipe" {
			err = syscall.Mkfifo(still, 0o644)
		} else if err == nil {
			err = os.Mkdir(still, 0o755)
		}
	case "zeroed":
		var f *os.File
		if f, err = os.OpenFile(still, os.O_WRONLY, 0); err == nil {
			f.WriteAt(make([]byte, 2000), 3000)
			err = f.Close()
		}
	}
	if err != nil {
		a.Fatal(err)
	}
	a.wants(a.end(r), exitOK, exitFindings, exitFailed)
	clip := filepath.Join(a.out, "clip.mp4")
	if command == "day" {
		clip = a.dayClip()
	}
	shows := a.frames(clip)
	// A pair's raw file is none of the clip's.
	if command == "check" && r.ProcessState.ExitCode() == exitOK || shows == a.clips[a.kind] {
		return
	}
	a.names(r, still, how+" in mid-run")
}

// target is a place that nothing may be written to.
func (a *act) target() string {
	mine := func(name string) string { return filepath.Join(a.mine, name) }
	return one(a,
		one(a, a.stills()...), filepath.Join(a.card, "new"), filepath.Join(a.card, "DCIM", "..", "new"), a.card,
		mine("notes"), mine("index.html"), mine("day.json"), mine("frames.csv"), mine("clip.mp4"), mine("photo.JPG"),
		mine("link"), mine("dangling"), mine("pipe"), mine("kept"), filepath.Join(a.mine, "nowhere", "new"),
		"/dev/full", "/dev/zero", "/dev/ptmx", a.through(), filepath.Join(a.through(), "new"),
	)
}

// through is a link to the card from elsewhere.
func (a *act) through() string {
	link := filepath.Join(a.at, "through")
	if err := os.Symlink(a.card, link); err != nil && !os.IsExist(err) {
		a.Fatal(err)
	}
	return link
}

// overwrite is --overwrite where what lies at a target may not be replaced even
// so.
func (a *act) overwrite(target string) []string {
	info, err := os.Lstat(target)
	if err == nil && info.Mode().IsRegular() && filepath.Dir(target) == a.mine || a.rng.IntN(2) == 0 {
		return nil
	}
	return []string{"--overwrite"}
}

// refused wants a run to have been refused for a target.
func (a *act) refused(r *run, target string) {
	a.Helper()
	a.wants(r, exitFailed, exitUsage)
	a.names(r, target, "a target")
}

func (a *act) aimReport() {
	to := a.target()
	args := []string{"stillspan", "check", a.card, one(a, "--html", "--json", "--csv"), to}
	if a.rng.IntN(3) == 0 {
		to = filepath.Join(a.mine, "plan.toml")
		args = []string{"stillspan", "check", a.card, "--plan", to, one(a, "--html", "--json", "--csv"), filepath.Join(a.mine, "kept", "..", "plan.toml"), "--overwrite"}
	}
	if a.rng.IntN(4) == 0 {
		args = append(args[:3:3], "--html", to, "--json", to)
	}
	a.refused(a.run(nil, append(args, a.overwrite(to)...)...), to)
}

func (a *act) aimClip() {
	to := a.target()
	if filepath.Base(to) == "kept" { // clips may go into a folder
		to = filepath.Join(a.mine, "kept", "precious")
	}
	r := a.run(nil, append([]string{"stillspan", "render", a.card, "-o", to, "--preset", "proof", "--codec", one(a, "h264", "prores-hq", "png")}, a.overwrite(to)...)...)
	if strings.HasPrefix(to, filepath.Join(a.mine, "kept")) && a.wrote(r) {
		return
	}
	a.refused(r, to)
}

// wrote is never so where what is the user's was to be kept: its state tells.
func (a *act) wrote(r *run) bool { return r.ProcessState.ExitCode() == exitOK }

func (a *act) aimPlan() {
	to := a.target()
	args := []string{"stillspan", "plan", "--frames", "9", "--interval", "5", "--name", "x", one(a, "-o", "--json", "--sheet"), to}
	inCard := strings.HasPrefix(to, a.card) || strings.HasPrefix(to, a.through())
	if info, err := os.Lstat(to); inCard && (err != nil || !info.Mode().IsRegular()) {
		return // no command that plans knows of a card
	}
	a.refused(a.run(nil, append(args, a.overwrite(to)...)...), to)
}

func (a *act) aimSums() {
	to := a.target()
	dump := filepath.Join(a.at, "dump")
	if out, err := exec.Command("cp", "-a", a.card, dump).CombinedOutput(); err != nil {
		a.Fatalf("%v: %s", err, out)
	}
	args := []string{"stillspan", "compare", a.card, dump, one(a, "--sums", "--json"), to}
	if a.rng.IntN(3) == 0 {
		list := filepath.Join(a.out, "list")
		a.wants(a.run(nil, "stillspan", "compare", a.card, dump, "--sums", list), exitOK)
		args, to = []string{"stillspan", "check", a.card, "--copies", list, "--json", list, "--overwrite"}, list
	}
	a.refused(a.run(nil, append(args, a.overwrite(to)...)...), to)
}

func (a *act) aimDay() {
	to := a.target()
	args := []string{"stillspan", "day", a.card, "--preset", "proof"}
	switch a.rng.IntN(4) {
	case 0:
		args = append(args, "--out", filepath.Join(a.out, "day"), "--log-json", to)
	case 1: // a day of the user's own
		to = a.mine
		args = append(args, "--out", to)
		a.wants(a.run(nil, args...), exitFailed)
		return
	case 2:
		to = one(a, a.card, filepath.Join(a.card, "new"), a.at, a.through())
		args = append(args, "--out", to)
	case 3:
		args = append(args, "--out", filepath.Join(a.out, "day"), one(a, "--html", "--json", "--csv"), to)
	}
	a.refused(a.run(nil, append(args, a.overwrite(to)...)...), to)
}

// kill ends a command at any moment and does it again.
func (a *act) kill(command string) {
	args := a.command(command)
	sig := one(a, syscall.SIGKILL, syscall.SIGKILL, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGINT)
	r := a.start(nil, args...)
	a.wait(command)
	r.Process.Signal(sig)
	a.end(r)
	switch code := r.ProcessState.ExitCode(); {
	case sig == syscall.SIGKILL || code == exitOK:
	case code != exitInterrupted && r.err.Len() > 0:
		a.wants(r, exitInterrupted)
	case code == exitInterrupted:
		a.leftovers(a.tmp)
		if a.frames(filepath.Join(a.out, "clip.mp4")) != "" {
			a.Errorf("interrupted, and there is a clip")
		}
	}
	a.orphans()
	if sig == syscall.SIGKILL {
		time.Sleep(time.Second) // what was written to just now is not taken for left
	}
	a.wants(a.run(nil, args...), exitOK)
	clip := filepath.Join(a.out, "clip.mp4")
	if command == "day" {
		clip = a.dayClip()
	}
	if command != "check" && a.frames(clip) != a.clips[a.kind] {
		a.Errorf("the clip made after %v is another", sig)
	}
}

// fullDisk lets a command run out of room, and do its work when there is some.
func (a *act) fullDisk() {
	command := one(a, "check", "render", "day")
	args := a.command(command)
	limited := append([]string{"sh", "-c", fmt.Sprintf(`ulimit -f %d; exec "$@"`, 1+a.rng.IntN(200)), "sh"}, args...)
	if a.rng.IntN(2) == 0 && canMount() {
		size := fmt.Sprintf("size=%dk", 4<<a.rng.IntN(8))
		if out, err := exec.Command("mount", "-t", "tmpfs", "-o", size, "tmpfs", a.out).CombinedOutput(); err != nil {
			a.Fatalf("%v: %s", err, out)
		}
		defer exec.Command("umount", a.out).Run()
		limited = args
	}
	r := a.wants(a.run(nil, limited...), exitOK, exitFailed)
	if said := r.err.String(); r.ProcessState.ExitCode() == exitFailed {
		if !strings.Contains(said, "space") && !strings.Contains(said, "full") && !strings.Contains(said, "too large") && !strings.Contains(said, "limit") {
			a.Errorf("WORDLESS: of room nothing is said: %s", said)
		}
		if !strings.Contains(said, a.out) && !strings.Contains(said, a.tmp) {
			a.Errorf("WORDLESS: no place is named: %s", said)
		}
		a.leftovers(a.tmp)
		if command != "day" {
			a.leftovers(a.out)
		}
	}
	if limited[0] != "sh" {
		if out, err := exec.Command("mount", "-o", "remount,size=50m", a.out).CombinedOutput(); err != nil {
			a.Fatalf("%v: %s", err, out)
		}
		defer a.leftovers(a.out) // before it is unmounted
	}
	a.wants(a.run(nil, args...), exitOK)
}

// oddNames gives stills names that mislead, and wants the clip as ever.
func (a *act) oddNames() {
	odd := one(a, "", "a\xff\xfe ", "a\n", "a\x1b[2J", "a\u202e", "-i ", "%d %08d ", "a'\"$(touch x)`", "=1+2", "[!x]*?", "a\\b ", strings.Repeat("é", 110), " ")
	for _, still := range a.stills() {
		to := filepath.Join(filepath.Dir(still), odd+filepath.Base(still))
		if err := os.Rename(still, to); err != nil {
			a.Fatal(err)
		}
		a.touched[still], a.touched[to] = true, true
	}
	csv := filepath.Join(a.out, "out.csv")
	r := a.wants(a.run(nil, a.command("render", "--csv", csv)...), exitOK, exitFindings)
	a.wants(a.run(nil, a.command("day")...), exitOK, exitFindings)
	for _, clip := range []string{filepath.Join(a.out, "clip.mp4"), a.dayClip()} {
		if a.frames(clip) != a.clips[a.kind] {
			a.Errorf("%q: not the clip that stills of other names give\n%s%s", clip, r.out.String(), r.err.String())
		}
	}
	dump := filepath.Join(a.at, "dump")
	if out, err := exec.Command("cp", "-a", a.card, dump).CombinedOutput(); err != nil {
		a.Fatalf("%v: %s", err, out)
	}
	list := filepath.Join(a.out, "list")
	a.wants(a.run(nil, "stillspan", "compare", a.card, dump, "--sums", list), exitOK)
	a.wants(a.run(nil, "stillspan", "compare", "--verify", list, dump), exitOK)
	for _, name := range []string{csv, filepath.Join(a.out, "day", "day.json"), filepath.Join(a.out, "day", "index.html")} {
		data, err := os.ReadFile(name)
		if err != nil || bytes.ContainsAny(data, "\x1b\x00") || !bytes.Equal(data, bytes.ToValidUTF8(data, nil)) {
			a.Errorf("%s: %v, or bytes that are no text", name, err)
		}
	}
}

// bomb puts a picture that brings decoders down in a still's place.
func (a *act) bomb() {
	b := one(a, hostile.Bombs...)
	data, err := hostile.Bomb(b.Name)
	if err != nil {
		a.Fatal(err)
	}
	still := one(a, a.stills()...)
	bad := strings.TrimSuffix(still, filepath.Ext(still)) + b.Ext
	os.Remove(still)
	a.put(bad, string(data))
	a.touched[still], a.touched[bad] = true, true
	command := one(a, "check", "render", "day")
	r := a.wants(a.run(nil, a.command(command)...), exitFindings)
	a.names(r, bad, "a bomb")
}

// stateLink puts links where the program keeps what is its own.
func (a *act) stateLink() {
	kept, day := filepath.Join(a.mine, "kept"), filepath.Join(a.out, "day")
	os.Mkdir(day, 0o755)
	command, link, to := "day", filepath.Join(day, ".stillspan"), one(a, kept, filepath.Join(a.mine, "notes"), "nothing")
	switch a.rng.IntN(4) {
	case 0:
		command, link = "render", filepath.Join(a.out, ".stillspan-clip.mp4")
	case 1, 2:
		os.Mkdir(link, 0o755)
		link = filepath.Join(link, one(a, "work", "done", "tasks", "log", "lock", "engine"))
		if filepath.Base(link) == "lock" {
			to = filepath.Join(a.mine, "notes")
		}
	}
	if err := os.Symlink(to, link); err != nil {
		a.Fatal(err)
	}
	a.touched[link] = true
	a.refused(a.run(nil, a.command(command)...), link)
}

// tempLink puts what misleads among the temporary files.
func (a *act) tempLink() {
	old := filepath.Join(a.tmp, "old %d %08d")
	os.Mkdir(old, 0o755)
	for name, to := range map[string]string{"stillspan-1": filepath.Join(a.mine, "kept"), "stillspan-2": "nothing", "stillspan-3": filepath.Join(a.mine, "notes")} {
		link := filepath.Join(old, name)
		if err := os.Symlink(to, link); err != nil {
			a.Fatal(err)
		}
		a.touched[link] = true
	}
	locked := filepath.Join(old, "stillspan-4")
	os.Mkdir(locked, 0o755)
	os.Symlink(filepath.Join(a.mine, "notes"), filepath.Join(locked, "lock"))
	a.touched[locked] = true
	command := one(a, "check", "render", "day")
	a.wants(a.run([]string{"TMPDIR=" + old}, a.command(command)...), exitOK)
	if command == "render" && a.frames(filepath.Join(a.out, "clip.mp4")) != a.clips[a.kind] {
		a.Errorf("another clip")
	}
}
