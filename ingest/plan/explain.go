package plan

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"stillspan/internal/settings"
	"stillspan/internal/words"
)

// keys are those that a table of the file may hold.
func keys(in settings.Place) []string {
	var out []string
	for _, r := range settings.Table() {
		if r.Key != "" && r.In >= in && !slices.Contains(out, r.Key) {
			out = append(out, r.Key)
		}
	}
	return out
}

// checkKeys says where the file has a key that no plan has. The parser lists,
// with its place, every key that the shape it is given lacks: this one lacks
// all but the tables.
func checkKeys(data []byte) error {
	var shape struct {
		Defaults struct{}   `toml:"defaults"`
		Shoot    []struct{} `toml:"shoot"`
	}
	err := toml.NewDecoder(strings.NewReader(string(data))).DisallowUnknownFields().Decode(&shape)
	var found *toml.StrictMissingError
	if !errors.As(err, &found) {
		return explain(err)
	}
	for _, e := range found.Errors {
		row, _ := e.Position()
		key := e.Key()
		known := []string{"defaults", "shoot"}
		if len(key) > 1 {
			known = keys(map[string]settings.Place{"defaults": settings.Default}[key[0]])
			key = key[1:]
		}
		if !slices.Contains(known, key[0]) {
			return unknownKey(row, key[0], known)
		}
	}
	return nil
}

// explain turns the parser's error into one line: which line of the file and
// what is wrong there.
func explain(err error) error {
	var syntax *toml.DecodeError
	if !errors.As(err, &syntax) {
		return err
	}
	row, col := syntax.Position()
	return fmt.Errorf("line %d, column %d: %s", row, col, strings.TrimPrefix(syntax.Error(), "toml: "))
}

func unknownKey(row int, key string, known []string) error {
	if near := words.Nearest(key, known); near != "" {
		return fmt.Errorf("line %d: unknown key %q: did you mean %q?", row, key, near)
	}
	return fmt.Errorf("line %d: unknown key %q: known here are %s", row, key, strings.Join(known, ", "))
}
