package report

import (
	"fmt"
	"path"

	"stillspan/internal/words"
)

// Copies says in how many verified copies the stills of a sequence lie, by a
// list that a comparison of the card with its copies wrote.
type Copies struct {
	// Least is how many copies hold every still that any holds.
	Least int `json:"least"`
	// Stills are those in Least copies or more.
	Stills int `json:"stills"`
	// Unproven are the stills whose content is in no copy by the list.
	Unproven []string `json:"unproven"`
}

func (b *builder) copies() {
	if b.s.Copied == nil {
		return
	}
	c := &Copies{Unproven: []string{}}
	for k, n := range b.s.Copied.Frames {
		if n < 1 {
			c.Unproven = append(c.Unproven, b.name(k))
			continue
		}
		if c.Stills++; c.Least == 0 || n < c.Least {
			c.Least = n
		}
	}
	b.out.Copies = c
}

// copiesText says the same in a line.
func copiesText(c *Copies) string {
	if c.Stills == 0 {
		return "no still is in a verified copy"
	}
	text := fmt.Sprintf("in %d verified %s", c.Least, map[bool]string{true: "copy", false: "copies"}[c.Least == 1])
	if n := len(c.Unproven); n > 0 {
		text = fmt.Sprintf("%s %s, %d in none", words.Count(c.Stills, "still"), text, n)
	} else {
		text = fmt.Sprintf("all %s %s", words.Count(c.Stills, "still"), text)
	}
	if c.Least == 1 {
		text += ": one copy is no backup"
	}
	return text
}

// copyFinding says which stills no copy is proven to hold.
func (b *builder) copyFinding() {
	c := b.out.Copies
	if c == nil || len(c.Unproven) == 0 {
		return
	}
	b.add(KindNoCopy, true, "Copy "+them(len(c.Unproven))+" from the card again and compare: 'stillspan compare CARD DUMP1 DUMP2 --sums LIST'.",
		"%s in no verified copy, the first %s", words.Count(len(c.Unproven), "still"), path.Base(c.Unproven[0]))
}
