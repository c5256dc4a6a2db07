// Package manual makes the manual page and the shells' completions of the
// commands and of the table of their options.
package manual

import (
	"fmt"
	"strings"

	"stillspan/internal/settings"
)

// Command is what a manual says of a command beside its options.
type Command struct {
	Name, Summary string
	Usage         string // what stands after the name; a line each
	About         string
	Examples      string // a line each, without the program's name
}

// Kinds are the names that Make takes.
func Kinds() []string { return []string{"man", "bash", "zsh", "fish"} }

// Make writes the manual page or the completions of a shell; ok is false for a
// kind that there is none of.
func Make(kind string, commands []Command) (text string, ok bool) {
	make, ok := map[string]func([]Command) string{"man": man, "bash": bash, "zsh": zsh, "fish": fish}[kind]
	if !ok {
		return "", false
	}
	return make(commands), true
}

// options are the rows of a command that are shown.
func options(command string) []*settings.Row {
	var out []*settings.Row
	for _, r := range settings.Table() {
		if r.For&settings.Named(command) != 0 && r.Help != "" {
			out = append(out, r)
		}
	}
	return out
}

// man is in the macros of man(7).
func man(commands []Command) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line(".TH STILLSPAN 1\n.SH NAME\nstillspan \\- did each interval shoot deliver the clip that was planned?\n.SH SYNOPSIS")
	for _, c := range commands {
		for u := range strings.SplitSeq(c.Usage, "\n") {
			line(".B stillspan %s\n%s.br", c.Name, after(roff(u)))
		}
	}
	line(".SH COMMANDS")
	for _, c := range commands {
		line(".SS %s\n%s.", c.Name, roff(strings.ToUpper(c.Summary[:1])+c.Summary[1:]))
		if c.About != "" {
			line(".PP\n%s", roff(strings.TrimSpace(c.About)))
		}
		for _, r := range options(c.Name) {
			line(".TP\n.B %s\n%s", roff(strings.TrimSpace(r.Flag()+" "+r.Arg)), roff(r.About()))
		}
		if c.Examples != "" {
			line(".PP\nExamples:\n.PP\n.nf")
			for e := range strings.Lines(c.Examples) {
				line("stillspan %s", roff(strings.TrimSpace(e)))
			}
			line(".fi")
		}
	}
	line(".SH EXIT STATUS\n.TP\n.B 0\nall delivered as planned\n.TP\n.B 3\ndone, but the shoot has findings\n.TP\n.B 1\nthe work failed\n.TP\n.B 2\nbad usage\n.TP\n.B 130\ninterrupted")
	line(".SH SEE ALSO\n.BR ffmpeg (1),\n.BR ffprobe (1)")
	return b.String()
}

// after ends a line, or is nothing where there is none.
func after(s string) string {
	if s == "" {
		return ""
	}
	return s + "\n"
}

// roff keeps text from being taken for requests.
func roff(s string) string {
	s = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(s)
	lines := strings.Split(s, "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, ".") || strings.HasPrefix(l, "'") {
			lines[i] = `\&` + l
		}
	}
	return strings.Join(lines, "\n")
}

func bash(commands []Command) string {
	var b strings.Builder
	b.WriteString(`# bash completion of stillspan
_stillspan() {
	local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} options=
	COMPREPLY=()
	if [ "$COMP_CWORD" -eq 1 ]; then
		COMPREPLY=($(compgen -W "help ` + names(commands) + `" -- "$word"))
		return
	fi
	case ${COMP_WORDS[1]} in
`)
	for _, c := range commands {
		var flags []string
		fmt.Fprintf(&b, "\t%s)\n\t\tcase $before in\n", c.Name)
		for _, r := range options(c.Name) {
			flags = append(flags, r.Flag())
			if w := r.Words(); w != nil {
				fmt.Fprintf(&b, "\t\t%s) COMPREPLY=($(compgen -W %q -- \"$word\")); return ;;\n", r.Flag(), strings.Join(w, " "))
			} else if !r.Switch() && !r.File() {
				fmt.Fprintf(&b, "\t\t%s) return ;;\n", r.Flag())
			}
		}
		fmt.Fprintf(&b, "\t\tesac\n\t\toptions=%q ;;\n", strings.Join(flags, " "))
	}
	b.WriteString(`	esac
	case $word in
	-*) COMPREPLY=($(compgen -W "$options --help" -- "$word")) ;;
	*) COMPREPLY=($(compgen -f -- "$word")) ;;
	esac
}
complete -o filenames -F _stillspan stillspan
`)
	return b.String()
}

func names(commands []Command) string {
	var out []string
	for _, c := range commands {
		out = append(out, c.Name)
	}
	return strings.Join(out, " ")
}

func zsh(commands []Command) string {
	var b strings.Builder
	b.WriteString("#compdef stillspan\n_stillspan() {\n\tlocal -a commands=(\n")
	for _, c := range commands {
		fmt.Fprintf(&b, "\t\t%s\n", quote(c.Name+":"+c.Summary))
	}
	b.WriteString("\t)\n\tif (( CURRENT == 2 )); then\n\t\t_describe command commands\n\t\treturn\n\tfi\n\tlocal command=$words[2]\n\tshift words\n\t(( CURRENT-- ))\n\tcase $command in\n")
	for _, c := range commands {
		fmt.Fprintf(&b, "\t%s)\n\t\t_arguments \\\n", c.Name)
		for _, r := range options(c.Name) {
			spec := r.Flag() + "[" + strings.NewReplacer("[", "(", "]", ")").Replace(r.About()) + "]"
			switch w := r.Words(); {
			case w != nil:
				spec += ":" + r.Arg + ":(" + strings.Join(w, " ") + ")"
			case r.File():
				spec += ":" + r.Arg + ":_files"
			case !r.Switch():
				spec += ":" + strings.ReplaceAll(r.Arg, ":", `\:`) + ":"
			}
			fmt.Fprintf(&b, "\t\t\t%s \\\n", quote(spec))
		}
		b.WriteString("\t\t\t'*:file:_files' ;;\n")
	}
	b.WriteString("\tesac\n}\n_stillspan \"$@\"\n")
	return b.String()
}

func fish(commands []Command) string {
	var b strings.Builder
	b.WriteString("# fish completion of stillspan\n")
	for _, c := range commands {
		fmt.Fprintf(&b, "complete -c stillspan -n __fish_use_subcommand -f -a %s -d %s\n", c.Name, quote(c.Summary))
	}
	for _, c := range commands {
		for _, r := range options(c.Name) {
			flag := "-l " + strings.TrimLeft(r.Flag(), "-")
			if len(r.Name) == 1 {
				flag = "-s " + r.Name
			}
			more := ""
			switch w := r.Words(); {
			case w != nil:
				more = " -x -a " + quote(strings.Join(w, " "))
			case r.File():
				more = " -r -F"
			case !r.Switch():
				more = " -x"
			}
			fmt.Fprintf(&b, "complete -c stillspan -n '__fish_seen_subcommand_from %s' %s%s -d %s\n", c.Name, flag, more, quote(r.About()))
		}
	}
	return b.String()
}

// quote makes one word for a shell; fish and zsh read it alike.
func quote(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }
