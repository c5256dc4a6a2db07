package plan

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillspan/internal/settings"
)

// What a hand has written stays, but for the lines of what was changed.
func TestSetKeepsTheRest(t *testing.T) {
	text := `# A day at the harbour.
[defaults]
rate = 25  # broadcast

[[shoot]] # the first
name = "dawn"
  clip_s = 12   # as the client asked
interval_s = 5
zone = [0.1,
        0.5, 0.8, 0.4] # the sky
# gaps = "hold"

[[shoot]]
frames = 100
name = 'dusk'
`
	v := func(option, value string) settings.Values {
		out := settings.Values{}
		for _, r := range settings.Table() {
			if r.Key == option && r.In == settings.Default {
				x, err := r.Read(value)
				if err != nil {
					t.Fatal(err)
				}
				out[r.Name] = x
			}
		}
		return out
	}
	for _, c := range []struct {
		name     string
		shoot    int
		change   settings.Values
		old, new string // what is replaced in the text
	}{
		{"a value is changed", 0, v("zone", "0,0,1,0.5"), "zone = [0.1,\n        0.5, 0.8, 0.4] # the sky", "zone = '0,0,1,0.5' # the sky"},
		{"one is added", 0, v("leave_out", "3,8-9"), "# the sky", "# the sky\nleave_out = '3,8-9'"},
		{"one is taken out", 0, settings.Values{"zone": nil}, "zone = [0.1,\n        0.5, 0.8, 0.4] # the sky", "# the sky"},
		{"one that is not there is taken out", 0, settings.Values{"gaps": nil}, "", ""},
		{"of the last shoot", 1, v("smooth", "80"), "name = 'dusk'", "name = 'dusk'\nsmooth = 80"},
		// 12 s at 25 a second were 300 frames, and those were shot.
		{"a rate keeps the frames", 0, v("rate", "30"), "  clip_s = 12   # as the client asked", "  frames = 300   # as the client asked"},
	} {
		for _, breaks := range []string{"\n", "\r\n"} {
			old, want := strings.ReplaceAll(text, "\n", breaks), strings.Replace(text, c.old, c.new, 1)
			if strings.Contains(c.name, "a rate") {
				want = strings.Replace(want, "# the sky", "# the sky\nframes = 300\nrate = 30", 1)
				want = strings.Replace(want, c.new, "  # as the client asked", 1)
			}
			got, err := Set([]byte(old), c.shoot, c.change)
			if want = strings.ReplaceAll(want, "\n", breaks); err != nil || string(got) != want {
				t.Errorf("%s: %v\n%s\nwant\n%s", c.name, err, got, want)
			}
		}
	}
	// Without a last line break.
	short := "[[shoot]]\nname = 'a'\nframes = 9\ngaps = 'hold'"
	if got, err := Set([]byte(short), 0, settings.Values{"gaps": nil, "first": 2}); err != nil || string(got) != "[[shoot]]\nname = 'a'\nframes = 9\n\nfirst = 2" {
		t.Errorf("%v: %q", err, got)
	}
	// What cannot be told apart line by line is left to a hand.
	if _, err := Set([]byte("shoot = [{name = 'a', frames = 9}]"), 0, settings.Values{"gaps": "hold"}); err == nil {
		t.Error("an inline table was changed")
	}
}

// Of two that have seen the same plan, the second to write is told.
func TestReviseTellsOfAChange(t *testing.T) {
	file := filepath.Join(t.TempDir(), "day.toml")
	add := func(name string) func([]byte) ([]byte, error) {
		return func(old []byte) ([]byte, error) { return Append(old, Shoot{Name: name, Frames: 10}) }
	}
	first, err := Revise(file, Version(nil), add("a"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Revise(file, Version(nil), add("b")); !errors.Is(err, ErrChanged) {
		t.Errorf("written over a change: %v", err)
	}
	if _, err := Revise(file, Version(first), add("b")); err != nil {
		t.Error(err)
	}
	if p, err := Load(file); err != nil || len(p.Shoots) != 2 {
		t.Errorf("read %+v, %v", p, err)
	}
	if left, _ := os.ReadDir(filepath.Dir(file)); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
}
