package plan

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"reflect"
	"slices"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"stillspan/internal/files"
	"stillspan/internal/problem"
	"stillspan/internal/settings"
)

// ErrChanged says that a plan file is not what it was when it was read.
var ErrChanged = errors.New("the plan was changed meanwhile")

// Version names one content of a plan file.
func Version(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:12])
}

// Revise writes what edit makes of a plan file, whole or not at all. was is the
// Version that the caller has seen, of no bytes where there was no file; of
// another the error is ErrChanged and nothing is written. It returns what was
// written.
func Revise(file, was string, edit func(old []byte) ([]byte, error)) ([]byte, error) {
	work, err := files.WorkBeside(file)
	if errors.Is(err, files.ErrLocked) {
		return nil, ErrChanged
	}
	if err != nil {
		return nil, problem.Hint(fmt.Errorf("cannot write plan: %w", err), "a folder that exists and may be written to")
	}
	defer work.Close()
	old, err := Read(file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("cannot read plan %q: %w", file, files.Cause(err))
	}
	if Version(old) != was {
		return nil, ErrChanged
	}
	data, err := edit(old)
	if err != nil {
		return nil, err
	}
	return data, replace(file, old, data)
}

// Append adds a shoot to a plan's text, which may be empty.
func Append(old []byte, s Shoot) ([]byte, error) {
	var b bytes.Buffer
	var err error
	if len(bytes.TrimSpace(old)) == 0 {
		err = Write(&b, &File{Shoots: []Shoot{s}})
	} else {
		b.Write(bytes.TrimRight(old, "\r\n"))
		b.WriteString("\n\n")
		err = WriteShoot(&b, s)
	}
	if err == nil {
		_, err = Parse(b.Bytes())
	}
	return b.Bytes(), err
}

// Set changes what a plan's text states of the settings of shoot i; nil takes a
// value out. All else, comments too, stays as it is. A rate leaves the number of
// frames that was planned: where the length of the clip stands for it, the
// number takes its place.
func Set(old []byte, i int, change settings.Values) ([]byte, error) {
	before, err := Parse(old)
	if err != nil {
		return nil, err
	}
	want := before.Shoots[i]
	want.Settings = want.Settings.Over()
	lines := map[string]any{} // by key
	for _, r := range settings.Table() {
		x, ok := change[r.Name]
		if !ok || r.In != settings.Default || r.Key == "" {
			continue
		}
		lines[r.Key] = x
		if x != nil {
			want.Settings[r.Name] = x
		} else if delete(want.Settings, r.Name); before.Defaults[r.Name] != nil {
			want.Settings[r.Name] = before.Defaults[r.Name]
		}
	}
	stated, end, err := table(old, i)
	if err != nil {
		return nil, err
	}
	if _, moved := change[settings.Rate.Name]; moved && stated["clip_s"] != (span{}) && want.Frames > 0 {
		lines["frames"], lines["clip_s"] = want.Frames, nil
	}
	data, err := edited(old, stated, end, lines)
	if err != nil {
		return nil, err
	}
	return data, onlyThat(data, before, i, want)
}

// onlyThat makes sure that a changed text says what was wanted and nothing else
// new.
func onlyThat(data []byte, before *File, i int, want Shoot) error {
	after, err := Parse(data)
	if err != nil {
		return err
	}
	same := len(after.Shoots) == len(before.Shoots) && reflect.DeepEqual(after.Defaults, before.Defaults)
	for k := range before.Shoots {
		if k != i {
			same = same && reflect.DeepEqual(after.Shoots[k], before.Shoots[k])
		} else {
			got := after.Shoots[k]
			same = same && got.Name == want.Name && got.Frames == want.Frames && reflect.DeepEqual(got.Settings, want.Settings)
		}
	}
	if !same {
		return errByHand
	}
	return nil
}

var errByHand = problem.Hint(errors.New("the plan is written in a way that cannot be changed from here"),
	"writing each shoot as lines under its own [[shoot]]")

// span is where something stands in a text.
type span struct{ from, to int }

// table finds the values of shoot i by their keys, and where the last of its
// lines ends.
func table(data []byte, i int) (stated map[string]span, end int, err error) {
	var p unstable.Parser
	p.Reset(data)
	stated, end = map[string]span{}, -1
	shoots, here := -1, false
	for p.NextExpression() {
		n := p.Expression()
		name := n.Key()
		name.Next()
		key := name.Node()
		switch n.Kind {
		case unstable.ArrayTable:
			shoots++ // checkKeys knows no others
			if here = shoots == i; here {
				end = int(key.Raw.Offset + key.Raw.Length)
			}
		case unstable.Table:
			here = false
		case unstable.KeyValue:
			if here {
				s := span{int(n.Raw.Offset), int(n.Raw.Offset + n.Raw.Length)}
				stated[string(key.Data)], end = s, s.to
			}
		}
	}
	if end < 0 {
		return nil, 0, errByHand
	}
	return stated, lineEnd(data, end), p.Error()
}

// lineEnd is where the line of place at ends, before its line break.
func lineEnd(data []byte, at int) int {
	if n := bytes.IndexByte(data[at:], '\n'); n >= 0 {
		return at + len(bytes.TrimRight(data[at:at+n], "\r"))
	}
	return len(data)
}

// edited puts values, by their keys, in the places of those that are stated,
// and the others after end. nil takes a value out, with its line where nothing
// else stands on it.
func edited(old []byte, stated map[string]span, end int, values map[string]any) ([]byte, error) {
	type edit struct {
		span
		text string
	}
	var edits []edit
	newline := "\n"
	if bytes.Contains(old, []byte("\r\n")) {
		newline = "\r\n"
	}
	added := ""
	for _, key := range slices.Sorted(maps.Keys(values)) {
		x, s := values[key], stated[key]
		line := ""
		if x != nil {
			b, err := toml.Marshal(map[string]any{key: plain(x)})
			if err != nil {
				return nil, fmt.Errorf("cannot write plan: %w", err)
			}
			line = string(bytes.TrimRight(b, "\n"))
		}
		switch {
		case s != (span{}) && x == nil:
			rest := old[s.to:lineEnd(old, s.to)]
			if s.to += len(rest) - len(bytes.TrimLeft(rest, " \t")); s.to == lineEnd(old, s.to) {
				s.to = min(s.to+len(newline), len(old))
			}
			edits = append(edits, edit{s, ""})
		case s != (span{}):
			edits = append(edits, edit{s, line})
		case x != nil:
			added += newline + line
		}
	}
	edits = append(edits, edit{span{end, end}, added})
	slices.SortFunc(edits, func(a, b edit) int { return cmp.Compare(b.from, a.from) })
	out := slices.Clone(old)
	for _, e := range edits {
		if e.to > end && e.from < end { // the last line goes, with its break
			e.to = end
		}
		out = slices.Concat(out[:e.from], []byte(e.text), out[e.to:])
	}
	return out, nil
}
