package report

import (
	"bytes"
	"flag"
	"math"
	"os"
	"slices"
	"testing"

	"stillspan/assemble/flash"
	"stillspan/assemble/shoot"
	"stillspan/deflicker"
	"stillspan/ingest/account"
	"stillspan/internal/problem"
)

var update = flag.Bool("update", false, "write testdata/shoot.json anew")

// The whole JSON of a shoot with most faults. Its names are a promise of
// version 1: they may be joined by others, and none may go or change. Frames but
// for a few are left out.
func TestGoldenJSON(t *testing.T) {
	in := faulty(120)
	s := in.Shoots[0]
	tm := &s.Sequence.Timing
	tm.TooLong = []int{12}
	tm.Pauses = []account.Delay{{Index: 50, ByS: 900}}
	tm.ClockSets = []account.ClockSet{{Index: 55, ByS: -3600}}
	tm.Others = []account.Other{{First: 38, Last: 42, Missing: map[account.Cause]int{account.NotFired: -2, account.FileLost: 2}}}
	s.Sequence.Frames[4].Companion = problem.Empty()
	s.Copied = &shoot.Copied{Frames: slices.Repeat([]int{2}, 120)}
	s.Warnings, in.Warnings = []string{"a remark on the shoot"}, []string{"a remark on the run"}
	s.Rendered.Flashes = []flash.Passage{{From: 48, To: 71, Kind: flash.General, Start: "00:00:02:00", End: "00:00:02:23", Flashes: 4, Area: 0.4}}
	s.Rendered.Light = deflicker.Figures{FlickerEV: 0.004, ColourEV: math.NaN(), PumpingEV: 0.002, ToneEV: []float64{0.006, 0.004, 0.003, 0.003, 0.003, 0.004}, Frames: 105}
	s.Measured.ResponseWhy = "the camera's response is that of sRGB"
	r := Build(in)
	rows := r.Sequences[0].Rows
	r.Sequences[0].Rows = append(rows[:2:2], rows[33], rows[90])
	r.Sequences[1].Rows = r.Sequences[1].Rows[:1]
	var got bytes.Buffer
	if err := WriteJSON(&got, r); err != nil {
		t.Fatal(err)
	}
	const file = "testdata/shoot.json"
	if *update {
		if err := os.WriteFile(file, got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got.Bytes(), want) {
		t.Errorf("the JSON of a shoot is not %s; where only names were added, 'go test ./report -run TestGoldenJSON -update' writes it anew:\n%s", file, firstDifference(got.String(), string(want)))
	}
	again, err := ReadJSON(bytes.NewReader(got.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	var back bytes.Buffer
	if err := WriteJSON(&back, again); err != nil || !bytes.Equal(got.Bytes(), back.Bytes()) {
		t.Errorf("reading and writing changes the report (%v)", err)
	}
}

func firstDifference(got, want string) string {
	a, b := bytes.Split([]byte(got), []byte("\n")), bytes.Split([]byte(want), []byte("\n"))
	for i := range min(len(a), len(b)) {
		if !bytes.Equal(a[i], b[i]) {
			return "got  " + string(a[i]) + "\nwant " + string(b[i])
		}
	}
	return "one is longer"
}
