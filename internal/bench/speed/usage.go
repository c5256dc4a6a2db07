package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// usage is what a run cost: seconds, seconds of CPU of all its processes, and
// the most bytes they held together.
type usage struct{ wall, cpu, peak float64 }

func medians(all []usage) usage {
	at := func(get func(usage) float64) float64 {
		v := make([]float64, len(all))
		for i, u := range all {
			v[i] = get(u)
		}
		slices.Sort(v)
		return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
	}
	return usage{
		at(func(u usage) float64 { return u.wall }),
		at(func(u usage) float64 { return u.cpu }),
		at(func(u usage) float64 { return u.peak }),
	}
}

// run runs cmd and looks at its process tree five times a second; more would
// cost what is measured.
func run(cmd *exec.Cmd, ok func(code int) bool) (usage, error) {
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	begin := time.Now()
	if err := cmd.Start(); err != nil {
		return usage{}, err
	}
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()
	var u usage
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case err := <-done:
			u.wall = time.Since(begin).Seconds()
			if cmd.ProcessState == nil || !ok(cmd.ProcessState.ExitCode()) {
				return u, fmt.Errorf("%w: %s", err, strings.TrimSpace(out.String()))
			}
			// The kernel adds the children that were waited for.
			u.cpu = (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
			return u, nil
		case <-tick.C:
			u.peak = max(u.peak, treeBytes(cmd.Process.Pid))
		}
	}
}

// treeBytes is the proportional set size of a process and all below it; 0
// where there is no /proc.
func treeBytes(root int) float64 {
	parent := map[int]int{}
	stats, _ := filepath.Glob("/proc/[0-9]*/stat")
	for _, name := range stats {
		b, err := os.ReadFile(name)
		if err != nil {
			continue // it has ended
		}
		pid, _ := strconv.Atoi(filepath.Base(filepath.Dir(name)))
		// The name in brackets may hold anything; what follows does not.
		f := strings.Fields(string(b[bytes.LastIndexByte(b, ')')+1:]))
		if len(f) > 1 {
			parent[pid], _ = strconv.Atoi(f[1])
		}
	}
	sum := 0.0
	for pid := range parent {
		for p := pid; p > 1; p = parent[p] {
			if p == root {
				sum += pss(pid)
				break
			}
		}
	}
	return sum
}

func pss(pid int) float64 {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/smaps_rollup", pid))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(b)) {
		if f := strings.Fields(line); len(f) > 1 && f[0] == "Pss:" {
			kb, _ := strconv.ParseFloat(f[1], 64)
			return kb * 1024
		}
	}
	return 0
}
