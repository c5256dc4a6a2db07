// Command review measures the local page on a long shoot: the time to the first
// picture, pictures a second when scrubbing, the time to the light of other
// settings, and memory. Pictures are fetched as a browser does; what the browser
// takes to draw them is not in it.
package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"stillspan/internal/bench"
)

func main() {
	frames := flag.Int("frames", 3000, "stills of the shoot")
	unique := flag.Int("unique", 6, "different ones; the rest are hard links to them")
	dir := flag.String("dir", "", "folder to work in; default a temporary one, removed at the end")
	flag.Parse()
	if err := run(context.Background(), *frames, *unique, *dir); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(ctx context.Context, frames, unique int, dir string) error {
	if dir == "" {
		tmp, err := os.MkdirTemp("", "review-bench-*")
		if err != nil {
			return err
		}
		defer os.RemoveAll(tmp)
		dir = tmp
	}
	program, err := bench.Program(ctx, dir)
	if err != nil {
		return err
	}
	stills := filepath.Join(dir, "stills")
	if err := draw(ctx, stills, frames, unique); err != nil {
		return err
	}
	begin := time.Now()
	p, err := start(ctx, program, stills, dir)
	if err != nil {
		return err
	}
	defer p.end()
	ready := time.Since(begin)
	if _, err := p.get("/frame/0/0"); err != nil {
		return err
	}
	fmt.Printf("stills, 24 megapixels               %8d\n", frames)
	row("headers read, link printed", ready.Seconds(), "s", 0)
	row("first picture, from the start", time.Since(begin).Seconds(), "s", 1)
	return p.measure(frames)
}

// row prints a figure, with the bound it is held to; 0 for none.
func row(what string, is float64, unit string, bound float64) {
	line := fmt.Sprintf("%-34s %9.2f %s", what, is, unit)
	if bound > 0 {
		line += fmt.Sprintf("   (wanted: %g)", bound)
	}
	fmt.Println(line)
}

// measure works with the page as a hand does.
func (p *page) measure(frames int) error {
	rate, err := p.scrub(1, 60)
	if err != nil {
		return err
	}
	row("scrub, nothing read ahead", rate, "pictures/s", 0)
	ahead := time.Duration(300 / rate * float64(time.Second))
	time.Sleep(ahead)
	begin := time.Now()
	l, err := p.look(nil) // from here on it measures
	if err != nil {
		return err
	}
	if rate, err = p.scrub(61, 200); err != nil {
		return err
	}
	row("scrub, read ahead, while measuring", rate, "pictures/s", 15)
	for ; err == nil && l.Light == nil; l, err = p.look(nil) {
		time.Sleep(200 * time.Millisecond)
		if l.Failed != "" {
			return fmt.Errorf("not measured: %s", l.Failed)
		}
	}
	if err != nil {
		return err
	}
	row("light first measured", time.Since(begin).Seconds(), "s", 0)
	if _, err := p.get(fmt.Sprintf("/frame/0/%d", frames/2)); err != nil {
		return err
	}
	time.Sleep(ahead)
	if rate, err = p.scrub(frames/2+1, 200); err != nil {
		return err
	}
	row("scrub, read ahead", rate, "pictures/s", 15)
	for _, c := range []struct {
		name, key string
		values    []string
	}{
		{"light under another smoothing", "smooth", []string{"40", "60", "80", "100", "120"}},
		{"light of another zone", "zone", []string{"0,0,1,0.5", "0.1,0.1,0.3,0.3", "0,0.5,1,0.5", "0.4,0.4,0.1,0.1", "0,0,0.9,0.9"}},
	} {
		var took []float64
		spent := p.cpuS()
		for _, v := range c.values {
			begin := time.Now()
			if l, err = p.look(map[string]any{"version": l.Version, "settings": map[string]string{c.key: v}}); err != nil || l.Light == nil {
				return fmt.Errorf("%s %s: %v %s", c.key, v, err, l.Failed)
			}
			took = append(took, time.Since(begin).Seconds())
		}
		slices.Sort(took)
		row(c.name+", median", took[len(took)/2], "s", 1)
		row(c.name+", worst", took[len(took)-1], "s", 1)
		row(c.name+", CPU each", (p.cpuS()-spent)/float64(len(took)), "s", 0)
	}
	peak, err := p.peakMB()
	row("memory at its peak", peak, "MB", 500)
	return err
}

// page is a running program and a browser's part of the talk.
type page struct {
	cmd    *exec.Cmd
	base   string
	client *http.Client
}

func start(ctx context.Context, program, stills, dir string) (*page, error) {
	cmd := exec.CommandContext(ctx, program, "review", stills, "--no-browser", "--plan", filepath.Join(dir, "plan.toml"), "--out", filepath.Join(dir, "clips"))
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	cmd.Stderr = os.Stderr
	cmd.Env = append(os.Environ(), "XDG_CACHE_HOME="+filepath.Join(dir, "cache")) // measurements of an earlier run in dir are believed
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	link, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return nil, fmt.Errorf("no link: %w", err)
	}
	u, err := url.Parse(strings.TrimSpace(link))
	if err != nil {
		return nil, err
	}
	jar, _ := cookiejar.New(nil) // it never fails
	p := &page{cmd, "http://" + u.Host, &http.Client{Jar: jar}}
	_, err = p.get("/?" + u.RawQuery)
	return p, err
}

func (p *page) end() {
	p.cmd.Process.Signal(os.Interrupt)
	p.cmd.Wait()
}

func (p *page) get(path string) ([]byte, error) {
	r, err := p.client.Get(p.base + path)
	if err != nil {
		return nil, err
	}
	return body(r)
}

func body(r *http.Response) ([]byte, error) {
	defer r.Body.Close()
	data, err := io.ReadAll(r.Body)
	if err == nil && r.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %.200s", r.Status, data)
	}
	return data, err
}

// scrub fetches frames one after the other.
func (p *page) scrub(from, count int) (perSecond float64, err error) {
	begin := time.Now()
	for k := range count {
		if _, err := p.get(fmt.Sprintf("/frame/0/%d", from+k)); err != nil {
			return 0, err
		}
	}
	return float64(count) / time.Since(begin).Seconds(), nil
}

type look struct {
	Version string           `json:"version"`
	Light   *json.RawMessage `json:"light"`
	Failed  string           `json:"failed"`
}

// look asks for the shoot as it is, or with a choice.
func (p *page) look(choice any) (l look, err error) {
	var data []byte
	if choice == nil {
		data, err = p.get("/api/shoot/0")
	} else {
		var r *http.Response
		sent, _ := json.Marshal(choice) // strings only
		req, _ := http.NewRequest("POST", p.base+"/api/shoot/0", bytes.NewReader(sent))
		req.Header.Set("Origin", p.base)
		if r, err = p.client.Do(req); err == nil {
			data, err = body(r)
		}
	}
	if err != nil {
		return l, err
	}
	return l, json.Unmarshal(data, &l)
}

// cpuS is the processor time that the program took so far; 0 where it is not told.
func (p *page) cpuS() float64 {
	data, _ := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.cmd.Process.Pid))
	after := strings.Fields(string(data[bytes.LastIndexByte(data, ')')+1:]))
	const user, system, ticks = 11, 12, 100 // of proc(5), from the state on
	if len(after) <= system {
		return 0
	}
	var u, s float64
	fmt.Sscan(after[user]+" "+after[system], &u, &s)
	return (u + s) / ticks
}

// peakMB is the most memory the program held, as the kernel of Linux tells.
func (p *page) peakMB() (float64, error) {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	for line := range strings.Lines(string(data)) {
		var kB float64
		if n, _ := fmt.Sscanf(line, "VmHWM: %f kB", &kB); n == 1 {
			return kB * 1024 / 1e6, nil
		}
	}
	return 0, fmt.Errorf("peak of memory not told: %w", err)
}

// draw makes stills as large and as full of detail as a camera's.
func draw(ctx context.Context, dir string, frames, unique int) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	name := func(k int) string { return filepath.Join(dir, fmt.Sprintf("IMG_%04d.JPG", k+1)) }
	if _, err := os.Stat(name(frames - 1)); err == nil {
		return nil // by an earlier run
	}
	if err := bench.Stills(ctx, filepath.Join(dir, "IMG_%04d.JPG"), 1, unique, 6000, 4000); err != nil {
		return err
	}
	for k := unique; k < frames; k++ {
		if err := os.Link(name(k%unique), name(k)); err != nil {
			return err
		}
	}
	return nil
}
