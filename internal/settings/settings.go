// Package settings is the one table of options: Table has a row for each, and
// the command line, the help, the plan file, the manual page and the record of
// what a clip was made with all read it.
package settings

import (
	"fmt"
	"slices"
	"strings"
)

// For is a set of commands.
type For uint

// The commands that take options.
const (
	Check For = 1 << iota
	Render
	Day
	Review
	Compare
	Plan
	Demo

	Clips = Render | Day
	Judge = Check | Render | Day
)

// Commands names the commands in the order of the help.
func Commands() []string {
	return []string{"check", "render", "day", "review", "compare", "plan", "demo"}
}

// Named is the set of one command, 0 for a name that takes no options.
func Named(command string) For {
	if i := slices.Index(Commands(), command); i >= 0 {
		return 1 << i
	}
	return 0
}

// Names lists the commands of a set.
func (f For) Names() []string {
	var out []string
	for i, name := range Commands() {
		if f&(1<<i) != 0 {
			out = append(out, name)
		}
	}
	return out
}

// Place says where in a plan file a key may stand.
type Place int

// Places of a plan file.
const (
	InShoot Place = iota // in a [[shoot]]
	Noted                // in a [[shoot]], for whoever reads the plan
	Default              // in a [[shoot]] or, for all that state none, in [defaults]
)

// Row is what the table says of one option.
type Row struct {
	// Name is the option's on the command line, without dashes. A switch that
	// is on by default is turned off by "no-" before it.
	Name string
	Arg  string // stands for the value in the help; empty for a switch
	Key  string // in a plan file; empty where a plan does not say it
	In   Place
	// Default is the value of one that nobody states, as it would be typed.
	Default string
	For     For
	// Help is what it does; a row without is taken and not shown.
	Help string
	// MakesClip is set where another value makes another clip.
	MakesClip bool

	permitted string   // the range, for the help; may be empty
	words     []string // the only values there are; nil for others
	file      bool     // the value is a path
	unit      string   // of a bare number in a plan file
	read      func(string) (any, error)
	start     any // Default, read
}

// Switch tells whether the option takes no value.
func (r *Row) Switch() bool { return r.Arg == "" }

// Words are the only values there are; nil where there are others.
func (r *Row) Words() []string { return r.words }

// File tells whether the value is a path.
func (r *Row) File() bool { return r.file }

// Flag is the option as it is typed.
func (r *Row) Flag() string {
	switch {
	case len(r.Name) == 1:
		return "-" + r.Name
	case r.start == true:
		return "--no-" + r.Name
	}
	return "--" + r.Name
}

// Option is a row whose values are of type T.
type Option[T any] struct{ *Row }

// kind is how values of type T are written.
type kind[T any] struct {
	permitted string
	words     []string
	file      bool
	unit      string // of a bare number in a plan file
	read      func(string) (T, error)
}

var table []*Row

// Table lists all rows.
func Table() []*Row { return table }

// add makes a row of the table. It panics on a default that cannot be read.
func add[T any](k kind[T], r Row) Option[T] {
	r.permitted, r.words, r.file, r.unit = k.permitted, k.words, k.file, k.unit
	if r.words != nil {
		r.permitted = strings.Join(r.words, ", ")
	}
	r.read = func(s string) (any, error) { return k.read(s) }
	var zero T
	r.start = any(zero)
	if r.Default != "" {
		v, err := r.read(r.Default)
		if err != nil {
			panic(fmt.Sprintf("settings: default of %s: %v", r.Name, err))
		}
		r.start = v
	}
	table = append(table, &r)
	return Option[T]{&r}
}

// Values are options that somebody stated, by name. What is not in it was not
// stated, whatever the default.
type Values map[string]any

// Of is the option's value: as stated, or else the default.
func (o Option[T]) Of(v Values) T {
	if x, ok := v[o.Name]; ok {
		return x.(T)
	}
	return o.start.(T)
}

// Stated tells whether somebody stated it.
func (o Option[T]) Stated(v Values) bool {
	_, ok := v[o.Name]
	return ok
}

// Set states a value.
func (o Option[T]) Set(v Values, x T) { v[o.Name] = x }

// Over lays v over others, the nearest first.
func (v Values) Over(others ...Values) Values {
	out := Values{}
	for _, layer := range slices.Backward(append([]Values{v}, others...)) {
		for name, x := range layer {
			out[name] = x
		}
	}
	return out
}

// OfClip is what a clip depends on: every such option with its value, stated
// or not.
func (v Values) OfClip() map[string]any {
	out := map[string]any{}
	for _, r := range table {
		if !r.MakesClip {
			continue
		}
		out[r.Name] = r.start
		if x, ok := v[r.Name]; ok {
			out[r.Name] = x
		}
	}
	return out
}

// Read reads the row's value from text or from what a plan file holds.
func (r *Row) Read(v any) (any, error) {
	word := text(v)
	if _, typed := v.(string); !typed {
		word += r.unit
	}
	x, err := r.read(word)
	if err != nil {
		return nil, fmt.Errorf("%q: %w", text(v), err)
	}
	return x, nil
}
