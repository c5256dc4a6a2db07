package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"time"

	"stillspan/internal/settings"
	"stillspan/report/review"
)

var reviewCommand = command{
	name: "review", summary: "look through the shoots in a browser; set zone, crop and rate by eye",
	usage: "DIR [OPTIONS]",
	about: `Serves a page to this machine alone and opens the browser on it: the day's shoots,
their frames to scrub through, light before and after, the clip to be. What is
chosen there is written to the plan file as it is chosen (--plan FILE; else
NAME.toml in the working folder, NAME that of DIR), and 'stillspan day' makes the
same from it. Clips go to --out, by default NAME-clips in the working folder. Ends
with Ctrl-C or by the page's Stop. Originals are only read.
`,
	examples: `review /media/dump --plan day.toml
review dump --plan day.toml --out clips --no-browser
`,
	exit: "0 ended by Stop; 1 the work failed; 2 bad usage; 130 interrupted.\n",
	run:  runReview,
}

// reviewBytes is where the page's server begins to tidy its memory more often: it
// runs beside a browser.
const reviewBytes = 400 << 20

func runReview(ctx context.Context, c *call) error {
	root, err := c.folder("review")
	if err != nil {
		return err
	}
	o, err := c.reviewOptions(root)
	if err != nil {
		return err
	}
	debug.SetMemoryLimit(reviewBytes)
	bar := c.progress("reading headers", 1, counted)
	s, err := review.New(ctx, o, bar.set)
	bar.finish()
	if err != nil {
		return err
	}
	err = c.serve(ctx, s)
	return errors.Join(err, s.Close())
}

// reviewOptions names plan and folder for clips, which lie outside the originals.
func (c *call) reviewOptions(root string) (review.Options, error) {
	o := review.Options{Root: root, Plan: settings.PlanFile.Of(c.stated), Out: settings.DayOut.Of(c.stated), Stated: c.stated}
	abs, err := filepath.Abs(root)
	if err != nil {
		return o, err
	}
	name := filepath.Base(abs)
	if name == string(filepath.Separator) || name == "." {
		name = "day"
	}
	if o.Plan == "" {
		o.Plan = name + ".toml"
	}
	if o.Out == "" {
		o.Out = name + "-clips"
	}
	for _, p := range []place{{"--plan", o.Plan, ""}, {"--out", o.Out, ""}} {
		if err := p.outside(root); err != nil {
			return o, err
		}
	}
	return o, clipsApart(root, o.Out)
}

// serve listens on the loopback until it is stopped.
func (c *call) serve(ctx context.Context, s *review.Server) error {
	at, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", settings.Port.Of(c.stated)))
	if err != nil {
		return withHint(fmt.Errorf("cannot listen on this machine: %w", err), "another --listen-port, or none for one that is free")
	}
	server := &http.Server{Handler: s.Handler(), ReadHeaderTimeout: 10 * time.Second}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(at) }()
	link := fmt.Sprintf("http://%s/?token=%s", at.Addr(), s.Token())
	fmt.Fprintln(c.stdout, link)
	fmt.Fprintln(c.stderr, "stillspan: the page is for this machine alone; Ctrl-C or its Stop ends it")
	if settings.Browser.Of(c.stated) {
		openBrowser(link)
	}
	select {
	case <-ctx.Done():
		err = ctx.Err()
	case <-s.Stopped:
		err = nil
	case err = <-failed:
	}
	// What is being sent is a picture: it need not be waited for long.
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if server.Shutdown(end) != nil {
		server.Close()
	}
	return err
}

// openBrowser has the desktop open a link. Without one the link was printed.
func openBrowser(link string) {
	var line []string
	switch runtime.GOOS {
	case "darwin":
		line = []string{"open", link}
	case "windows":
		line = []string{"rundll32", "url.dll,FileProtocolHandler", link}
	default:
		if os.Getenv("DISPLAY") == "" && os.Getenv("WAYLAND_DISPLAY") == "" {
			return
		}
		line = []string{"xdg-open", link}
	}
	cmd := exec.Command(line[0], line[1:]...) // what it opens outlives this program
	if cmd.Start() == nil {
		go cmd.Wait()
	}
}
