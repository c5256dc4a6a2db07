package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"sync"
	"time"
)

// eventLog writes what happens in a day's run, a line of JSON an event, for
// schedulers and scripts. Its zero value writes nothing.
type eventLog struct {
	mu sync.Mutex
	w  io.Writer
	f  *os.File
}

// openEventLog appends to a file, so that the runs of one day follow each
// other; "-" is standard output.
func openEventLog(c *cli, path string) (*eventLog, error) {
	switch path {
	case "":
		return &eventLog{}, nil
	case "-":
		return &eventLog{w: c.stdout}, nil
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o666)
	if err != nil {
		return nil, withHint(fmt.Errorf("cannot write log: %w", err), "a folder that exists and may be written to")
	}
	return &eventLog{w: f, f: f}, nil
}

// write appends one event. A log that cannot be written does not stop a day.
func (l *eventLog) write(event string, more map[string]any) {
	if l.w == nil {
		return
	}
	line := map[string]any{"time": time.Now().Format(time.RFC3339Nano), "event": event}
	for k, v := range more {
		if v != "" {
			line[k] = v
		}
	}
	b, err := json.Marshal(line)
	if err != nil {
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	_, _ = l.w.Write(append(b, '\n'))
}

func (l *eventLog) close() {
	if l.f != nil {
		l.f.Close()
	}
}
