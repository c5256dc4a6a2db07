package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"image"
	"math"
	"slices"
	"strings"

	"stillspan/assemble/shoot"
	"stillspan/deflicker/measure"
	look "stillspan/deflicker/pictures"
	"stillspan/internal/picture"
	"stillspan/internal/settings"
	"stillspan/internal/words"
)

// Picture is something the matter with what a run of frames shows. XPx and YPx
// are the movement of the picture's content in pixels of the full still, right
// and down positive, of a jump in its middle; of a shake its rms. Both are null for
// other kinds.
type Picture struct {
	Kind      string `json:"kind"`
	Frame     int    `json:"frame"` // first, from 1
	LastFrame int    `json:"last_frame"`
	File      string `json:"file"` // of Frame
	XPx       Float  `json:"x_px"`
	YPx       Float  `json:"y_px"`
	// TurnDeg is how far a jump turned the picture about its middle, clockwise, degrees;
	// null where it did not.
	TurnDeg Float `json:"turn_deg"`
	Amount  Float `json:"amount"` // of a jump how far what moved most did
	// Part is where in the upright picture it is; null for all of it.
	Part *Zone `json:"part"`
	// Unit is "px"; "%" of the picture or of its detail; "EV" of colour; or
	// "frames".
	Unit string `json:"unit"`
	// Mired is how much warmer a cast is, or colder; null where it does not run along
	// the colours of daylight.
	Mired Float `json:"mired"`
	// Severity is "spoils", "look" or "note". Only what spoils frames touches the
	// verdict.
	Severity string `json:"severity"`
	Try      string `json:"try"`
}

// Travel is how far the picture's content moved, jumps and shake left out, in pixels
// of the full still, right and down positive. Nine tenths of the steps from frame
// to frame are LeastPx to MostPx long.
type Travel struct {
	Moved   bool  `json:"moved"`
	XPx     Float `json:"x_px"` // from the first frame to the last
	YPx     Float `json:"y_px"`
	StepPx  Float `json:"step_px"` // median
	LeastPx Float `json:"least_px"`
	MostPx  Float `json:"most_px"`
}

// travelText is the same in words.
func travelText(t *Travel) string {
	if !t.Moved {
		return "the camera kept still"
	}
	return fmt.Sprintf("the camera moved: content %s in all, %.1f px a frame (%.1f to %.1f)", wayText(t.XPx, t.YPx), float64(t.StepPx), float64(t.LeastPx), float64(t.MostPx))
}

// KindSpoilt says that frames show what spoils them.
const KindSpoilt Kind = "spoilt"

// tries is what to try, by kind.
var tries = map[look.Kind]string{
	look.Jump:    "Render with --steady, or begin a new clip there.",
	look.Shake:   "Render with --steady; weigh the tripod down or shelter it next time.",
	look.Blurred: "Leave these frames out when rendering: --leave-spoilt.",
	look.Soft:    "Look at the lens for dew, haze or a creeping focus ring; end the clip before it with --last.",
	look.Covered: "Leave these frames out when rendering (--leave-spoilt, or --leave-out with their numbers), unless it belongs there.",
	look.Blown:   "Leave these frames out when rendering (--leave-spoilt, or --leave-out with their numbers), unless it belongs there.",
	look.Black:   "Leave these frames out when rendering: --leave-spoilt.",
	look.Cast:    "Rendering evens it out unless --keep-colour is given; set the white balance by hand next time.",
	look.Spot:    "Clean the sensor, or map hot pixels out; retouch the stills.",
	look.Stalled: "Look at the rig: battery, cable, an end stop or a load too heavy for it.",
}

// seen lists what the pictures show; what is accepted is a note.
func (b *builder) seen() {
	b.out.Pictures = []Picture{}
	if b.s.Measured == nil {
		return
	}
	if t := b.s.Measured.Seen.Travel; t != nil {
		b.out.Travel = &Travel{t.Moved, Float(t.X), Float(t.Y), Float(t.Step), Float(t.Least), Float(t.Most)}
	}
	accepted := settings.Accept.Of(b.s.Settings)
	for _, f := range b.s.Measured.Seen.Findings {
		p := Picture{
			Kind: string(f.Kind), Frame: f.First + 1, LastFrame: f.Last + 1, File: b.name(f.First), XPx: unknown, YPx: unknown, TurnDeg: unknown,
			Amount: Float(f.Amount), Unit: f.Unit, Mired: unknown, Severity: string(f.Severity), Try: tries[f.Kind],
		}
		if f.Mired != 0 {
			p.Mired = Float(f.Mired)
		}
		if f.Part.W > 0 {
			p.Part = &Zone{f.Part.X, f.Part.Y, f.Part.W, f.Part.H}
		}
		if f.Kind == look.Jump || f.Kind == look.Shake {
			p.XPx, p.YPx = Float(f.X), Float(f.Y)
		}
		if f.Turn != 0 {
			p.TurnDeg = Float(f.Turn)
		}
		if slices.Contains(accepted, p.Kind) {
			p.Severity = string(look.Note)
		}
		b.out.Pictures = append(b.out.Pictures, p)
	}
}

// exhibits are the findings that the page shows pictures of.
func (b *builder) exhibits() (out []shown) {
	for i, p := range b.out.Pictures {
		if e, ok := b.s.Pictures.Exhibits[i]; ok && p.Severity != string(look.Note) {
			out = append(out, shown{p, e, b.s.Measured.Seen.Findings[i]})
		}
	}
	return out
}

// spoiltFindings are a finding for each kind that spoils frames.
func (b *builder) spoiltFindings() {
	for _, g := range gathered(b.out.Pictures) {
		if g.Severity == string(look.Spoils) {
			b.add(KindSpoilt, false, tries[look.Kind(g.Kind)], "%s", g.Text())
		}
	}
}

// gathering is all of a kind and a severity.
type gathering struct {
	Kind, Severity string
	all            []Picture
}

// gathered puts pictures of a kind and a severity together, what spoils first.
func gathered(list []Picture) []gathering {
	var out []gathering
	for _, severity := range []look.Severity{look.Spoils, look.Look, look.Note} {
		for _, kind := range look.Kinds() {
			g := gathering{Kind: kind, Severity: string(severity)}
			for _, p := range list {
				if p.Kind == kind && p.Severity == g.Severity {
					g.all = append(g.all, p)
				}
			}
			if len(g.all) > 0 {
				out = append(out, g)
			}
		}
	}
	return out
}

// mostRanges is how many runs of frames a line names.
const mostRanges = 6

// text is the gathering in words: what, where, how much.
func (g gathering) Text() string {
	if g.Kind == string(look.Spot) {
		return g.spots()
	}
	var where []string
	most := g.all[0]
	for i, p := range g.all {
		if i < mostRanges {
			where = append(where, rangeText(p))
		}
		if p.Amount > most.Amount {
			most = p
		}
	}
	if n := len(g.all) - mostRanges; n > 0 {
		where = append(where, fmt.Sprintf("and %d more", n))
	}
	s := ""
	if len(g.all) > 1 || g.all[0].LastFrame > g.all[0].Frame {
		s = "s"
	}
	at := "frame" + s + " " + strings.Join(where, ", ")
	amount := amountText(most)
	if len(g.all) > 1 {
		amount = "up to " + amount
	}
	return fmt.Sprintf("%s at %s: %s", kindText[look.Kind(g.Kind)], at, amount)
}

// spots are the dust and hot pixels in words, the widest first.
func (g gathering) spots() string {
	var where []string
	for _, p := range g.all[:min(len(g.all), mostRanges)] {
		at := ""
		if z := p.Part; z != nil {
			at = fmt.Sprintf(" at %.0f %% from the left and %.0f %% from the top", 100*(z.X+z.W/2), 100*(z.Y+z.H/2))
		}
		where = append(where, fmt.Sprintf("%.0f px wide%s", max(1, float64(p.Amount)), at))
	}
	if n := len(g.all) - mostRanges; n > 0 {
		where = append(where, fmt.Sprintf("and %d more", n))
	}
	return fmt.Sprintf("%s in the same place of every frame: %s", words.Count(len(g.all), "spot"), strings.Join(where, "; "))
}

// Try is what to try.
func (g gathering) Try() string { return tries[look.Kind(g.Kind)] }

func rangeText(p Picture) string {
	if p.LastFrame > p.Frame {
		return fmt.Sprintf("%d-%d", p.Frame, p.LastFrame)
	}
	return fmt.Sprint(p.Frame)
}

var kindText = map[look.Kind]string{
	look.Jump: "framing jumped", look.Shake: "picture shook", look.Blurred: "blurred", look.Soft: "slowly lost sharpness",
	look.Covered: "covered in part", look.Blown: "blown out", look.Black: "black", look.Cast: "colour cast",
	look.Spot: "spot", look.Stalled: "the move stood still",
}

// amountText is how much a finding amounts to.
func amountText(p Picture) string {
	switch look.Kind(p.Kind) {
	case look.Jump:
		if p.TurnDeg.Known() {
			return "content moved " + wayText(p.XPx, p.YPx) + " and turned " + turnText(p.TurnDeg)
		}
		return "content moved " + wayText(p.XPx, p.YPx)
	case look.Shake:
		return fmt.Sprintf("%.1f px rms", float64(p.Amount))
	case look.Blurred, look.Soft:
		return fmt.Sprintf("%.0f %% of the detail lost", float64(p.Amount))
	case look.Cast:
		text := fmt.Sprintf("%.2f EV", float64(p.Amount))
		if m := float64(p.Mired); p.Mired.Known() {
			text += fmt.Sprintf(", about %.0f mired %s", math.Abs(m), map[bool]string{true: "warmer", false: "colder"}[m > 0])
		}
		return text
	case look.Stalled:
		return frames(int(p.Amount))
	}
	return fmt.Sprintf("%.0f %% of the picture", float64(p.Amount))
}

// turnText is a turn in degrees.
func turnText(deg Float) string {
	return fmt.Sprintf("%.2f° %s", math.Abs(float64(deg)), map[bool]string{true: "clockwise", false: "counter-clockwise"}[deg > 0])
}

// wayText is a movement in pixels.
func wayText(x, y Float) string {
	way := ""
	if math.Abs(float64(x)) >= 0.5 {
		way = fmt.Sprintf("%.1f px %s", math.Abs(float64(x)), map[bool]string{true: "right", false: "left"}[x > 0])
	}
	if math.Abs(float64(y)) >= 0.5 || way == "" {
		if way != "" {
			way += ", "
		}
		way += fmt.Sprintf("%.1f px %s", math.Abs(float64(y)), map[bool]string{true: "down", false: "up"}[y > 0])
	}
	return way
}

// shown is a finding with its pictures.
type shown struct {
	Picture
	pair    shoot.Exhibit
	finding look.Finding
}

//go:embed pictures.html
var picturesSource string

// shownExhibit is one as the page shows it.
type shownExhibit struct {
	Text, Frame, Beside string
	Shown               int // index of the frame
	FrameURL, BesideURL template.URL
}

// exhibitsOf are the pictures of a sequence's findings.
func exhibitsOf(s *Sequence) []shownExhibit {
	var out []shownExhibit
	for _, e := range s.pictures.exhibits {
		g := gathering{Kind: e.Kind, Severity: e.Severity, all: []Picture{e.Picture}}
		out = append(out, shownExhibit{
			Text: g.Text(), Shown: e.finding.Shown, Frame: fmt.Sprint(e.finding.Shown + 1), Beside: fmt.Sprint(e.finding.Beside + 1),
			FrameURL: dataURL(framed(e.pair.Frame, e.finding.Part)), BesideURL: dataURL(framed(e.pair.Beside, look.Rect{})),
		})
	}
	return out
}

// exhibitWidth is how wide the pictures of findings are, pixels.
const exhibitWidth = 400

// smallPart is the width, pixels, below which a part is framed with some room.
const smallPart = 12

// framed is a picture with a part of it framed.
func framed(img image.Image, part look.Rect) image.Image {
	img = picture.Resize(img, exhibitWidth, 0)
	if part.W == 0 {
		return img
	}
	w, h := float64(img.Bounds().Dx()), float64(img.Bounds().Dy())
	r := image.Rect(int(part.X*w), int(part.Y*h), int((part.X+part.W)*w), int((part.Y+part.H)*h))
	if r.Dx() < smallPart {
		r = r.Inset(-smallPart / 2) // a frame about it, so that it shows
	}
	return picture.Framed(img, r)
}

// seenNotes say what could not be judged.
func (b *builder) seenNotes() []string {
	m := b.s.Measured
	if m == nil || m.Source != measure.SourcePreview || m.Seen.Width == 0 {
		return nil
	}
	return []string{fmt.Sprintf("Pictures were judged by their previews: jumps below %.0f px, slight blur and dust do not show in them; --thorough looks at the stills themselves", m.Seen.StepPx)}
}
