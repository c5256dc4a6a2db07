//go:build unix

package main

import (
	"bytes"
	"context"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"stillspan/internal/demo"
	"stillspan/internal/scene"
)

// browser is a window of Chromium for a test; the test is skipped where there is
// none.
type browser struct {
	*testing.T
	ctx  context.Context
	mu   sync.Mutex
	bad  []string // what scripts complained of, and what was asked for outside
	name string   // of the page, for pictures
}

func newBrowser(t *testing.T) *browser {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no Chromium here: scripts/deps.sh test installs it")
	}
	alloc, stop := chromedp.NewExecAllocator(t.Context(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()))...)
	t.Cleanup(stop)
	ctx, stop := chromedp.NewContext(alloc)
	t.Cleanup(stop)
	b := &browser{T: t, ctx: ctx}
	if err := chromedp.Listen(ctx, b.listen); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, runtime.Enable, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *browser) listen(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		b.bad = append(b.bad, fmt.Sprintf("%+v", e.ExceptionDetails))
	case *network.EventRequestWillBeSent:
		if u := e.Request.URL; !strings.HasPrefix(u, "file:") && !strings.HasPrefix(u, "data:") && u != "about:blank" {
			b.bad = append(b.bad, "asked for "+u)
		}
	}
}

// run does one thing after the other, each within a minute.
func (b *browser) run(do ...chromedp.Action[chromedp.Void]) {
	b.Helper()
	ctx, stop := context.WithTimeout(b.ctx, time.Minute)
	defer stop()
	if err := chromedp.Do(ctx, do...); err != nil {
		b.Fatal(err)
	}
}

// open goes to a page on the disk at a width, light or dark.
func (b *browser) open(path string, width int64, scheme string) {
	b.Helper()
	b.name = strings.TrimSuffix(filepath.Base(path), ".html")
	look := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, look); err != nil {
		b.Fatal(err)
	}
	b.run(chromedp.EmulateViewport(width, 900), chromedp.Navigate((&url.URL{Scheme: "file", Path: path}).String()))
}

// js is what an expression comes to.
func js[T any](b *browser, expr string) T {
	b.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expr))
	if err != nil {
		b.Fatal(err)
	}
	return v
}

// is fails unless an expression comes true soon.
func (b *browser) is(expr string) {
	b.Helper()
	for range 100 {
		if js[bool](b, expr) {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.Errorf("%s: not so: %s; it says %q", b.name, expr, js[string](b, `document.querySelector(".readout")?.textContent ?? ""`))
}

// keep writes a picture of the whole page, to look at, where
// STILLSPAN_SHOTS names a folder.
func (b *browser) keep(name string) {
	dir := os.Getenv("STILLSPAN_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		b.Fatal(err)
	}
}

// A script that the checks below share: what each page has to hold to at any
// width.
const pageRules = `(() => {
  const bad = [];
  const seen = e => e.checkVisibility() && e.getClientRects().length > 0;
  if (document.documentElement.scrollWidth > innerWidth) {
    const e = [...document.querySelectorAll("body *")].filter(e => seen(e) && e.getBoundingClientRect().right > innerWidth).pop();
    bad.push("the page is " + document.documentElement.scrollWidth + " wide in a window of " + innerWidth + ": " + (e ? e.outerHTML.slice(0, 90) : ""));
  }
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const t = walk.currentNode, e = t.parentElement;
    if (!t.data.trim() || !seen(e) || ["SCRIPT", "STYLE"].includes(e.tagName)) continue;
    const size = parseFloat(getComputedStyle(e).fontSize);
    if (size < 11) bad.push(size + " px: " + t.data.trim().slice(0, 40));
  }
  for (const e of document.querySelectorAll("table")) if (seen(e) && e.scrollWidth > e.parentElement.clientWidth + 1) bad.push("a table is cut off: " + e.textContent.trim().slice(0, 40));
  for (const e of document.images) if (!e.hasAttribute("alt")) bad.push("a picture says nothing");
  for (const e of document.querySelectorAll("button, a, input, [role=img], canvas")) {
    if (!seen(e) || e.closest("[aria-hidden=true]")) continue;
    if (!(e.getAttribute("aria-label") || e.textContent.trim() || e.querySelector("img[alt]"))) bad.push("no name: " + e.outerHTML.slice(0, 60));
  }
  const light = c => { const m = c.match(/[\d.]+/g).slice(0, 3).map(v => v / 255).map(v => v <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4); return .2126 * m[0] + .7152 * m[1] + .0722 * m[2]; };
  const ground = light(getComputedStyle(document.body).backgroundColor);
  for (const e of document.querySelectorAll("p, li, dd, dt, h2, h3, h4, figcaption, .state, .chain em, .chain span, .yt, .xt span, .key, .mark")) {
    if (!seen(e)) continue;
    const l = light(getComputedStyle(e).color), ratio = (Math.max(l, ground) + .05) / (Math.min(l, ground) + .05);
    if (ratio < 4.5) bad.push(ratio.toFixed(1) + ":1 " + e.className + " " + e.textContent.trim().slice(0, 30));
  }
  return [...new Set(bad)];
})()`

// rules holds the page to what every page has to hold to. Contrast is that of
// WCAG 2.2, 1.4.3.
func (b *browser) rules() {
	b.Helper()
	for _, bad := range js[[]string](b, pageRules) {
		b.Errorf("%s: %s", b.name, bad)
	}
}

// dayOfTwo draws a small day of two shoots with faults, and renders it.
func dayOfTwo(t *testing.T) (out string) {
	t.Helper()
	env, _ := dayEnv(t)
	dir := t.TempDir()
	card, plan := filepath.Join(dir, "card"), filepath.Join(dir, "plan.toml")
	shoots := plainShoots(2, 24)
	shoots[0].NotFired, shoots[0].Lost, shoots[0].Truncated = []int{7, 8}, []int{12}, []int{15}
	shoots[0].Scene = scene.Options{Seed: 3, ScatterEV: 0.15}
	drawShoots(t, card, shoots, 240, 160)
	if err := demo.WritePlan(plan, shoots); err != nil {
		t.Fatal(err)
	}
	out = filepath.Join(dir, "clips")
	cmd := exec.Command("stillspan", "day", card, "--plan", plan, "--out", out, "--quiet", "--gaps", "hold", "--aspect", "source")
	cmd.Env = append(os.Environ(), env...)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	if err := cmd.Run(); cmd.ProcessState.ExitCode() != exitFindings {
		t.Fatalf("%v: %s", err, errs.String())
	}
	return out
}

// The pages in a browser: the clip plays, steps, switches and wipes by hand and
// by key; marks open their frame; each page holds to the rules on a screen, on a
// phone, in the dark and on paper, and asks for nothing outside.
func TestPagesInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser")
	}
	b := newBrowser(t)
	out := dayOfTwo(t)
	day := filepath.Join(out, "index.html")
	b.open(day, 1280, "light")
	b.rules()
	links := js[[]string](b, `[...document.querySelectorAll(".shoots h2 a")].map(a => a.pathname)`)
	if len(links) != 2 || js[int](b, `document.querySelectorAll(".rig .bar").length`) != 2 {
		t.Fatalf("the day links to %q", links)
	}
	first, err := url.PathUnescape(links[0])
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []string{day, first} {
		for _, look := range []struct {
			width  int64
			scheme string
		}{{1280, "light"}, {390, "light"}, {1280, "dark"}} {
			b.open(p, look.width, look.scheme)
			b.rules()
			b.keep(fmt.Sprintf("%s-%d-%s", b.name, look.width, look.scheme))
		}
	}
	b.open(first, 1280, "light")
	if back := js[string](b, `document.querySelector("nav a").pathname`); !strings.HasSuffix(back, "/index.html") {
		t.Errorf("the shoot's page leads back to %q", back)
	}
	t.Run("clip", func(t *testing.T) { b.T = t; b.playClip() })
	t.Run("marks", func(t *testing.T) { b.T = t; b.openMarks() })
	t.Run("paper", func(t *testing.T) { b.T = t; b.print(first, 1) })
	b.T = t
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, bad := range b.bad {
		t.Error(bad)
	}
}

// says tells whether the readout holds a word.
func says(word string) string {
	return fmt.Sprintf(`document.querySelector(".readout").textContent.includes(%q)`, word)
}

func (b *browser) playClip() {
	const mean = `(() => { const c = document.querySelector("canvas"), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data; let s = 0; for (let i = 1; i < d.length; i += 4) s += d[i]; return s / d.length * 4; })()`
	b.is(`document.querySelector("video").readyState >= 2`)
	b.is(says("Frame 1 of 24"))
	b.run(chromedp.Focus(chromedp.CSS("canvas")), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight))
	b.is(says("Frame 3 of 24"))
	b.is(`!document.querySelector("video").seeking`)
	clip := js[float64](b, mean)
	b.run(chromedp.KeyEvent("s"))
	b.is(`document.querySelector("[role=radio][aria-checked=true]").dataset.view === "shot"`)
	if shot := js[float64](b, mean); clip == 0 || shot == clip {
		b.Errorf("as shot and in the clip look the same: %.2f", clip)
	}
	b.run(chromedp.KeyEvent("w"))
	b.is(`document.querySelector(".stage").dataset.view === "wipe" && document.querySelector("[data-do=wipe]").checkVisibility()`)
	at := js[[]float64](b, `(() => { const r = document.querySelector("canvas").getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()`)
	x := func(part float64) float64 { return at[0] + part*at[2] }
	y := at[1] + at[3]/2
	b.run(chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x(0.9), y, chromedp.ButtonLeft), chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x(0.2), y, chromedp.ButtonLeft),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x(0.2), y, chromedp.ButtonLeft))
	b.is(`document.querySelector("[data-do=wipe]").value === "20"`)
	b.run(chromedp.KeyEvent(kb.End))
	b.is(says("Frame 24 of 24"))
	b.run(chromedp.KeyEvent(kb.Home), chromedp.Click(chromedp.CSS("[data-do=play]")))
	b.is(`document.querySelector("[data-do=play]").getAttribute("aria-pressed") === "true"`)
	b.is(`document.querySelector("video").ended`)
	b.is(says("Frame 24 of 24"))
}

func (b *browser) openMarks() {
	b.is(`document.querySelectorAll("button.mark").length === 3`)
	if stops := js[int](b, `[...document.querySelectorAll("button.mark")].filter(m => m.tabIndex === 0).length`); stops != 1 {
		b.Errorf("%d marks are stops of the tab key, want 1", stops)
	}
	b.run(chromedp.Focus(chromedp.CSS("button.mark")), chromedp.KeyEvent(kb.Enter))
	b.is(says("2 missing"))
	b.run(chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.Enter))
	b.is(says("lost after being shot"))
	at := js[string](b, `document.querySelector(".stack").style.getPropertyValue("--at")`)
	b.run(chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.Enter))
	b.is(says("not in the clip"))
	if now := js[string](b, `document.querySelector(".stack").style.getPropertyValue("--at")`); now == at {
		b.Errorf("the line stays at %s", at)
	}
	// A stripe stands over its dot: slice and plots begin and end together.
	b.is(`(() => { const xs = [...document.querySelectorAll(".stack .area")].map(a => { const r = a.getBoundingClientRect(); return Math.round(r.left) + " " + Math.round(r.right); }); return xs.length > 5 && new Set(xs).size === 1; })()`)
	b.is(`document.querySelector(".gallery a img").naturalWidth > 0`)
}

// print prints a page; each shoot is one sheet.
func (b *browser) print(path string, sheets int) {
	b.open(path, 1280, "light")
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPrintBackground(), chromedp.PDFPreferCSSPageSize()))
	if err != nil {
		b.Fatal(err)
	}
	if n := bytes.Count(pdf, []byte("/Type /Page\n")); n != sheets {
		b.Errorf("%d sheets, want %d", n, sheets)
	}
	if dir := os.Getenv("STILLSPAN_SHOTS"); dir != "" {
		os.WriteFile(filepath.Join(dir, b.name+".pdf"), pdf, 0o644)
	}
}
