package review_test

import (
	"context"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"stillspan/internal/demo"
	"stillspan/internal/scene"
	"stillspan/internal/settings"
	"stillspan/report/review"
)

const planText = `# by hand
[[shoot]]
name = "dawn" # the first
frames = 30
interval_s = 5
`

// served is a page over two small shoots, and where its parts lie.
type served struct {
	*httptest.Server
	page            *review.Server
	card, plan, out string
}

func (s *served) link() string { return s.URL + "/?token=" + s.page.Token() }

// serve draws two shoots, one planned, and serves them.
func serve(t *testing.T) *served {
	t.Helper()
	dir := t.TempDir()
	s := &served{card: filepath.Join(dir, "card"), plan: filepath.Join(dir, "day.toml"), out: filepath.Join(dir, "clips")}
	day := []demo.Shoot{
		{Name: "dawn", Frames: 30, IntervalS: 5, ReallyS: 5, Scene: scene.Options{Seed: 3, Width: 320, Height: 212, ScatterEV: 0.08}, NotFired: []int{11}, Number: 1, Folder: 100,
			Start: time.Date(2026, 5, 1, 5, 0, 0, 0, time.UTC), Body: demo.Body{Make: "Stillspan", Model: "Demo", Serial: "1", Prefix: "RAIL", Folder: "STILL"}},
		{Name: "noon", Frames: 20, IntervalS: 2, ReallyS: 2, Scene: scene.Options{Seed: 4, Width: 320, Height: 212}, Truncated: []int{7}, Number: 100, Folder: 101,
			Start: time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC), Body: demo.Body{Make: "Stillspan", Model: "Demo", Serial: "1", Prefix: "RAIL", Folder: "STILL"}},
	}
	for i := range day {
		d := &day[i]
		d.Scene.Frames = d.Frames
		if err := d.Draw(t.Context(), scene.New(d.Scene), s.card); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(s.plan, []byte(planText), 0o644); err != nil {
		t.Fatal(err)
	}
	s.start(t)
	return s
}

// start serves the folder, again where it was served before.
func (s *served) start(t *testing.T) {
	t.Helper()
	v := settings.Values{}
	settings.Cache.Set(v, false)
	page, err := review.New(t.Context(), review.Options{Root: s.card, Plan: s.plan, Out: s.out, Stated: v}, nil)
	if err != nil {
		t.Fatal(err)
	}
	s.page, s.Server = page, httptest.NewServer(page.Handler())
	server := s.Server
	t.Cleanup(func() {
		server.Close()
		if err := page.Close(); err != nil {
			t.Error(err)
		}
	})
}

// browser starts Chromium; a test without it is skipped.
func browser(t *testing.T, width, height int) context.Context {
	t.Helper()
	name := ""
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(n); err == nil && name == "" {
			name = path
		}
	}
	if name == "" {
		t.Skip("no Chromium here: the page is not tested (Debian package chromium)")
	}
	ctx, end := chromedp.NewExecAllocator(t.Context(), chromedp.ExecPath(name), chromedp.NoSandbox, chromedp.Headless, chromedp.WindowSize(width, height))
	t.Cleanup(end)
	ctx, end = chromedp.NewContext(ctx)
	t.Cleanup(end)
	return ctx
}

func run(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

// js runs a line of the page's own language.
func js(line string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := chromedp.Evaluate[bool]("{"+line+"; true}")(ctx, t)
		return err
	})
}

// truth waits until an expression of the page holds.
func truth(expression string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		for range 1200 { // a minute: the machine may be busy
			if ok, err := chromedp.Evaluate[bool]("!!("+expression+")")(ctx, t); err == nil && ok {
				return nil
			}
			time.Sleep(50 * time.Millisecond)
		}
		is, err := chromedp.Evaluate[string]("JSON.stringify([innerWidth, document.scrollingElement.scrollWidth, at, shown, editing, job, look?.settings, look?.clip, document.querySelector('#alert').textContent])")(ctx, t)
		return fmt.Errorf("never came true: %s; the page has %s, %v", expression, is, err)
	})
}

// drag moves the mouse, pressed, from one place of the page by a stretch of it.
func drag(from, by string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		p, err := chromedp.Evaluate[[]float64]("[..."+from+", ..."+by+"]")(ctx, t)
		if err != nil {
			return err
		}
		_, err = chromedp.Steps(
			chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, p[0], p[1], chromedp.ButtonLeft, chromedp.ClickCount(1)),
			chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, p[0]+p[2]/2, p[1]+p[3]/2, chromedp.ButtonLeft),
			chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, p[0]+p[2], p[1]+p[3], chromedp.ButtonLeft),
			chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, p[0]+p[2], p[1]+p[3], chromedp.ButtonLeft, chromedp.ClickCount(1)),
		)(ctx, t)
		return err
	})
}

// middle and corner are places of an element; share is a stretch of the stage.
func middle(q string) string {
	return fmt.Sprintf("(r=>[r.x+r.width/2,r.y+r.height/2])(document.querySelector(%q).getBoundingClientRect())", q)
}

func share(x, y float64) string {
	return fmt.Sprintf("(r=>[r.width*%g,r.height*%g])(document.querySelector('#stage').getBoundingClientRect())", x, y)
}

// The plan's text as it is now has each of these.
func (s *served) planHas(t *testing.T, parts ...string) {
	t.Helper()
	data, err := os.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range parts {
		if !strings.Contains(string(data), part) {
			t.Errorf("no %q in the plan:\n%s", part, data)
		}
	}
}

type css = chromedp.CSS

// set chooses in a list.
func set(name, value string) chromedp.Action[chromedp.Void] {
	return js(fmt.Sprintf("const f = document.querySelector('[name=%s]'); f.value = '%s'; f.dispatchEvent(new Event('change', {bubbles: true}))", name, value))
}

const measured = "look && look.light"

func TestScrubPlayAndSwitch(t *testing.T) {
	s := serve(t)
	ctx := browser(t, 1280, 900)
	run(t, ctx, chromedp.Navigate(s.link()), truth(measured),
		// The token has left the address.
		truth("location.search === ''"),
		truth("document.querySelector('#verdict').textContent.includes('short by 1')"),
		// Scrub: by the slider, by key, to a frame by its number.
		js("scrub.value = 21; scrub.dispatchEvent(new Event('input'))"), truth("shown === 20 && drawn > 0"),
		chromedp.Focus(css("#stage")), chromedp.KeyEvent(kb.ArrowRight), // arrow right
		truth("shown === 21"),
		chromedp.KeyEvent(kb.Home), truth("shown === 0"), // home
		// As shot, corrected, both.
		truth("getComputedStyle(after).visibility === 'visible' && document.querySelector('#gain feFuncG').getAttribute('slope') !== '1'"),
		chromedp.KeyEvent("a"), truth("!document.querySelector('#wipe-part').hidden && after.style.clipPath.includes('50%')"),
		chromedp.KeyEvent("a"), truth("getComputedStyle(after).visibility === 'hidden'"),
		// Play.
		chromedp.KeyEvent(" "), truth("playing && shown > 5"), chromedp.KeyEvent(" "), truth("!playing"),
		// The other shoot, by key; its damaged frame says so.
		chromedp.KeyEvent("]"), truth("at === 1 && look.light"), truth("Object.keys(frames.bad).length === 1"),
	)
}

func TestChooseByHand(t *testing.T) {
	s := serve(t)
	ctx := browser(t, 1280, 900)
	run(t, ctx, chromedp.Navigate(s.link()), truth(measured),
		chromedp.Click(css("#edit-zone")), truth("editing === 'zone'"),
		drag(middle("#zone i[data-h=nw]"), share(0.25, 0.5)), truth("look.settings.zone.startsWith('0.2') && !look.light.exact"),
		drag(middle("#zone i[data-h=se]"), share(-0.25, -0.25)), truth("look.settings.zone.split(',').every(v => v > 0.2 && v < 0.55)"),
		chromedp.Click(css("#edit-crop")), truth("editing === 'crop'"),
		drag(middle("#crop i[data-h=se]"), share(-0.5, -0.5)), truth("look.settings.crop !== ''"),
		// It keeps the shape of the clip.
		truth("Math.abs(look.clip.shows[2] * 320 / (look.clip.shows[3] * 212) - 16 / 9) < 0.05"),
		drag(middle("#crop span"), share(0.25, 0.25)), truth("look.clip.shows[0] > 0.2"),
		chromedp.KeyEvent(kb.ArrowLeft), truth("look.clip.shows[0] < 0.26"), // by key
		// Rate, gaps, first, last, a frame left out.
		set("rate", "30"),
		truth("look.settings.rate === '30'"), truth("document.querySelector('#length').textContent.includes('at 30 fps. Planned 30 frames, 1 s: 0.03 s short')"),
		set("gaps", "hold"),
		truth("look.clip.made_up === 1 && look.clip.frames === 30"),
		js("editing && edit(editing); show(3); document.activeElement.blur()"),
		chromedp.KeyEvent("f"), truth("look.settings.first === '4'"), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent("x"), truth("look.settings['leave-out'] === '5'"),
		chromedp.KeyEvent(kb.End), chromedp.KeyEvent("l"), truth("look.settings.last === '29'"),
		// One step back.
		chromedp.Click(css("#undo")), truth("look.settings.last === ''"),
		// A value that cannot be is refused in words, and nothing is written.
		js("choose({smooth: '2'})"), truth("!document.querySelector('#alert').hidden && look.settings.smooth === ''"),
	)
	s.planHas(t, "# by hand", "name = \"dawn\" # the first", "rate = 30", "first = 4", "leave_out = '5'", "gaps = 'hold'", "zone = '0.2", "crop = '0.")
	// A second page, as after a restart, has it all.
	s.start(t)
	run(t, ctx, chromedp.Navigate(s.link()), truth(measured), truth("look.settings.rate === '30' && look.settings['leave-out'] === '5' && look.settings.crop"))
	// A shoot that nobody planned gains an entry.
	run(t, ctx, chromedp.KeyEvent("]"), truth("at === 1"), js("choose({smooth: '40'})"), truth("look.settings.smooth === '40'"))
	s.planHas(t, "name = '2026-05-01-1200'", "interval_s = 2", "smooth = 40")
}

func TestTwoWindows(t *testing.T) {
	s := serve(t)
	one := browser(t, 1280, 900)
	two, end := chromedp.NewContext(one)
	defer end()
	run(t, one, chromedp.Navigate(s.link()), truth(measured))
	run(t, two, chromedp.Navigate(s.link()), truth(measured), js("choose({rate: '25'})"), truth("look.settings.rate === '25'"))
	run(t, one, js("choose({rate: '60'})"), truth("document.querySelector('#alert').textContent.includes('changed in another window')"))
	s.planHas(t, "rate = 25")
	run(t, one, chromedp.Click(css("#reload")), truth("look && look.settings.rate === '25'"), js("choose({rate: '60'})"), truth("look.settings.rate === '60'"))
	s.planHas(t, "rate = 60")
}

func TestMakeAndCancel(t *testing.T) {
	s := serve(t)
	ctx := browser(t, 1280, 900)
	run(t, ctx, chromedp.Navigate(s.link()), truth(measured), chromedp.Click(css("#proof")),
		truth("job.number === 1 && !job.running && !job.failed"), truth("video.readyState > 0 && video.videoWidth > 0"),
		js("choose({aspect: '1:1'})"), truth("look.clip.width === look.clip.height"),
		chromedp.Click(css("#render")), truth("job.number === 2 && !job.running"), truth("look.clip.there"))
	clips, err := os.ReadDir(s.out)
	if err != nil || len(clips) != 1 || filepath.Ext(clips[0].Name()) != ".mp4" {
		t.Fatalf("clips %v, %v", clips, err)
	}
	info, _ := clips[0].Info()
	// What is there is replaced only when that was confirmed; a clip that is
	// cancelled leaves it.
	run(t, ctx, chromedp.Click(css("#render")), truth("document.querySelector('#ask').open"), chromedp.Click(css("#ask button[value=no]")),
		js("ask('/api/shoot/0/clip', {proof: false, replace: false}).catch(trouble)"),
		truth("document.querySelector('#alert').textContent.includes('there already')"),
		js("ask('/api/shoot/0/clip', {proof: false, replace: true}).then(() => ask('/api/cancel', {})).then(watch)"),
		truth("job.number === 3 && !job.running && job.said.startsWith('cancelled')"))
	if left, _ := os.ReadDir(s.out); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	if again, err := os.Stat(filepath.Join(s.out, clips[0].Name())); err != nil || again.ModTime() != info.ModTime() {
		t.Errorf("the clip that was there is another: %v", err)
	}
	run(t, ctx, chromedp.Click(css("#stop")), chromedp.Click(css("#ask-yes")), truth("document.querySelector('#alert').textContent.includes('Stopped')"))
	select {
	case <-s.page.Stopped:
	default:
		t.Error("Stop did not stop it")
	}
}

// Nothing is cut off on a phone, what is pressed is large enough for a thumb, and
// every control has a name.
func TestPhoneAndNames(t *testing.T) {
	s := serve(t)
	ctx := browser(t, 390, 844)
	run(t, ctx, chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile, chromedp.EmulateTouch), chromedp.Navigate(s.link()), truth(measured),
		truth("document.scrollingElement.scrollWidth <= 390"),
		truth("[...document.querySelectorAll('main button')].every(b => !b.offsetParent || b.getBoundingClientRect().height >= 40)"),
		truth("[...document.querySelectorAll('input,select,button')].every(f => f.ariaLabel || f.textContent.trim() || f.labels?.length)"))
	// A finger drags the zone.
	run(t, ctx, chromedp.Click(css("#edit-zone")), truth("editing === 'zone'"), chromedp.ScrollIntoView(css("#stage")),
		drag(middle("#zone i[data-h=se]"), share(-0.4, -0.4)), truth("look.settings.zone !== ''"))
	// Wide, nothing is cut off either.
	run(t, ctx, chromedp.EmulateViewport(1280, 900), chromedp.Navigate(s.URL), truth(measured), truth("document.scrollingElement.scrollWidth <= 1280"))
}
