package main

import (
	"errors"
	"flag"
	"io"
)

// newFlags returns an empty set of options that prints nothing by itself.
func newFlags(name string) *flag.FlagSet {
	fs := flag.NewFlagSet(name, flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	fs.Usage = func() {}
	return fs
}

// parse reads options wherever they stand among the arguments; after "--" all
// are arguments. It returns the arguments.
func parse(fs *flag.FlagSet, args []string) ([]string, error) {
	var rest []string
	for {
		if err := fs.Parse(args); err != nil {
			if errors.Is(err, flag.ErrHelp) {
				return nil, err
			}
			return nil, usagef("%s; 'stillspan %s --help' lists the options", err, fs.Name())
		}
		read := args[:len(args)-fs.NArg()]
		args = fs.Args()
		if len(read) > 0 && read[len(read)-1] == "--" {
			return append(rest, args...), nil
		}
		if len(args) == 0 {
			return rest, nil
		}
		rest = append(rest, args[0])
		args = args[1:]
	}
}

// oneFolder is the single argument most commands take.
func oneFolder(fs *flag.FlagSet, args []string) (string, error) {
	switch {
	case len(args) == 0 || args[0] == "":
		return "", usagef("no folder given; 'stillspan %s --help' shows examples", fs.Name())
	case len(args) > 1:
		return "", usagef("unexpected argument %q: one folder at a time", args[1])
	}
	return args[0], nil
}
