//go:build unix

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A day on a real Slurm gives the clips of the local run, frame by frame, also
// when a task is killed and the cluster starts it again. 'make test-cluster'
// starts the cluster on loopback, runs this in it and stops it.
func TestDayOnCluster(t *testing.T) {
	if os.Getenv("STILLSPAN_CLUSTER") == "" {
		t.Skip("no cluster: 'make test-cluster' starts one (Debian's packages slurm-wlm and munge)")
	}
	dir := t.TempDir()
	card := filepath.Join(dir, "card")
	drawShoots(t, card, plainShoots(12, number(t, "STILLSPAN_DAY_FRAMES", 60)), 960, 640)
	originals := sums(t, card)
	env, _ := dayEnv(t)

	local, cluster, killed := filepath.Join(dir, "local"), filepath.Join(dir, "cluster"), filepath.Join(dir, "killed")
	// The cache is warmed first, so that neither run pays for measuring.
	for _, args := range [][]string{{"check", card, "--quiet"}} {
		cmd := exec.Command("stillspan", args...)
		cmd.Env = append(os.Environ(), env...)
		_ = cmd.Run()
	}
	start := time.Now()
	runDayTo(t, exitOK, env, card, "--jobs", "2", "--out", local)
	here := time.Since(start)
	want := frameSums(t, local)
	if len(want) != 12 {
		t.Fatalf("%d clips, want 12", len(want))
	}

	// Two tasks at once, here and there: Slurm hands out once a second, and so
	// one works while the other is waited for.
	slurm := []string{card, "--on", "slurm", "--wait", "--slurm=--cpus-per-task=1", "--out"}
	start = time.Now()
	runDayTo(t, exitOK, env, append(slurm, cluster)...)
	there := time.Since(start)
	if got := frameSums(t, cluster); !reflect.DeepEqual(got, want) {
		t.Error("the cluster's clips differ from the local ones")
	}
	start = time.Now()
	runDayTo(t, exitOK, env, card, "--jobs", "2", "--out", local+"-again")
	here = (here + time.Since(start)) / 2
	t.Logf("12 sequences: local %v (mean of before and after), on the cluster %v, ratio %.3f",
		here.Round(time.Millisecond), there.Round(time.Millisecond), there.Seconds()/here.Seconds())
	t.Logf("jobs:\n%s", jobs(t))

	// One task is killed from outside.
	run := startDay(t, env, append(slurm, killed)...)
	pid := waitForTask(t, killed)
	job := strings.TrimSpace(string(environment(t, pid, "SLURM_JOB_ID")))
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	// While the cluster is at work, another run keeps out of its way.
	second := startDay(t, env, card, "--out", killed)
	second.Wait()
	if code := second.ProcessState.ExitCode(); code != exitFailed || !strings.Contains(second.err.String(), "still at work") {
		t.Errorf("a second run: exit code %d, %s", code, second.err.String())
	}
	run.Wait()
	if code := run.ProcessState.ExitCode(); code != exitOK {
		t.Errorf("exit code %d: %s", code, run.err.String())
	}
	out, err := exec.Command("scontrol", "--oneliner", "show", "job", job).Output()
	if err != nil || !bytes.Contains(out, []byte(" Restarts=1 ")) {
		t.Errorf("the cluster did not start job %s again: %v\n%s", job, err, out)
	}
	if got := frameSums(t, killed); !reflect.DeepEqual(got, want) {
		t.Error("after the retry the clips differ")
	}
	if got, want := names(t, killed), names(t, cluster); !reflect.DeepEqual(got, want) {
		t.Errorf("files after the retry\n%q\nwant\n%q", got, want)
	}

	if !reflect.DeepEqual(sums(t, card), originals) {
		t.Error("the originals have changed")
	}
}

// jobs is the cluster's own list of jobs.
func jobs(t *testing.T) string {
	t.Helper()
	out, err := exec.Command("squeue", "--states=all", "--array", "--format=%.10i %.16j %.10T %.10M %.6C %R").Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// waitForTask finds the process of a running task of the day in out.
func waitForTask(t *testing.T, out string) int {
	t.Helper()
	spec := []byte("day-task\x00" + filepath.Join(out, ".stillspan"))
	for deadline := time.Now().Add(60 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		lines, _ := filepath.Glob("/proc/[0-9]*/cmdline")
		for _, p := range lines {
			b, _ := os.ReadFile(p)
			if bytes.Contains(b, spec) && !bytes.HasPrefix(b, []byte("/bin/sh")) {
				pid, err := strconv.Atoi(filepath.Base(filepath.Dir(p)))
				if err == nil {
					return pid
				}
			}
		}
	}
	t.Fatal("no task came up")
	return 0
}

func environment(t *testing.T, pid int, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/environ", pid))
	if err != nil {
		t.Fatal(err)
	}
	for v := range bytes.SplitSeq(b, []byte{0}) {
		if rest, ok := bytes.CutPrefix(v, []byte(name+"=")); ok {
			return rest
		}
	}
	t.Fatalf("process %d has no %s", pid, name)
	return nil
}
