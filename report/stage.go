package report

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"stillspan/internal/words"
)

// Most bytes of the clips' proofs that lie in a page: of one, and of all. What is
// heavier lies in a file beside it.
const (
	ProofInPage  = 3 << 20
	ProofsInPage = 9 << 20
)

// Aside is a file that lies beside a page because it is too heavy to lie in it.
type Aside struct {
	Name string // in the page's folder
	Path string // to be copied; empty where Data is the content
	Data []byte
}

// Fill writes its content.
func (a Aside) Fill(w io.Writer) error {
	if a.Path == "" {
		_, err := w.Write(a.Data)
		return err
	}
	f, err := os.Open(a.Path)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = io.Copy(w, f)
	return err
}

// Page says how a page is to be written.
type Page struct {
	// Name is the page's file name; what lies beside it is called after it.
	// Without one nothing lies beside it.
	Name string
	// Day is the link to the page of the whole day; empty for none.
	Day string
}

// beside names a file beside the page.
func (p Page) beside(s *Sequence, what string) string {
	stem := strings.TrimSuffix(p.Name, filepath.Ext(p.Name))
	if stem != s.ID {
		stem += "-" + s.ID
	}
	return stem + "-" + what
}

// Asides are the files that a page needs beside it.
func (r *Report) Asides(p Page) []Aside {
	var out []Aside
	in := inPage(r)
	for i := range r.Sequences {
		s := &r.Sequences[i]
		if pr := s.pictures.proof; pr != nil && !in[s.ID] {
			out = append(out, Aside{Name: p.beside(s, "proof.mp4"), Path: pr.Path})
		}
		for _, g := range s.pictures.gallery {
			if g.JPEG != nil {
				out = append(out, Aside{Name: p.beside(s, galleryName(g.Frame)), Data: g.JPEG})
			}
		}
	}
	return out
}

// galleryName is what the picture of a frame, from 0, is called beside a page.
func galleryName(frame int) string { return fmt.Sprintf("frame-%d.jpg", frame+1) }

// inPage tells which shoots' proofs lie in the page itself.
func inPage(r *Report) map[string]bool {
	in := map[string]bool{}
	left := int64(ProofsInPage)
	for i := range r.Sequences {
		s := &r.Sequences[i]
		if s.pictures.proof == nil {
			continue
		}
		if info, err := os.Stat(s.pictures.proof.Path); err == nil && info.Size() <= min(left, ProofInPage) {
			in[s.ID] = true
			left -= info.Size()
		}
	}
	return in
}

// stage is where a clip plays.
type stage struct {
	URL       template.URL
	W, H      int
	FPS       float64
	Frames    int
	Beside    string // the file's name, where it lies beside the page
	MadeUp    int
	Corrected bool
}

// stageOf readies a shoot's proof for the page, in which it lies or beside which;
// nil where there is none.
func stageOf(p Page, s *Sequence, inPage bool) *stage {
	pr := s.pictures.proof
	if pr == nil || s.Render == nil {
		return nil
	}
	st := &stage{W: pr.W, H: pr.H, FPS: s.pictures.fps, Frames: len(pr.Frames), Corrected: s.Luminance.Corrected}
	for _, f := range pr.Frames {
		if f.MadeUp {
			st.MadeUp++
		}
	}
	if !inPage {
		if p.Name == "" {
			return nil
		}
		st.Beside = p.beside(s, "proof.mp4")
		st.URL = template.URL(url.PathEscape(st.Beside))
		return st
	}
	b, err := os.ReadFile(pr.Path)
	if err != nil {
		return nil
	}
	st.URL = template.URL("data:video/mp4;base64," + base64.StdEncoding.EncodeToString(b))
	return st
}

// frameData is what the page's script knows of a shoot's frames.
type frameData struct {
	FPS  float64 `json:"fps"`
	Clip []int   `json:"clip"` // frame of the shoot, from 0, by frame of the clip; ^frame where made up after it
	// Rows are name, place on the timeline in thousandths, and time of day.
	Rows  [][3]any       `json:"rows"`
	Notes map[int]string `json:"notes"`
}

func frameDataOf(s *Sequence) frameData {
	d := frameData{FPS: s.pictures.fps, Clip: []int{}, Notes: map[int]string{}}
	if len(s.Rows) == 0 {
		return d
	}
	t := newTimeline(s)
	for k := range s.Rows {
		clock := ""
		if !s.Rows[k].Time.IsZero() {
			clock = s.Rows[k].Time.Format("15:04:05")
		}
		d.Rows = append(d.Rows, [3]any{words.OneLine(base(s.Rows[k].File)), math.Round(t.x[k]*10) / 10, clock})
	}
	for _, m := range marksOf(s, t) {
		note := m.text
		if _, rest, ok := strings.Cut(note, ": "); ok && d.Notes[m.frame] != "" {
			note = d.Notes[m.frame] + "; " + rest
		}
		d.Notes[m.frame] = words.OneLine(note)
	}
	if pr := s.pictures.proof; pr != nil && s.Render != nil {
		for _, f := range pr.Frames {
			k := f.Source
			if f.MadeUp {
				k = ^k
			}
			d.Clip = append(d.Clip, k)
		}
	}
	return d
}
