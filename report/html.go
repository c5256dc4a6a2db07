package report

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"image/jpeg"
	"io"
	"net/url"
	"path/filepath"
	"strings"
	"time"

	"stillspan/assemble/flash"
	"stillspan/internal/picture"
	"stillspan/internal/words"
)

//go:embed style.css
var style string

//go:embed page.js
var script string

//go:embed page.html
var pageSource string

//go:embed day.html
var daySource string

//go:embed shoot.html
var shootSource string

var (
	pageTemplate = template.Must(template.Must(template.Must(template.New("page").Funcs(pageFuncs).Parse(pageSource)).Parse(shootSource)).Parse(picturesSource))
	dayTemplate  = template.Must(template.New("day").Funcs(pageFuncs).Parse(daySource))
)

var pageFuncs = template.FuncMap{
	"style":     func() template.CSS { return template.CSS(style) },
	"script":    func() template.JS { return template.JS(script) },
	"seconds":   func(f Float) string { return words.Seconds(float64(f)) },
	"clip":      func(f Float) string { return clipLength(float64(f)) },
	"bytes":     func(n int64) string { return words.Bytes(float64(n)) },
	"percent":   func(f Float) string { return fmt.Sprintf("%.1f %%", 100*float64(f)) },
	"ev":        func(f Float) string { return signed(float64(f), 2) },
	"lightRows": func(l Luminance) []row { return lightRows(&l) },
	"num":       func(f Float, format string) string { return known(f, format) },
	"base":      func(name string) string { return words.OneLine(base(name)) },
	"cause":     causeText,
	"camera":    camera,
	"copies":    copiesText,
	"interval":  intervalText,
	"plain":     plainInterval,
	"state":     StateOf,
	"chain":     func(d Delivered) []link { return chainOf(&d) },
	"causes":    causes,
	"next":      doNext,
	"name":      ShootName,
	"fps":       plainRate,
	"charts":    chartsOf,
	"data":      frameDataOf,
	"dayline":   dayTimeline,
	"count":     words.Count,
	"gathered":  gathered,
	"exhibits":  exhibitsOf,
	"poster":    poster,
	"strip":     func(s *Sequence) []template.URL { return thumbnails(s.pictures.strip) },
	"zone":      zonePicture,
	"travel":    travelText,
	"unaccount": unaccounted,
	"wipe":      func() string { return CautionWipe },
	"flashNote": func() string { return flash.Notice },
	"tally":     tally,
	"sentence":  sentence,
	"capital":   capital,
	"counts":    func(d Delivered) string { return countsText(&d) },
	"span":      span,
}

// shootPage is a shoot on its page.
type shootPage struct {
	*Sequence
	Stage *stage
	page  Page
}

// exhibit is a frame of the gallery.
type exhibit struct {
	Frame      int
	File, Text string
	Small      template.URL // empty where nothing of it can be shown
}

// pageData is what a page is filled with.
type pageData struct {
	*Report
	Page   Page
	Shoots []shootPage
	Moves  bool // a clip plays in it
}

// sentence makes a finding stand by itself: capital first, full stop last.
func sentence(s any) string {
	return strings.TrimSuffix(capital(fmt.Sprint(s)), ".") + "."
}

func known(f Float, format string) string {
	if !f.Known() {
		return "–"
	}
	return fmt.Sprintf(format, float64(f))
}

func signed(v float64, d int) string { return fmt.Sprintf("%+.*f", d, v) }

// WriteHTML writes the report as one page that asks for nothing from outside
// but what Asides says lies beside it.
func WriteHTML(w io.Writer, r *Report, p Page) error {
	d := pageData{Report: r, Page: p}
	in := inPage(r)
	for i := range r.Sequences {
		s := &r.Sequences[i]
		sp := shootPage{s, stageOf(p, s, in[s.ID]), p}
		d.Moves = d.Moves || sp.Stage != nil
		d.Shoots = append(d.Shoots, sp)
	}
	return writePage(w, pageTemplate, d)
}

// Full is where a frame, from 0, lies at full size beside the page; empty where
// it does not.
func (p shootPage) Full(frame int) template.URL {
	for _, g := range p.pictures.gallery {
		if g.Frame == frame && g.JPEG != nil && p.page.Name != "" {
			return template.URL(url.PathEscape(p.page.beside(p.Sequence, galleryName(frame))))
		}
	}
	return ""
}

// Gallery are the damaged frames, as much of each as is left.
func (p shootPage) Gallery() []exhibit {
	var out []exhibit
	for _, g := range p.pictures.gallery {
		for _, d := range p.Damaged {
			if d.Frame != g.Frame+1 {
				continue
			}
			e := exhibit{Frame: g.Frame, File: base(d.File), Text: d.Problem}
			if g.Small != nil {
				e.Small = dataURL(g.Small)
			}
			out = append(out, e)
		}
	}
	return out
}

// writePage fills a template and spells out what no reader sees, such as the
// characters in a file's name that turn the direction of what follows.
func writePage(w io.Writer, t *template.Template, data any) error {
	var page bytes.Buffer
	if err := t.Execute(&page, data); err != nil {
		return err
	}
	for line := range strings.Lines(page.String()) {
		if _, err := io.WriteString(w, words.OneLine(strings.TrimSuffix(line, "\n"))+"\n"); err != nil {
			return err
		}
	}
	return nil
}

// Film strip thumbnails are this high, pixels.
const thumbHeight = 120

// thumbnails makes small JPEG data URLs; a picture that cannot be encoded is
// left out.
func thumbnails(pics []image.Image) []template.URL {
	var out []template.URL
	for _, p := range pics {
		if p == nil || p.Bounds().Empty() {
			continue
		}
		if u := dataURL(picture.Resize(p, 0, thumbHeight)); u != "" {
			out = append(out, u)
		}
	}
	return out
}

// poster is the frame in the middle of the film strip: the first and the last
// are often the darkest.
func poster(s *Sequence) template.URL {
	pics := s.pictures.strip
	if len(pics) == 0 {
		return ""
	}
	for _, u := range thumbnails(pics[len(pics)/2 : len(pics)/2+1]) {
		return u
	}
	return ""
}

func dataURL(img image.Image) template.URL {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 82}); err != nil {
		return ""
	}
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(b.Bytes()))
}

// zonePicture draws the measured part on a frame: outside it the picture is
// dimmed.
func zonePicture(s *Sequence) template.URL {
	if s.pictures.measured == nil || s.Luminance.Zone == nil {
		return ""
	}
	img := picture.Resize(s.pictures.measured, 320, 0)
	z := s.Luminance.Zone
	w, h := float64(img.Bounds().Dx()), float64(img.Bounds().Dy())
	in := image.Rect(int(z.X*w), int(z.Y*h), int((z.X+z.W)*w+0.5), int((z.Y+z.H)*h+0.5))
	return dataURL(picture.Spot(img, in))
}

// Day is a day's page: its sequences with a link to the page of each.
type Day struct {
	Report *Report
	// Pages are the links by sequence ID, relative to the day's page; clips
	// are linked by Render.File, made relative by Clips.
	Pages, Clips map[string]string
}

// Title names the day by its date, or by its first and last where there are
// several; by the folder where the stills carry no time.
func (d Day) Title() string {
	const long = "2 January 2006"
	var first, last time.Time
	for i := range d.Report.Sequences {
		from, to := d.Report.Sequences[i].Start, d.Report.Sequences[i].End
		if !from.IsZero() && (first.IsZero() || from.Before(first)) {
			first = from.Time
		}
		if to.After(last) {
			last = to.Time
		}
	}
	switch a, b := first.Format(long), last.Format(long); {
	case first.IsZero() || last.IsZero():
		return filepath.Base(d.Report.Root)
	case a == b:
		return a
	default:
		return a + " to " + b
	}
}

// Only is the report of sequence i alone.
func (r *Report) Only(i int) *Report {
	return &Report{Version: r.Version, Root: r.Root, Made: r.Made, Sequences: r.Sequences[i : i+1]}
}

// WriteDayHTML writes the day's page.
func WriteDayHTML(w io.Writer, d Day) error { return writePage(w, dayTemplate, d) }
