package day

import (
	"bufio"
	"os"
	"strconv"
	"strings"
)

// freeMemory is what Linux says can be used without swapping, within the
// limit of the control group where there is one; 0 where it cannot be told.
func freeMemory() int64 {
	free := meminfo("/proc/meminfo", "MemAvailable:")
	if limit := number("/sys/fs/cgroup/memory.max"); limit > 0 {
		left := max(1, limit-number("/sys/fs/cgroup/memory.current"))
		if free == 0 || left < free {
			free = left
		}
	}
	return free
}

// meminfo reads one line of /proc/meminfo, in bytes (proc(5): the unit is
// 1024 bytes).
func meminfo(path, key string) int64 {
	f, err := os.Open(path)
	if err != nil {
		return 0
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		fields := strings.Fields(s.Text())
		if len(fields) >= 2 && fields[0] == key {
			kb, _ := strconv.ParseInt(fields[1], 10, 53)
			return kb * 1024
		}
	}
	return 0
}

// number reads a file that holds one number; 0 for none.
func number(path string) int64 {
	b, err := os.ReadFile(path)
	if err != nil {
		return 0
	}
	n, _ := strconv.ParseInt(strings.TrimSpace(string(b)), 10, 64)
	return n
}
