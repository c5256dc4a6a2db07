package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"stillspan/assemble"
	"stillspan/assemble/shoot"
	"stillspan/deflicker"
	"stillspan/ingest"
	"stillspan/ingest/meta"
	"stillspan/ingest/plan"
	"stillspan/ingest/timing"
	"stillspan/internal/playback"
)

// faulty is a dump with most of what can go wrong, and a hostile file name.
func faulty(n int) Input {
	rng := rand.New(rand.NewPCG(1, 1))
	start := time.Date(2026, 5, 1, 5, 12, 4, 0, time.UTC)
	seq := ingest.Sequence{ID: "2026-05-01-0512", Notes: []string{"exposure mode is not manual"}}
	seq.Timing = timing.Result{Judged: true, IntervalS: 5.021, UncertaintyS: 0.0004, JitterRMSS: 0.03, TickS: 1}
	w := &shoot.Measured{Source: "reduced"}
	solved := &shoot.Solved{Corrects: true}
	solved.Result = deflicker.Result{Confidence: "fair", Why: "clouds cross most of the picture", FlickerBefore: 0.061, FlickerAfter: 0.0028}
	slot := 0
	for k := range n {
		switch k {
		case 40:
			seq.Timing.Gaps = append(seq.Timing.Gaps, timing.Gap{After: 39, Count: 2, GapS: 15.06, Cause: timing.NotFired})
			slot += 2
		case 60:
			seq.Timing.Gaps = append(seq.Timing.Gaps, timing.Gap{After: 59, Count: 2, GapS: 15.06, Cause: timing.FileLost})
			slot += 2
		}
		at := float64(slot) * 5.021
		if k == 90 {
			at += 2
			seq.Timing.Irregular = append(seq.Timing.Irregular, timing.Irregular{Index: k, Kind: timing.Late, OffsetS: 2})
		}
		f := ingest.Frame{
			Name: fmt.Sprintf("DCIM/100STILL/RAIL%04d.JPG", k+1), Number: k + 1,
			Facts: meta.Facts{
				Format: "jpeg", Width: 6000, Height: 4000, Orientation: 1, Taken: start.Add(time.Duration(at) * time.Second),
				Make: "Test", Model: "One", Serial: "7", ExposureS: 1.0 / 60, FNumber: 8, ISO: 100, FocalMM: 24, FocusM: math.Inf(1),
				WhiteBalance: "manual", ExposureMode: "auto",
			},
		}
		if k >= 70 {
			f.Facts.ISO = 200
		}
		if k == 5 {
			f.Name = `DCIM/100STILL/<script>alert("x")&'.JPG`
		}
		if k == 33 {
			f.Problem = &ingest.Problem{Kind: "truncated", Text: "the file ends early", Try: "copy it from the card again"}
		}
		seq.Frames = append(seq.Frames, f)
		seq.Timing.Slot = append(seq.Timing.Slot, slot)
		lum := -5 + 3*float64(k)/float64(n)
		jit := 0.06 * rng.NormFloat64()
		w.Curve.LumEV = append(w.Curve.LumEV, lum+jit)
		solved.CorrectionEV = append(solved.CorrectionEV, -jit)
		w.HighShare, w.LowShare = append(w.HighShare, 0.001), append(w.LowShare, 0.02)
		slot++
	}
	w.Curve.LumEV[33], solved.CorrectionEV[33], w.HighShare[33] = math.NaN(), 0, math.NaN()
	seq.Settings = []ingest.SettingChange{{Frame: 70, Field: "iso", From: "ISO 100", To: "ISO 200"}}
	solved.Steps = []deflicker.Step{{Frame: 70, EV: 0.98, LabelEV: 1}}
	solved.Events = []deflicker.Event{{First: 80, Last: 82, EV: 0.4}}
	clip := assemble.Clip{
		File: "clips/dawn.mp4", Bytes: 12_345_678, Frames: n - 1, DurationS: float64(n-1) / 24, Rate: playback.Rate{Num: 24, Den: 1},
		Codec: "h264", Profile: "High", Width: 3840, Height: 2160, PixFmt: "yuv420p",
		ColorRange: "tv", ColorSpace: "bt709", ColorPrimaries: "bt709", ColorTransfer: "bt709", Verified: true,
	}
	var pictures shoot.Pictures
	for k := range 12 {
		img := image.NewRGBA(image.Rect(0, 0, 60, 40))
		for i := range img.Pix {
			img.Pix[i] = uint8(60 + 10*k + i%40)
		}
		for x := range 60 {
			img.Set(x, 20, color.RGBA{200, 120, 40, 255})
		}
		pictures.Strip = append(pictures.Strip, img)
	}
	pictures.Zone = pictures.Strip[6]
	bare := ingest.Sequence{ID: "FRAM0001", Timing: timing.Result{Why: "the stills carry no time"}}
	for k := range 12 {
		bare.Frames = append(bare.Frames, ingest.Frame{Name: fmt.Sprintf("FRAM%04d.JPG", k+1), Number: k + 1, Facts: meta.Facts{Format: "jpeg", Width: 96, Height: 64}})
	}
	rate := playback.Rate{Num: 24, Den: 1}
	found := &shoot.Found{
		Dump: &ingest.Dump{
			Root: "card", Sequences: []ingest.Sequence{seq, bare},
			Loose:      []ingest.Frame{{Name: "TEST0001.JPG"}},
			Ignored:    []ingest.Ignored{{Kind: "video", Count: 2}},
			Unreadable: []ingest.Frame{{Name: "X.JPG", Problem: &ingest.Problem{Kind: "unreadable", Text: "permission denied", Try: "change its permissions"}}},
		},
		NotFound: []*shoot.Shoot{{Planned: &plan.Shoot{Name: "never shot", Frames: 10, IntervalS: 1}, Rate: rate}},
	}
	found.Shoots = []*shoot.Shoot{
		{
			Sequence: &found.Dump.Sequences[0], Rate: rate,
			Planned:   &plan.Shoot{Name: "harbour dawn", Frames: n + 4, IntervalS: 5, Rate: rate},
			MatchedBy: plan.ByFit, Measured: w, Solved: solved, Rendered: &shoot.Rendered{Clip: clip}, Pictures: pictures,
			Options: shoot.Options{Zone: deflicker.Zone{X: 0.1, Y: 0.4, W: 0.8, H: 0.5}},
		},
		{Sequence: &found.Dump.Sequences[1], Rate: rate},
	}
	in := Input{Found: found, Made: time.Date(2026, 5, 1, 22, 0, 0, 0, time.UTC)}
	return in
}

func TestHeadline(t *testing.T) {
	in := faulty(297)
	in.Shoots[0].Planned.Frames = 300
	r := Build(in)
	// 300 frames last 12.5 s at 24: common practice, no published source.
	want := "Planned 300 frames / 12.5 s at 24; shot 296 / 12.33 s: short by 4"
	if got := r.Sequences[0].Headline; got != want {
		t.Errorf("headline %q, want %q", got, want)
	}
	d := r.Sequences[0].Delivered
	if d.Verdict != VerdictShort || d.ShortFrames != 4 || d.ShortBy.Damaged != 1 || d.ShortBy.NotFired != 2 || d.ShortBy.Lost != 2 {
		t.Errorf("delivered %+v", d)
	}
	for _, c := range []struct {
		planned int
		want    Verdict
	}{{296, VerdictDelivered}, {290, VerdictOver}} {
		in.Shoots[0].Planned.Frames = c.planned
		if got := Build(in).Sequences[0].Delivered; got.Verdict != c.want || got.ShortFrames != 0 {
			t.Errorf("planned %d: %+v, want %s", c.planned, got, c.want)
		}
	}
	in.Shoots[0].Planned = nil
	if got := Build(in).Sequences[0].Delivered.Verdict; got != VerdictUnplanned {
		t.Errorf("no plan: %s", got)
	}
}

func TestFindings(t *testing.T) {
	r := Build(faulty(120))
	if !r.HasFindings() {
		t.Fatal("no findings")
	}
	got := map[string]bool{}
	for _, f := range r.Sequences[0].Findings {
		got[f.Kind] = true
	}
	for _, k := range []string{"short", "file-lost", "not-fired", "late", "damaged", "drift", "setting"} {
		if !got[k] {
			t.Errorf("no finding %q in %v", k, r.Sequences[0].Findings)
		}
	}
	if got["early"] || got["double"] || got["number-skip"] {
		t.Errorf("false findings: %v", got)
	}
	in := faulty(120)
	in.Dump.Sequences[0].Timing.Gaps = []timing.Gap{{After: 20, Count: 3, GapS: 20, Cause: timing.Unknown}}
	in.Dump.Unreadable, in.NotFound = nil, nil
	in.Dump.Sequences[0].Frames[33].Problem = nil
	r2 := Build(in)
	if by := r2.Sequences[0].Delivered.ShortBy; by.Unknown != 3 || by.Ended != 1 {
		t.Errorf("short by %+v, want 3 of unknown cause and 1 at the end", by)
	}
	if !unaccounted(r2) {
		t.Error("frames missing for no known cause may be on the card: it must not be wiped")
	}
	if len(r.NotFound) != 1 || r.NotFound[0].Name != "never shot" {
		t.Errorf("not found: %v", r.NotFound)
	}
}

// A shoot that went as planned has nothing to find.
func TestNoFindings(t *testing.T) {
	in := faulty(120)
	seq := &in.Dump.Sequences[0]
	seq.Frames = seq.Frames[:30]
	seq.Timing = timing.Result{Judged: true, IntervalS: 5.0004, UncertaintyS: 0.0004, TickS: 1, Slot: seq.Timing.Slot[:30]}
	seq.Settings = nil
	in.Dump.Unreadable, in.NotFound = nil, nil
	in.Shoots = in.Shoots[:1]
	in.Shoots[0].Planned.Frames = 30
	if r := Build(in); r.HasFindings() {
		t.Errorf("findings in a sound shoot: %+v %+v", r.Findings, r.Sequences[0].Findings)
	}
}

// The names of version 1 are a promise.
func TestJSONNames(t *testing.T) {
	var b bytes.Buffer
	if err := WriteJSON(&b, Build(faulty(120))); err != nil {
		t.Fatal(err)
	}
	var top map[string]any
	if err := json.Unmarshal(b.Bytes(), &top); err != nil {
		t.Fatal(err)
	}
	has := func(m any, path string, names ...string) {
		t.Helper()
		obj, ok := m.(map[string]any)
		if !ok {
			t.Fatalf("%s is %T", path, m)
		}
		for _, n := range names {
			if _, ok := obj[n]; !ok {
				t.Errorf("%s has no %q", path, n)
			}
		}
	}
	has(top, "top", "version", "sequences", "loose", "ignored")
	s := top["sequences"].([]any)[0].(map[string]any)
	has(s, "sequence", "id", "first", "last", "frames", "camera", "start", "end", "interval_s", "interval_uncertainty_s",
		"drift_s_per_hour", "jitter_rms_s", "missing", "irregular", "settings_changes", "damaged", "luminance", "plan", "delivered", "render")
	has(s["camera"], "camera", "make", "model", "serial")
	has(s["missing"].([]any)[0], "missing", "after", "count", "gap_s", "cause")
	has(s["irregular"].([]any)[0], "irregular", "file", "kind", "offset_s")
	has(s["settings_changes"].([]any)[0], "settings_changes", "file", "field", "from", "to")
	has(s["damaged"].([]any)[0], "damaged", "file", "problem")
	has(s["luminance"], "luminance", "flicker_ev_before", "flicker_ev_after")
	has(s["plan"], "plan", "name", "frames", "interval_s", "rate", "clip_s")
	has(s["delivered"], "delivered", "frames", "clip_s", "rate", "verdict", "short_frames")
	has(s["render"], "render", "file", "frames", "duration_s", "rate", "codec", "verified")
	if got := s["start"]; got != "2026-05-01T05:12:04-00:00" {
		t.Errorf("start %v: a clock without a zone is -00:00 (RFC 3339, section 4.3)", got)
	}
	if other := top["sequences"].([]any)[1].(map[string]any); other["plan"] != nil || other["render"] != nil || other["interval_s"] != nil {
		t.Errorf("what is not known must be null: %v %v %v", other["plan"], other["render"], other["interval_s"])
	}
	again, err := ReadJSON(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	var c bytes.Buffer
	if err := WriteJSON(&c, again); err != nil || !bytes.Equal(b.Bytes(), c.Bytes()) {
		t.Errorf("reading and writing changes the report (%v)", err)
	}
}

func TestCSV(t *testing.T) {
	var b bytes.Buffer
	if err := WriteCSV(&b, Build(faulty(120))); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 1+120+12 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if strings.Contains(strings.Join(rows[34], ","), "NaN") || rows[34][len(rows[34])-1] != "truncated" {
		t.Errorf("row of the damaged frame: %v", rows[34])
	}
}

// The page is well-formed, carries no script and asks for nothing from
// outside, and a hostile file name stays text.
func TestHTML(t *testing.T) {
	var b bytes.Buffer
	if err := WriteHTML(&b, Build(faulty(120))); err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("STILLSPAN_PAGES"); dir != "" { // to look at
		os.WriteFile(dir+"/page.html", b.Bytes(), 0o644)
	}
	page := b.String()
	wellFormed(t, page)
	for _, bad := range []string{"<script", "http://", "https://", "src=\"/", "NaN", "ZgotmplZ", "%!"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page has %q in it", bad)
		}
	}
	for _, want := range []string{
		"Do not wipe the card", "Planned 124 frames", "prefers-color-scheme:dark", "role=\"img\"", "scope=\"col\"",
		"photosensitive", "lost after being shot", "data:image/jpeg;base64,", "never shot",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func TestCameraName(t *testing.T) {
	for want, c := range map[string]Camera{
		"Acme Zoom 3":       {Make: "Acme", Model: "Acme Zoom 3"},
		"ACME Z1":           {Make: "Acme Corporation", Model: "ACME Z1"},
		"Acme Z1, no. 7":    {Make: "Acme", Model: "Z1", Serial: "7"},
		"camera not stated": {},
	} {
		if got := camera(c); got != want {
			t.Errorf("%+v is written %q, want %q", c, got, want)
		}
	}
}

func TestDayHTML(t *testing.T) {
	r := Build(faulty(120))
	var b bytes.Buffer
	err := WriteDayHTML(&b, Day{Title: "1 May 2026", Report: r, Pages: map[string]string{r.Sequences[0].ID: "2026-05-01-0512.html"}, Clips: map[string]string{}})
	if err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("STILLSPAN_PAGES"); dir != "" {
		os.WriteFile(dir+"/day.html", b.Bytes(), 0o644)
	}
	wellFormed(t, b.String())
	if !strings.Contains(b.String(), `href="2026-05-01-0512.html"`) || !strings.Contains(b.String(), "short by") {
		t.Error("the day's page lacks its link or verdict")
	}
}

// wellFormed reads the page as XML, which is stricter than HTML.
func wellFormed(t *testing.T, page string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Entity = xml.HTMLEntity
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// A page of 3,000 frames stays small enough to mail.
func TestPageSizeIsBounded(t *testing.T) {
	var b bytes.Buffer
	if err := WriteHTML(&b, Build(faulty(3000))); err != nil {
		t.Fatal(err)
	}
	if b.Len() > 1<<20 {
		t.Errorf("the page of 3,000 frames has %d bytes", b.Len())
	}
}

func TestText(t *testing.T) {
	var b bytes.Buffer
	if err := WriteText(&b, Build(faulty(120)), TextOptions{}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	if first := strings.SplitN(text, "\n", 3)[1]; !strings.Contains(first, "Planned 124 frames / 5.17 s at 24; shot 119 / 4.96 s: short by 5") {
		t.Errorf("the verdict does not stand first: %q", first)
	}
	for _, want := range []string{"never fired", "lost after being shot", "late by 2 s", "Do not wipe the card", `Not found in this dump: "never shot"`} {
		if !strings.Contains(text, want) {
			t.Errorf("the summary lacks %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "NaN") || strings.Contains(text, "%!") {
		t.Errorf("the summary is broken:\n%s", text)
	}
}

// An outlier in the middle of more frames than columns must still be drawn.
func TestLineKeepsOutliers(t *testing.T) {
	v := make([]float64, 10*plotPoints)
	v[5003] = 7
	p := newPlot("t", "d", "y", len(v), 0, 7)
	before := p.b.Len()
	p.line("c", v)
	if !strings.Contains(p.b.String()[before:], " "+n(p.y(7))) {
		t.Error("the outlier is not in the line")
	}
}

func TestNiceStep(t *testing.T) {
	for _, c := range []struct {
		span  float64
		count int
		want  float64
	}{{10, 5, 2}, {0.37, 5, 0.1}, {300, 8, 50}, {0, 5, 1}} {
		if got := niceStep(c.span, c.count); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("niceStep(%g, %d) = %g, want %g", c.span, c.count, got, c.want)
		}
	}
}
