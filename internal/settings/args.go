package settings

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"stillspan/internal/words"
)

// ErrHelp is the error of Parse when help is asked for.
var ErrHelp = errors.New("help is asked for")

// Parse reads a command's arguments: options wherever they stand, and after
// "--" none. It returns what was stated and the other arguments.
func Parse(command string, args []string) (Values, []string, error) {
	v := Values{}
	var rest []string
	for len(args) > 0 {
		arg := args[0]
		args = args[1:]
		name, value, given := strings.Cut(strings.TrimPrefix(strings.TrimPrefix(arg, "-"), "-"), "=")
		switch {
		case arg == "--":
			return v, append(rest, args...), nil
		case arg == "-" || !strings.HasPrefix(arg, "-"):
			rest = append(rest, arg)
			continue
		case name == "h" || name == "help":
			return nil, nil, ErrHelp
		}
		r, off := find(command, name)
		if r == nil {
			return nil, nil, unknown(command, arg, name)
		}
		switch {
		case given:
		case r.Switch():
			value = "true"
		case len(args) == 0:
			return nil, nil, fmt.Errorf("%s needs a value: %s %s", arg, arg, r.Arg)
		default:
			value, args = args[0], args[1:]
		}
		x, err := r.Read(value)
		if err != nil {
			return nil, nil, fmt.Errorf("%s %w", r.Flag(), err)
		}
		if off {
			x = x == false
		}
		if list, ok := v[r.Name].([]string); ok {
			x = append(list, x.([]string)...)
		}
		v[r.Name] = x
	}
	return v, rest, nil
}

// find looks an option of a command up; off is set for "no-NAME".
func find(command, name string) (r *Row, off bool) {
	for _, r := range table {
		if r.For&Named(command) == 0 {
			continue
		}
		if r.Name == name {
			return r, false
		}
		if r.start == true && "no-"+r.Name == name {
			return r, true
		}
	}
	return nil, false
}

// akin are words that people type for an option of another name.
var akin = map[string]string{
	"fps": "rate", "framerate": "rate", "frame-rate": "rate", "playback": "rate",
	"out": "o", "output": "o out", "O": "out o", "o": "out",
	"crf": "quality", "q": "quality", "resolution": "size", "scale": "size", "format": "codec", "encoder": "codec",
	"start": "first", "begin": "first", "end": "last", "step": "speed", "every": "speed", "skip": "leave-out", "exclude": "leave-out",
	"shoot": "sequence", "id": "sequence", "roi": "zone", "region": "zone", "fill": "gaps", "missing": "gaps",
	"force": "overwrite", "f": "overwrite", "y": "overwrite", "silent": "quiet", "threads": "workers", "j": "jobs",
	"duration": "time", "length": "clip", "shutter": "exposure", "report": "html", "dry": "dry-run", "n": "dry-run",
}

func unknown(command, arg, name string) error {
	var here, elsewhere []string
	for _, r := range table {
		flag := strings.TrimLeft(r.Flag(), "-")
		if r.For&Named(command) != 0 && r.Help != "" {
			here = append(here, flag)
		} else if flag == name || r.Name == name {
			elsewhere = append(elsewhere, r.For.Names()...)
		}
	}
	meant := ""
	for _, to := range strings.Fields(akin[name]) {
		if meant == "" && slices.Contains(here, to) {
			meant = "-" + strings.Repeat("-", min(len(to)-1, 1)) + to
		}
	}
	switch {
	case len(elsewhere) > 0 && meant != "":
		slices.Sort(elsewhere)
		return fmt.Errorf("%s belongs to %s: %s has %s", arg, words.And(slices.Compact(elsewhere)), command, meant)
	case len(elsewhere) > 0:
		slices.Sort(elsewhere)
		return fmt.Errorf("%s belongs to %s, not to %s", arg, words.And(slices.Compact(elsewhere)), command)
	case meant != "":
		return fmt.Errorf("no option %s: did you mean %s?", arg, meant)
	}
	if near := words.Nearest(name, here); near != "" {
		return fmt.Errorf("no option %s: did you mean --%s?", arg, near)
	}
	return fmt.Errorf("no option %s; 'stillspan %s --help' lists the options", arg, command)
}

// Help lists a command's options.
func Help(command string) string {
	var b strings.Builder
	for _, r := range table {
		if r.For&Named(command) != 0 && r.Help != "" {
			b.WriteString(entry(r))
		}
	}
	return b.String()
}

// About is the row's help, the permitted range in place of %s, and its default.
func (r *Row) About() string {
	about := strings.ReplaceAll(r.Help, "%s", r.permitted)
	if r.Default != "" && !r.Switch() {
		about += "; default " + r.Default
	}
	return about
}

// entry is the row in a list of options, wrapped.
func entry(r *Row) string {
	const column, width = 20, 79
	head := "  " + r.Flag()
	if !r.Switch() {
		head += " " + r.Arg
	}
	if len(head) >= column {
		head += "\n"
		head += strings.Repeat(" ", column)
	} else {
		head += strings.Repeat(" ", column-len(head))
	}
	var b strings.Builder
	b.WriteString(head)
	at := column
	for i, word := range strings.Fields(r.About()) {
		switch {
		case i == 0:
		case at+1+len(word) > width:
			b.WriteString("\n" + strings.Repeat(" ", column))
			at = column
		default:
			b.WriteByte(' ')
			at++
		}
		b.WriteString(word)
		at += len(word)
	}
	b.WriteByte('\n')
	return b.String()
}
