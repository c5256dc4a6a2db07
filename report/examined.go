package report

import (
	"fmt"

	"stillspan/deflicker/measure"
	"stillspan/internal/words"
)

// Examined says how far the files of a sequence were looked into, so that
// nobody takes a quick check for proof.
type Examined struct {
	// How is "headers", "ends" (head, end and preview of each file) or
	// "pictures" (every picture, to its end).
	How string `json:"how"`
	// Kept are the frames that an earlier run looked at and this one did not:
	// the same files by path, size and times.
	Kept int    `json:"kept"`
	Text string `json:"text"`
}

func (b *builder) examined() {
	e, m := &b.out.Examined, b.s.Measured
	switch {
	case m == nil:
		*e = Examined{How: "headers", Text: "Only headers were read: damage inside a picture is not looked for."}
	case m.Source == measure.SourcePreview:
		*e = Examined{How: "ends", Text: "Of each file the head, the end and a preview were read: that finds files that are empty, cut short or zeroed to their end, and no damage inside a picture. --thorough walks every picture to its end."}
	default:
		*e = Examined{How: "pictures", Text: "Every picture was walked to its end."}
	}
	if m == nil {
		return
	}
	if e.Kept = m.Kept; e.Kept > 0 {
		e.Text += fmt.Sprintf(" Of the %s, %d were looked at by an earlier run, and are the same files since by path, size and times; --thorough looks again.", words.Count(b.out.Frames, "frame"), e.Kept)
	}
	e.Text += " A changed bit that still decodes shows in no check of one copy: comparing copies by checksum ('stillspan compare') finds it."
}

// examinedText is the same in a few words.
func examinedText(e Examined) string {
	text := map[string]string{
		"headers": "headers only", "ends": "head, end and preview of each file; --thorough walks the pictures", "pictures": "every picture, to its end",
	}[e.How]
	if e.Kept > 0 {
		text += fmt.Sprintf("; %d by an earlier run", e.Kept)
	}
	return text
}
