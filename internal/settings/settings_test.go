package settings

import (
	"errors"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"stillspan/internal/codec"
)

// Of two rows for one command, none may have the name or the key of another.
func TestTable(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range table {
		if r.For == 0 || r.Name == "" || strings.HasSuffix(r.Help, ".") {
			t.Errorf("row %+v", r)
		}
		for _, c := range r.For.Names() {
			if seen[c+" "+r.Name] {
				t.Errorf("%s has two options %s", c, r.Name)
			}
			seen[c+" "+r.Name] = true
		}
		if r.Key != "" {
			if seen["key "+r.Key] {
				t.Errorf("two rows have the key %s", r.Key)
			}
			seen["key "+r.Key] = true
			if r.In == Default && !r.MakesClip && r.Name != "poster" { // which lies beside the clip
				t.Errorf("%s is stated by plans and makes no clip", r.Name)
			}
		}
		if r.Switch() && r.words != nil {
			t.Errorf("switch %s has words", r.Name)
		}
	}
}

func TestParse(t *testing.T) {
	v, rest, err := Parse("render", []string{"dir", "--gaps=blend", "-rate", "25", "--no-deflicker", "--overwrite=false", "-o", "-", "--", "--smooth"})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(rest, []string{"dir", "--smooth"}) {
		t.Errorf("arguments %q", rest)
	}
	if Gaps.Of(v) != "blend" || Rate.Of(v).Num != 25 || Deflicker.Of(v) || !Overwrite.Stated(v) || Overwrite.Of(v) || ClipOut.Of(v) != "-" || Smooth.Stated(v) {
		t.Errorf("read %v", v)
	}
	if v, _, err := Parse("day", []string{"--slurm", "--a", "--slurm", "-b"}); err != nil || !slices.Equal(Slurm.Of(v), []string{"--a", "-b"}) {
		t.Errorf("repeated: %v, %v", v, err)
	}
	if _, _, err := Parse("plan", []string{"--frames", "3", "--help"}); !errors.Is(err, ErrHelp) {
		t.Errorf("help: %v", err)
	}
	for _, c := range []struct {
		command, line, want string
	}{
		{"check", "--zone 0.5,0.5,0.9,0.9", `--zone "0.5,0.5,0.9,0.9": want`},
		{"check", "--smooth 3", "4 to 2000"},
		{"check", "--gaps hold", "belongs to day and render, not to check"},
		{"check", "--smoth 4", "did you mean --smooth?"},
		{"check", "--fps 25", "no option --fps: did you mean --rate?"},
		{"render", "--out x", "--out belongs to day and review: render has -o"},
		{"day", "-o x", "-o belongs to plan and render: day has --out"},
		{"day", "--output x", "did you mean --out?"},
		{"render", "--crf 18", "did you mean --quality?"},
		{"check", "--html", "needs a value: --html FILE"},
		{"check", "--quiet=perhaps", `--quiet "perhaps": want true or false`},
		{"render", "--no-gaps", "no option --no-gaps"},
		{"plan", "--html x", "--html belongs to check, day and render, not to plan"},
		{"version", "--quiet", "belongs to"},
	} {
		if _, _, err := Parse(c.command, strings.Fields(c.line)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %s: %v, want %q", c.command, c.line, err, c.want)
		}
	}
}

// What is stated holds over what is not, whatever the default, and the nearest
// over the others.
func TestOver(t *testing.T) {
	line, shoot, defaults := Values{}, Values{}, Values{}
	Gaps.Set(line, "leave") // as by default
	Gaps.Set(shoot, "blend")
	Aspect.Set(shoot, "4:3")
	Aspect.Set(defaults, "1:1")
	Smooth.Set(defaults, 30)
	v := line.Over(shoot, defaults)
	if Gaps.Of(v) != "leave" || Aspect.Of(v) != "4:3" || Smooth.Of(v) != 30 || Local.Of(v) != "auto" || len(v) != 3 || len(line) != 1 {
		t.Errorf("%v", v)
	}
	if a, b := v.OfClip(), line.OfClip(); a["aspect"] == b["aspect"] || a["local"] != b["local"] {
		t.Errorf("a clip of %v and one of %v", a, b)
	}
}

func TestKinds(t *testing.T) {
	for _, c := range []struct {
		row  *Row
		good []string
		bad  []string
	}{
		{Zone.Row, []string{"0,0,1,1", "0.1, 0.5, 0.8, 0.4"}, []string{"", "1,2", "0,0,0,0", "0.5,0,0.6,1", "NaN,0,1,1", "-0.1,0,1,1"}},
		{ClipSize.Row, []string{"1920x1080", "16X16"}, []string{"big", "1920", "1920x1081", "0x0", "-16x16", "99999x16"}},
		{LeaveOut.Row, []string{"7", "3-9, 4", "10000000"}, []string{"", "0", "4-3", "a", "1-", "1,,2"}},
		{CropAt.Row, []string{"0,1", "0.5,0.25"}, []string{"0", "0,1.1", "a,b"}},
		{Aspect.Row, []string{"16:9", "source"}, []string{"16x9", "0:1", "16:", ""}},
		{Rate.Row, []string{"24", "23.976", "24000/1001"}, []string{"fast", "0", "-1", "1/0"}},
		{Exposure.Row, []string{"5", "25m", "1h30m", "25:00", "14d", "1d12h"}, []string{"soon", "25:61", "d", "0", "-5"}},
		{From.Row, []string{"2026-05-01T05:40:00", "2026-05-01 05:40"}, []string{"2026-05-01T05:40:00Z", "today"}},
		{Move.Row, []string{"1200mm", "1.2m", "48in", "90deg", "90 degrees", "90°"}, []string{"1200", "90", "0m", "-1m", "far"}},
		{Card.Row, []string{"64GB", "25 MB", "1e9B"}, []string{"", "big", "128", "1e9", "-1GB", "1e30"}},
		{MinFrames.Row, []string{"2", "100000"}, []string{"1", "2.5", "100001"}},
		{Shots.Row, []string{"300"}, []string{"0", "NaN", "Inf"}},
	} {
		for _, s := range c.good {
			if _, err := c.row.Read(s); err != nil {
				t.Errorf("%s %v", c.row.Flag(), err)
			}
		}
		for _, s := range c.bad {
			if x, err := c.row.Read(s); err == nil {
				t.Errorf("%s %q was read as %v", c.row.Flag(), s, x)
			}
		}
	}
}

// The table of options in README.md has every option with its commands, and no
// other.
func TestREADME(t *testing.T) {
	data, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	told := map[string][]string{} // by command
	flags := regexp.MustCompile("`(--?[a-z][a-z-]*)[^`]*`")
	for line := range strings.Lines(string(data)) {
		cells := strings.Split(strings.ReplaceAll(line, `\|`, "/"), "|")
		if len(cells) < 4 || !strings.HasPrefix(strings.TrimSpace(cells[1]), "`-") {
			continue
		}
		for _, command := range strings.Split(cells[2], ",") {
			command = strings.TrimSpace(command)
			for _, m := range flags.FindAllStringSubmatch(cells[1], -1) {
				told[command] = append(told[command], m[1])
			}
		}
	}
	for _, name := range append(codec.Names(), codec.PresetNames()...) {
		if !regexp.MustCompile(`\b` + name + `\b`).Match(data) {
			t.Errorf("README.md does not tell of %s", name)
		}
	}
	for _, command := range Commands() {
		var have []string
		for _, r := range table {
			if r.For&Named(command) != 0 && r.Help != "" {
				have = append(have, r.Flag())
			}
		}
		for _, f := range have {
			if !slices.Contains(told[command], f) {
				t.Errorf("README.md does not tell of %s %s", command, f)
			}
		}
		for _, f := range told[command] {
			if !slices.Contains(have, f) {
				t.Errorf("README.md tells of %s %s, which is none", command, f)
			}
		}
	}
}

// Frames may be named in any order and more than once.
func TestRuns(t *testing.T) {
	x, err := LeaveOut.Read("9, 40-52,8,41,50-60")
	if err != nil {
		t.Fatal(err)
	}
	r := x.(Runs)
	if r.String() != "8-9,40-60" || r.Hold(7) || !r.Hold(9) || !r.Hold(55) || r.Hold(61) {
		t.Errorf("read %s", r)
	}
}
