// Command stillspan checks interval shoots against their plan and turns them
// into clips.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"

	"golang.org/x/term"

	"stillspan/assemble/shoot"
	"stillspan/internal/manual"
	"stillspan/internal/problem"
	"stillspan/internal/settings"
	"stillspan/internal/words"
	"stillspan/report"
)

// Exit codes, one a meaning.
const (
	exitOK          = 0
	exitFailed      = 1 // the work failed
	exitUsage       = 2
	exitFindings    = 3 // the work is done, the shoot has findings
	exitInterrupted = 130
)

// errFindings sets the exit code without a message: the findings have been
// printed as results.
var errFindings = errors.New("the shoot has findings")

// cli is what a command may touch of the world outside.
type cli struct {
	stdout, stderr io.Writer
	commands       []command
	// live is set when stderr is a terminal that a progress bar may be drawn on.
	live bool
	// width is the terminal's width in columns, 80 when stdout is none.
	width int
	color bool
	piped bool // stdout is no terminal
}

// command is one verb of the command line.
type command struct {
	name, summary string
	usage         string // what stands after the name; a line each
	about         string
	examples      string // a line each, without the program's name
	exit          string // what its exit codes mean, where that is to be said
	hidden        bool
	run           func(context.Context, *call) error
}

// call is one run of a command.
type call struct {
	*cli
	stated settings.Values // by the command line
	args   []string        // those that are no options
	line   []string        // all, as given
	// warnings are remarks on the run, for the report.
	warnings []string
	written  []string // places of this run
}

func commands() []command {
	return []command{
		checkCommand, renderCommand, dayCommand, reviewCommand, compareCommand, planCommand, demoCommand, versionCommand, dayTaskCommand, manualCommand,
	}
}

// usageError is a call that cannot be meant; the command's help says more.
type usageError struct{ text string }

func (e *usageError) Error() string { return e.text }

func usagef(format string, args ...any) error {
	return &usageError{fmt.Sprintf(format, args...)}
}

// usage makes an error of a call that cannot be meant.
func usage(err error) error {
	if err == nil {
		return nil
	}
	return &usageError{oneLine(err.Error())}
}

// withHint adds what to try to what went wrong.
var withHint = problem.Hint

func main() { os.Exit(mainCode()) }

// mainCode runs the process and returns its exit code; tests call it as a
// program of its own.
func mainCode() int {
	c := &cli{stdout: os.Stdout, stderr: os.Stderr, commands: commands(), width: 80, piped: true}
	c.live = term.IsTerminal(int(os.Stderr.Fd())) && os.Getenv("TERM") != "dumb"
	if fd := int(os.Stdout.Fd()); term.IsTerminal(fd) {
		if w, _, err := term.GetSize(fd); err == nil && w >= 40 {
			c.width = w
		}
		c.piped = false
		c.color = os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
	}
	ctx, stop := interruptible(c)
	defer stop()
	err := c.dispatch(ctx, os.Args[1:])
	code := exitCode(ctx, err)
	if code == exitFailed || code == exitUsage {
		c.explain(err)
	}
	return code
}

// interruptible returns a context that the first interrupt ends, so that every
// stage can clean up and return; a second interrupt ends the process.
func interruptible(c *cli) (context.Context, func()) {
	ctx, cancel := context.WithCancel(context.Background())
	ch := make(chan os.Signal, 1)
	signals := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) { // as nohup has it
		signals = append(signals, syscall.SIGHUP)
	}
	signal.Notify(ch, signals...)
	go func() {
		if _, ok := <-ch; !ok {
			return
		}
		signal.Stop(ch)
		fmt.Fprintln(c.stderr, "\nstillspan: interrupted, tidying up")
		cancel()
	}()
	return ctx, func() { signal.Stop(ch); cancel() }
}

func (c *cli) dispatch(ctx context.Context, args []string) error {
	if len(args) == 0 {
		c.overview(c.stderr)
		return usagef("no command given")
	}
	switch args[0] {
	case "help", "-h", "--help":
		if len(args) > 1 && args[0] == "help" {
			return c.dispatch(ctx, []string{args[1], "--help"})
		}
		c.overview(c.stdout)
		return nil
	case "--version":
		args[0] = "version"
	}
	for _, cmd := range c.commands {
		if cmd.name == args[0] {
			return c.call(ctx, cmd, args[1:])
		}
	}
	return usagef("there is no command %q: 'stillspan help' lists them", args[0])
}

// call runs one command with its arguments.
func (c *cli) call(ctx context.Context, cmd command, line []string) error {
	stated, args, err := settings.Parse(cmd.name, line)
	switch {
	case errors.Is(err, settings.ErrHelp):
		_, err := fmt.Fprint(c.stdout, cmd.help())
		return err
	case err != nil:
		return usage(err)
	}
	return cmd.run(ctx, &call{cli: c, stated: stated, args: args, line: line})
}

func (cmd *command) help() string {
	var b strings.Builder
	for i, line := range strings.Split(cmd.usage, "\n") {
		b.WriteString([]string{"usage: ", "       "}[min(i, 1)] + strings.TrimSpace("stillspan "+cmd.name+" "+line) + "\n")
	}
	if cmd.about != "" {
		b.WriteString("\n" + cmd.about)
	}
	if options := settings.Help(cmd.name); options != "" {
		b.WriteString("\n" + options)
	}
	if cmd.examples != "" {
		b.WriteString("\nexamples:\n")
		for line := range strings.Lines(cmd.examples) {
			b.WriteString("  stillspan " + line)
		}
	}
	if cmd.exit != "" {
		b.WriteString("\nExit codes: " + cmd.exit)
	}
	return b.String()
}

// folder is the single argument most commands take.
func (c *call) folder(command string) (string, error) {
	switch {
	case len(c.args) == 0 || c.args[0] == "":
		return "", usagef("no folder given; 'stillspan %s --help' shows examples", command)
	case len(c.args) > 1:
		return "", usagef("unexpected argument %q: one folder at a time", c.args[1])
	}
	return c.args[0], shoot.FolderIsThere(c.args[0])
}

// text is how summaries are written.
func (c *call) text() report.TextOptions {
	return report.TextOptions{Width: c.width, Color: c.color, Piped: c.piped}
}

// quiet tells whether only messages are to be printed.
func (c *call) quiet() bool { return settings.Quiet.Of(c.stated) }

func (c *cli) overview(w io.Writer) {
	fmt.Fprint(w, `stillspan - did each interval shoot deliver the clip that was planned?

usage: stillspan COMMAND [ARGUMENTS]

`)
	for _, cmd := range c.commands {
		if !cmd.hidden {
			fmt.Fprintf(w, "  %-9s %s\n", cmd.name, cmd.summary)
		}
	}
	fmt.Fprint(w, `
'stillspan COMMAND --help' shows its options with examples.

Exit codes: 0 all delivered as planned; 3 done, but the shoot has findings;
1 the work failed; 2 bad usage; 130 interrupted.
`)
}

// exitCode is what an error comes to.
func exitCode(ctx context.Context, err error) int {
	switch {
	case err == nil:
		return exitOK
	case errors.Is(err, errFindings):
		return exitFindings
	case ctx.Err() != nil:
		return exitInterrupted
	}
	if _, ok := errors.AsType[*usageError](err); ok {
		return exitUsage
	}
	return exitFailed
}

// explain says on stderr what went wrong and what to try.
func (c *cli) explain(err error) {
	fmt.Fprintf(c.stderr, "stillspan: %s\n", oneLine(err.Error()))
	if hint := problem.Try(err); hint != "" {
		fmt.Fprintf(c.stderr, "  try: %s\n", oneLine(hint))
	}
}

// oneLine keeps a message on one line, whatever a file name holds.
func oneLine(s string) string {
	return words.OneLine(strings.TrimSpace(s))
}

var versionCommand = command{
	name: "version", summary: "print the version",
	run: func(_ context.Context, c *call) error {
		if len(c.args) > 0 {
			return usagef("unexpected argument %q", c.args[0])
		}
		_, err := fmt.Fprintln(c.stdout, "stillspan", version())
		return err
	},
}

// manualCommand makes what a release ships for shells and man.
var manualCommand = command{
	name: "manual", hidden: true, usage: "man|bash|zsh|fish", about: "Prints the manual page, or a shell's completions.\n",
	run: printManual,
}

func printManual(_ context.Context, c *call) error {
	var list []manual.Command
	for _, cmd := range c.commands {
		if !cmd.hidden {
			list = append(list, manual.Command{Name: cmd.name, Summary: cmd.summary, Usage: cmd.usage, About: cmd.about, Examples: cmd.examples})
		}
	}
	if len(c.args) == 1 {
		if text, ok := manual.Make(c.args[0], list); ok {
			_, err := fmt.Fprint(c.stdout, text)
			return err
		}
	}
	return usagef("manual of what? one of %s", strings.Join(manual.Kinds(), ", "))
}

// release is what a release is called; the linker sets it.
var release string

// version is the release's name, or else the build's own: the module version,
// or the commit it was built from.
func version() string {
	if release != "" {
		return release
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && (v == "" || v == "(devel)") {
			v = s.Value[:min(12, len(s.Value))]
		}
	}
	if v == "" {
		v = "(devel)"
	}
	return v
}
