// Package review serves a day's shoots to one browser on the same machine: to
// look through their frames, to choose by eye how their clips are made, and to
// make them. What is chosen is written to the plan file, by which 'stillspan
// day' makes the same unattended. Originals are only read.
package review

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"stillspan/assemble/shoot"
	"stillspan/ingest/plan"
	"stillspan/internal/files"
	"stillspan/internal/settings"
	"stillspan/internal/words"
	"stillspan/report"
)

// Options says what is served.
type Options struct {
	// Root is the folder of originals.
	Root string
	// Plan is the plan file; it need not be there.
	Plan string
	// Out is the folder for clips, made when the first is rendered.
	Out string
	// Stated are the settings of the command line.
	Stated settings.Values
	// CacheBytes bounds the pictures that are kept for scrubbing; default (0)
	// 64 MiB.
	CacheBytes int64
}

// Server is the local page. Handler serves it until Close.
type Server struct {
	opt   Options
	token string
	ctx   context.Context
	end   context.CancelFunc
	work  *files.Work // for proofs
	pics  *pictures
	tasks sync.WaitGroup
	// Stopped is closed when the page asks for the end.
	Stopped chan struct{}
	stop    sync.Once

	measuring sync.Mutex // one shoot at a time

	mu      sync.Mutex // of all below
	found   *shoot.Found
	told    *report.Report // of found, nothing measured
	version string         // of the plan's text
	views   []view         // a sequence each
	job     job
}

// view is what is kept of a sequence, whatever the plan says of it.
type view struct {
	draft    *shoot.Draft
	measured *shoot.Measured
	with     string // meterKey of measured
	busy     bool
	done     int // frames measured while busy
	failed   string
	clip     string // the file to be played last made; empty for none
}

// New reads the headers of the folder's stills. progress may be nil.
func New(ctx context.Context, o Options, progress func(done, total int)) (*Server, error) {
	data, err := plan.Read(o.Plan)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("cannot read plan %q: %w", o.Plan, files.Cause(err))
	}
	v := o.Stated.Over()
	delete(v, settings.PlanFile.Name)
	if data != nil {
		settings.PlanFile.Set(v, o.Plan)
	}
	found, err := shoot.Find(ctx, o.Root, v, progress)
	if err != nil {
		return nil, err
	}
	if len(found.Shoots) == 0 {
		return nil, found.NoShoots()
	}
	token, err := newToken()
	if err != nil {
		return nil, err
	}
	work, err := files.WorkInTemp()
	if err != nil {
		return nil, fmt.Errorf("cannot make a folder for proofs: %w", err)
	}
	s := &Server{opt: o, token: token, work: work, found: found, version: plan.Version(data), Stopped: make(chan struct{})}
	s.ctx, s.end = context.WithCancel(ctx)
	s.views = make([]view, len(found.Shoots))
	s.tell()
	if o.CacheBytes == 0 {
		o.CacheBytes = 64 << 20
	}
	s.pics = newPictures(found.Dump.Sequences, o.CacheBytes)
	for range runtime.NumCPU() {
		s.tasks.Go(func() { s.pics.readAhead(s.ctx) })
	}
	return s, nil
}

// Token has to be in the first request's address: ?token=TOKEN.
func (s *Server) Token() string { return s.token }

// Close ends what is at work, waits for it, and removes the proofs.
func (s *Server) Close() error {
	s.end()
	s.pics.wake()
	s.tasks.Wait()
	return s.work.Close()
}

// tell judges the shoots anew; s.mu is held, or s not yet shared.
func (s *Server) tell() {
	s.told = report.Build(report.Input{Found: s.found, Made: time.Now()})
}

// day is what the list of shoots shows.
type day struct {
	Folder  string  `json:"folder"`
	Plan    string  `json:"plan"`
	Out     string  `json:"out"`
	Version string  `json:"version"`
	Shoots  []entry `json:"shoots"`
	// NotFound are planned shoots that no sequence answers to.
	NotFound []string `json:"not_found"`
}

type entry struct {
	Name     string       `json:"name"`
	State    report.State `json:"state"`
	Headline string       `json:"headline"`
	Start    string       `json:"start"`
	Frames   int          `json:"frames"`
	Findings []finding    `json:"findings"`
}

type finding struct {
	Text   string `json:"text"`
	Advice string `json:"advice"`
}

// day lists the shoots as the plan has them now.
func (s *Server) day() day {
	s.mu.Lock()
	defer s.mu.Unlock()
	d := day{
		Folder: filepath.Base(s.found.Dump.Root), Plan: s.opt.Plan, Out: s.opt.Out, Version: s.version,
		Shoots: []entry{}, NotFound: []string{},
	}
	for i := range s.told.Sequences {
		q := &s.told.Sequences[i]
		e := entry{
			Name: report.ShootName(q), State: report.StateOf(q), Headline: q.Headline, Frames: q.Frames,
			Findings: []finding{},
		}
		if !q.Start.IsZero() {
			e.Start = q.Start.Format("2 Jan, 15:04")
		}
		for _, f := range q.Findings {
			e.Findings = append(e.Findings, finding{f.Text, f.Advice})
		}
		d.Shoots = append(d.Shoots, e)
	}
	for _, p := range s.told.NotFound {
		d.NotFound = append(d.NotFound, p.Name)
	}
	return d
}

// frames is what does not change about a shoot's frames.
type frames struct {
	Names  []string       `json:"names"`
	AtS    series         `json:"at_s"` // after the first, by the camera's clock
	Width  int            `json:"width"`
	Height int            `json:"height"` // upright, pixels
	Bad    map[int]string `json:"bad"`    // frames that no clip takes, by index
	Gaps   []gap          `json:"gaps"`
}

type gap struct {
	After int    `json:"after"` // index
	Count int    `json:"count"`
	Cause string `json:"cause"`
}

// frames lists shoot i's frames.
func (s *Server) frames(i int) frames {
	s.mu.Lock()
	sh, told := *s.found.Shoots[i], &s.told.Sequences[i]
	sh.Measured = s.views[i].measured
	s.mu.Unlock()
	f := frames{Bad: map[int]string{}, Gaps: []gap{}}
	f.Width, f.Height = uprightSize(&sh)
	all := sh.Sequence.Frames
	for k := range all {
		f.Names = append(f.Names, words.OneLine(path.Base(all[k].Name)))
		at := math.NaN()
		if t, first := all[k].Facts.Taken, all[0].Facts.Taken; !t.IsZero() && !first.IsZero() {
			at = t.Sub(first).Seconds()
		}
		f.AtS = append(f.AtS, at)
		if !sh.InClip(k) {
			f.Bad[k] = sh.Trouble(k)
		}
	}
	for _, m := range told.Missing {
		if !m.Spare {
			f.Gaps = append(f.Gaps, gap{m.Frame - 1, m.Count, m.Cause})
		}
	}
	return f
}
