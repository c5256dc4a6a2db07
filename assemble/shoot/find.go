package shoot

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"stillspan/ingest"
	"stillspan/ingest/plan"
	"stillspan/internal/problem"
	"stillspan/internal/settings"
)

// Found is a folder of stills set beside its plan.
type Found struct {
	Dump   *ingest.Dump
	Plan   *plan.File // nil when there is none
	Shoots []*Shoot   // one a sequence, in the dump's order
	// NotFound are the planned shoots that no sequence answers to.
	NotFound []*Shoot
	// Match says what the pairs rest on and what was refused; its indexes are
	// of Shoots and of the plan.
	Match plan.Matching
}

// Find reads the headers of a folder's stills and matches the sequences with
// the plan; nothing is measured yet. What v states goes before what the plan
// states. progress may be nil.
func Find(ctx context.Context, root string, v settings.Values, progress func(done, total int)) (*Found, error) {
	f := &Found{}
	if name := settings.PlanFile.Of(v); name != "" {
		p, err := plan.Load(name)
		if err != nil {
			return nil, problem.Hint(err, "'stillspan plan --help' shows how to have one written")
		}
		f.Plan = p
	}
	if err := FolderIsThere(root); err != nil {
		return nil, err
	}
	scan := ScanOptions(v)
	scan.Planned = f.Plan.Hints()
	if progress == nil {
		progress = func(int, int) {}
	}
	dump, err := ingest.Scan(ctx, root, scan, progress)
	if err != nil {
		return nil, err
	}
	if len(dump.Sequences)+len(dump.Loose)+len(dump.Unreadable) == 0 {
		return nil, problem.Hint(fmt.Errorf("no stills in %q%s", root, ignoredText(dump.Ignored)),
			"the folder the card was copied to; JPEG, PNG, TIFF, HEIF and raw stills are read")
	}
	f.Dump = dump
	f.match(root, v)
	return f, nil
}

// Replan sets the same sequences beside another plan, which may be nil. Nothing
// of them is measured yet.
func (f *Found) Replan(p *plan.File, root string, v settings.Values) *Found {
	again := &Found{Dump: f.Dump, Plan: p}
	again.match(root, v)
	return again
}

// match makes the shoots of the dump and of the plan.
func (f *Found) match(root string, v settings.Values) {
	dump := f.Dump
	f.Match = plan.Match(f.Plan, dump.Sequences)
	for i := range dump.Sequences {
		s := &Shoot{Sequence: &dump.Sequences[i], Root: root, Settings: v, MatchedBy: f.Match.How[i]}
		if k := f.Match.Shoot[i]; k >= 0 {
			s.Planned = &f.Plan.Shoots[k]
			s.Settings = v.Over(s.Planned.Settings)
		} else if f.Plan != nil {
			s.Settings = v.Over(f.Plan.Defaults)
		}
		s.Rate = settings.Rate.Of(s.Settings)
		f.Shoots = append(f.Shoots, s)
	}
	for _, k := range f.Match.NotFound {
		s := &Shoot{Planned: &f.Plan.Shoots[k]}
		s.Settings = v.Over(s.Planned.Settings)
		s.Rate = settings.Rate.Of(s.Settings)
		f.NotFound = append(f.NotFound, s)
	}
}

// FolderIsThere says what is wrong with a folder of stills that cannot be
// read.
func FolderIsThere(root string) error {
	info, err := os.Stat(root)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return problem.Hint(fmt.Errorf("no such folder: %q", root), "is the drive plugged in, and the name spelled right?")
	case err != nil:
		return fmt.Errorf("cannot read folder: %w", err)
	case !info.IsDir():
		return problem.Hint(fmt.Errorf("%q is a file, not a folder", root), "the folder that holds the stills")
	}
	return nil
}

func ignoredText(ig []ingest.Ignored) string {
	var parts []string
	for _, g := range ig {
		parts = append(parts, fmt.Sprintf("%d %s", g.Count, g.Kind))
	}
	if len(parts) == 0 {
		return ""
	}
	return " (left alone: " + strings.Join(parts, ", ") + ")"
}

// Only drops all shoots but those that word names. The plan has been matched
// with all of them, so that what the others answer to is not reported as
// missing.
func (f *Found) Only(word string) error {
	inside := strings.TrimPrefix(filepath.ToSlash(word), filepath.ToSlash(filepath.Clean(f.Dump.Root))+"/")
	named := plan.Find(inside, f.Plan, f.Match, f.Dump.Sequences)
	if len(named) > 0 {
		kept := make([]*Shoot, len(named))
		for k, i := range named {
			kept[k] = f.Shoots[i]
		}
		f.Shoots, f.Match = kept, f.Match.Only(named)
		return nil
	}
	var ids []string
	for _, s := range f.Shoots {
		id := s.Sequence.ID
		if s.Planned != nil {
			id += fmt.Sprintf(" (%q)", s.Planned.Name)
		}
		ids = append(ids, id)
	}
	if len(ids) == 0 {
		return fmt.Errorf("no sequence %q: there is none in this dump", word)
	}
	return problem.Hint(fmt.Errorf("no sequence %q in this dump", word), "an ID, a planned name or a folder: %s", strings.Join(ids, ", "))
}

// NoShoots is the error of a command that needs a sequence and finds none.
func (f *Found) NoShoots() error {
	return problem.Hint(fmt.Errorf("no sequence in %q: only %d loose stills", f.Dump.Root, len(f.Dump.Loose)+len(f.Dump.Unreadable)),
		"--min-frames lowers what counts as a sequence")
}
