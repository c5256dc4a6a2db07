package manual

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"stillspan/internal/settings"
)

func commands() (list []Command) {
	for _, name := range settings.Commands() {
		list = append(list, Command{Name: name, Summary: "does what it does", Usage: "[OPTIONS]\nDIR", About: ".begins with a dot, and has\na \\ in it.\n", Examples: name + " it\n"})
	}
	return list
}

// Every option of every command is in all of them.
func TestAll(t *testing.T) {
	for _, kind := range Kinds() {
		text, ok := Make(kind, commands())
		if !ok {
			t.Fatalf("no %s", kind)
		}
		for _, c := range settings.Commands() {
			for _, r := range options(c) {
				flag := r.Flag()
				switch {
				case kind == "man":
					flag = roff(flag)
				case kind == "fish" && len(r.Name) == 1:
					flag = "-s " + r.Name
				case kind == "fish":
					flag = "-l " + strings.TrimLeft(flag, "-")
				}
				if !strings.Contains(text, flag) {
					t.Errorf("%s: no %s of %s", kind, r.Flag(), c)
				}
			}
		}
	}
	if _, ok := Make("smoke signals", nil); ok {
		t.Error("a manual of smoke signals")
	}
}

// Shells and groff read what is made for them, where they are installed.
func TestRead(t *testing.T) {
	for kind, command := range map[string][]string{
		"bash": {"bash", "-n"}, "zsh": {"zsh", "-n"}, "fish": {"fish", "-n"}, "man": {"groff", "-man", "-ww", "-Tutf8", "-z"},
	} {
		if _, err := exec.LookPath(command[0]); err != nil {
			t.Logf("no %s here", command[0])
			continue
		}
		text, _ := Make(kind, commands())
		file := filepath.Join(t.TempDir(), "made")
		if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(command[0], append(command[1:], file)...).CombinedOutput(); err != nil || len(out) > 0 {
			t.Errorf("%s: %v: %s", kind, err, out)
		}
	}
}

// bash offers commands, options and the words an option takes.
func TestBash(t *testing.T) {
	if _, err := exec.LookPath("bash"); err != nil {
		t.Skip("no bash here")
	}
	text, _ := Make("bash", commands())
	for line, want := range map[string]string{
		"stillspan re": "render review", "stillspan render --refuse": "--refuse-flashes", "stillspan render dump --gaps ": "leave hold blend",
		"stillspan check --gap": "", "stillspan check --smooth ": "",
	} {
		words := strings.Split(line, " ")
		script := text + "\nCOMP_WORDS=(\"$@\"); COMP_CWORD=$(($# - 1)); _stillspan; echo \"${COMPREPLY[*]}\""
		out, err := exec.Command("bash", append([]string{"-c", script, "bash"}, words...)...).CombinedOutput()
		if got := strings.TrimSpace(string(out)); err != nil || got != want {
			t.Errorf("%q: %q, %v; want %q", line, got, err, want)
		}
	}
}
