package assemble

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"stillspan/internal/files"
)

// segmentFrames is the default of Options.SegmentFrames.
const segmentFrames = 600

// Segments cuts a job into jobs of about Options.SegmentFrames stills, by a
// rule that depends on nothing but the job, so that any machines can make them
// and Join gives the same clip that Run makes. No cut falls into a gap that is
// to be filled. Image sequences are not cut.
func Segments(job Job) []Job {
	each := job.SegmentFrames
	if each == 0 {
		each = segmentFrames
	}
	n := len(job.Sources)
	parts := (n + each - 1) / each
	if parts < 2 || job.Ext() == "" {
		return []Job{job}
	}
	filled := map[int]bool{} // sources that a filled gap follows
	for _, g := range job.Gaps {
		filled[g.After] = job.GapMode != GapLeave
	}
	var out []Job
	from := 0
	for i := range parts {
		to := max((i+1)*n/parts, from)
		for to < n && to > 0 && (filled[to-1] || job.Sources[to].Joins) {
			to++
		}
		if to == from {
			continue
		}
		part := job
		part.Sources = job.Sources[from:to]
		part.Gaps = nil
		if from > 0 {
			part.HoldFirst, part.Slate = 0, nil
		}
		if to < n {
			part.HoldLast = 0
		}
		part.Timecode, part.Created = "", time.Time{} // of the whole
		for _, g := range job.Gaps {
			if g.After >= from && g.After < to {
				part.Gaps = append(part.Gaps, Gap{g.After - from, g.Count})
			}
		}
		out = append(out, part)
		from = to
	}
	return out
}

// Join makes job's clip out of the clips of its Segments, without encoding
// them again, and verifies and publishes it as Run does.
func Join(ctx context.Context, job Job, parts []string) (Clip, error) {
	p, err := plan(ctx, job)
	if err != nil {
		return Clip{}, err
	}
	if err := p.checkOutput(); err != nil {
		return Clip{}, err
	}
	w, err := p.beside()
	if err != nil {
		return Clip{}, err
	}
	defer w.Close()
	tmp, err := p.unfinished(w)
	if err != nil {
		return Clip{}, err
	}
	if err := p.join(ctx, tmp, Segments(job), parts); err != nil {
		return Clip{}, err
	}
	return p.deliver(ctx, w, tmp)
}

// runSegments makes the parts one after the other in the folder of work, and
// joins them to tmp.
func (p *Pipeline) runSegments(ctx context.Context, segments []Job, w *files.Work, tmp string, progress func(done, total int)) error {
	parts := make([]string, len(segments))
	before := 0
	for i, job := range segments {
		part := p.part(job)
		parts[i] = w.Path(fmt.Sprintf("%06d%s", i, filepath.Ext(p.job.Out)))
		part.job.Out = parts[i]
		var report func(done, total int)
		if progress != nil {
			report = func(done, _ int) { progress(before+done, len(p.job.Sources)) }
		}
		if err := part.encode(ctx, parts[i], report); err != nil {
			return err
		}
		p.complaints = append(p.complaints, part.complaints...)
		before += len(job.Sources)
	}
	return p.join(ctx, tmp, segments, parts)
}

// part is the pipeline of one segment.
func (p *Pipeline) part(job Job) *Pipeline {
	q := *p
	q.job = job
	q.total = job.frames()
	return &q
}

// join copies the streams of parts into out, one after the other. The list
// that ffmpeg reads names links, so that no character of a path misleads it.
func (p *Pipeline) join(ctx context.Context, out string, segments []Job, parts []string) error {
	if len(parts) != len(segments) {
		return fmt.Errorf("cannot join clip: %d parts, want %d", len(parts), len(segments))
	}
	lengths := make([]float64, len(parts))
	for i := range segments {
		lengths[i] = float64(segments[i].frames()) / p.job.Rate.FPS()
	}
	var args []string
	if tag := p.codec.Args["tag:v"]; tag != "" {
		args = append(args, "-tag:v", tag)
	}
	if flags := movFlags(p.job.Out); flags != "" {
		args = append(args, "-movflags", flags)
	}
	for name, value := range p.moment() {
		args = append(args, "-"+name, value.(string))
	}
	return concat(ctx, out, parts, lengths, args...)
}

// concat is join of files with the lengths they are said to have, seconds, or
// else their own.
func concat(ctx context.Context, out string, parts []string, lengths []float64, more ...string) error {
	w, err := files.WorkInTemp()
	if err != nil {
		return fmt.Errorf("cannot make a folder for links: %w", err)
	}
	defer w.Close()
	var list strings.Builder
	for i, part := range parts {
		name := fmt.Sprintf("%06d%s", i, filepath.Ext(part))
		_, err := os.Stat(part)
		if err == nil {
			err = files.Alias(part, w.Path(name))
		}
		if err != nil {
			return fmt.Errorf("cannot join clip: %w", err)
		}
		fmt.Fprintf(&list, "file '%s'\n", name)
		if lengths != nil { // containers that count milliseconds would add up their rounding
			fmt.Fprintf(&list, "duration %.6f\n", lengths[i])
		}
	}
	listName := w.Path("list")
	if err := os.WriteFile(listName, []byte(list.String()), 0o600); err != nil {
		return err
	}
	args := append([]string{"-f", "concat", "-safe", "0", "-i", file(listName), "-map", "0:v", "-c", "copy", "-map_metadata", "-1"}, more...)
	cmd, t := FFmpeg(ctx, append(args, "-y", file(out))...)
	if err := cmd.Run(); err != nil {
		return failure(ctx, "cannot join the clip's parts", err, t)
	}
	return nil
}
