package day

import (
	"encoding/json"
	"io"
	"os"
	"sync"
	"time"

	"stillspan/internal/files"
	"stillspan/internal/problem"
)

// Log writes what happens in a day's run, a line of JSON an event, for
// schedulers and scripts. Its zero value writes nothing.
type Log struct {
	mu sync.Mutex
	w  io.Writer
	f  *os.File
}

// logMark stands in every line.
const logMark = `"by":"stillspan"`

// OpenLog appends to a file, so that the runs of one day follow each other; "-"
// is out, and "" nowhere.
func OpenLog(path string, out io.Writer, overwrite bool) (*Log, error) {
	switch path {
	case "":
		return &Log{}, nil
	case "-":
		return &Log{w: out}, nil
	}
	f, err := files.Place{Path: path, Mark: logMark, Overwrite: overwrite}.Append()
	if err != nil {
		return nil, problem.Hint(err, "another file, or --overwrite to replace it")
	}
	return &Log{w: f, f: f}, nil
}

// Write appends one event. A log that cannot be written does not stop a day.
func (l *Log) Write(event string, more map[string]any) {
	if l.w == nil {
		return
	}
	line := map[string]any{"by": "stillspan", "time": time.Now().Format(time.RFC3339Nano), "event": event}
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

// Close ends the log.
func (l *Log) Close() {
	if l.f != nil {
		l.f.Close()
	}
}
