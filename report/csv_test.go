package report

import (
	"bytes"
	"encoding/csv"
	"testing"
	"unicode/utf8"
)

// No name becomes a formula, a line of its own, or bytes that a reader of UTF-8
// stumbles over; numbers stay numbers.
func TestCSVCells(t *testing.T) {
	names := map[string]string{
		`=cmd|'/C calc'!A0.JPG`: `'=cmd|'/C calc'!A0.JPG`, "+1.JPG": "'+1.JPG", "-1.JPG": "'-1.JPG", "@SUM(A1).JPG": "'@SUM(A1).JPG",
		" =1.JPG": "' =1.JPG", "\t=1.JPG": `\t=1.JPG`, "a=1.JPG": "a=1.JPG", "a,\"b\".JPG": "a,\"b\".JPG",
		"\uff1d1.JPG": "'\uff1d1.JPG", "a\r\nb\x00.JPG": `a\r\nb\x00.JPG`, "\xff.JPG": `\xff.JPG`, "": "",
	}
	r := &Report{Sequences: []Sequence{{ID: "=x"}}}
	var order []string
	for name := range names {
		order = append(order, name)
		r.Sequences[0].Rows = append(r.Sequences[0].Rows, Row{File: name, Number: -1, Slot: -1, LumEV: -1.5, OffsetS: unknown})
	}
	var b bytes.Buffer
	if err := WriteCSV(&b, r); err != nil {
		t.Fatal(err)
	}
	if !utf8.Valid(b.Bytes()) || bytes.Count(b.Bytes(), []byte("\n")) != len(names)+1 {
		t.Errorf("no text of a line a row:\n%q", b.Bytes())
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, name := range order {
		if row := rows[i+1]; row[0] != "'=x" || row[1] != names[name] || row[10] != "-1.5" {
			t.Errorf("%q is written %q", name, row)
		}
	}
}
