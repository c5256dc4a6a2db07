package review_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// What other pages and other programs on the machine may try.
func TestGuard(t *testing.T) {
	s := serve(t)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	known := &http.Client{Jar: jar}
	r, err := known.Get(s.link())
	if err != nil || r.StatusCode != http.StatusOK || r.Request.URL.RawQuery != "" {
		t.Fatalf("the link: %v, %v", r, err)
	}
	page, _ := io.ReadAll(r.Body)
	if !strings.Contains(r.Header.Get("Content-Security-Policy"), "default-src 'none'") || strings.Contains(string(page), "://") {
		t.Errorf("the page may reach outside: %v\n%s", r.Header, page)
	}
	base, _ := url.Parse(s.URL)
	outside := filepath.Join(filepath.Dir(s.card), "secret.jpg")
	if err := os.WriteFile(outside, []byte("secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, method, path string
		client             *http.Client
		head               map[string]string
		want               int
	}{
		{"known", "GET", "/api/day", known, nil, 200},
		{"no token", "GET", "/api/day", &http.Client{}, nil, 403},
		{"no token, a frame", "GET", "/frame/0/0", &http.Client{}, nil, 403},
		{"wrong token", "GET", "/?token=" + strings.Repeat("A", 43), &http.Client{}, nil, 403},
		{"empty token", "GET", "/?token=", &http.Client{}, nil, 403},
		{"wrong cookie", "GET", "/api/day", &http.Client{}, map[string]string{"Cookie": "stillspan-" + base.Port() + "=x"}, 403},
		{"foreign host", "GET", "/api/day", known, map[string]string{"Host": "evil.example:" + base.Port()}, 403},
		{"foreign host, right token", "GET", "/?token=" + s.page.Token(), &http.Client{}, map[string]string{"Host": "evil.example"}, 403},
		{"foreign origin", "GET", "/api/day", known, map[string]string{"Origin": "http://evil.example"}, 403},
		{"origin of another port", "POST", "/api/stop", known, map[string]string{"Origin": "http://127.0.0.1:1"}, 403},
		{"null origin", "POST", "/api/stop", known, map[string]string{"Origin": "null"}, 403},
		{"no origin for a change", "POST", "/api/stop", known, nil, 403},
		{"from another site", "GET", "/frame/0/0", known, map[string]string{"Sec-Fetch-Site": "cross-site"}, 403},
		{"from another port", "GET", "/frame/0/0", known, map[string]string{"Sec-Fetch-Site": "same-site"}, 403},
		{"own origin", "POST", "/api/cancel", known, map[string]string{"Origin": s.URL}, 200},
		{"a frame", "GET", "/frame/0/0", known, nil, 200},
		{"a frame beyond", "GET", "/frame/0/30000", known, nil, 404},
		{"below", "GET", "/frame/0/-1", known, nil, 404},
		{"a shoot beyond", "GET", "/frame/2/0", known, nil, 404},
		{"a path", "GET", "/frame/0/..%2f..%2fsecret.jpg", known, nil, 404},
		{"a path up", "GET", "/../secret.jpg", known, nil, 404},
		{"a path of the assets", "GET", "/page.go", known, nil, 404},
		{"a clip by path", "GET", "/clip/..%2fsecret.jpg", known, nil, 404},
		{"no clip yet", "GET", "/clip/0", known, nil, 404},
	} {
		req, err := http.NewRequest(c.method, s.URL+c.path, strings.NewReader("{}"))
		if err != nil {
			t.Fatal(err)
		}
		for k, v := range c.head {
			if req.Header.Set(k, v); k == "Host" {
				req.Host = v
			}
		}
		r, err := c.client.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		body, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if r.StatusCode != c.want || strings.Contains(string(body), "secret") {
			t.Errorf("%s: status %d, want %d: %.80s", c.name, r.StatusCode, c.want, body)
		}
	}
	select {
	case <-s.page.Stopped:
		t.Error("it was stopped by who may not")
	default:
	}
}

// What a window may ask for, without a browser: choices go to the plan, one
// after the other, and originals stay as they are.
func TestChoose(t *testing.T) {
	s := serve(t)
	before := contents(t, s.card)
	jar, _ := cookiejar.New(nil)
	client := &http.Client{Jar: jar}
	if _, err := client.Get(s.link()); err != nil {
		t.Fatal(err)
	}
	version := ""
	ask := func(path, body string) (int, string) {
		req, _ := http.NewRequest("GET", s.URL+path, nil)
		if body != "" {
			req, _ = http.NewRequest("POST", s.URL+path, strings.NewReader(strings.ReplaceAll(body, "VERSION", version)))
			req.Header.Set("Origin", s.URL)
		}
		r, err := client.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		data, _ := io.ReadAll(r.Body)
		var got struct{ Version string }
		if json.Unmarshal(data, &got) == nil && got.Version != "" && r.StatusCode == 200 {
			version = got.Version
		}
		return r.StatusCode, string(data)
	}
	ask("/api/day", "")
	for _, c := range []struct {
		path, body string
		status     int
		says       string
	}{
		{"/api/shoot/0", `{"version":"VERSION","settings":{"rate":"25","leave-out":"3,9-12"}}`, 200, `"rate":"25"`},
		{"/api/shoot/0", `{"version":"old","settings":{"rate":"30"}}`, 409, "changed meanwhile"},
		{"/api/shoot/0", `{"version":"VERSION","settings":{"rate":"fast"}}`, 422, "rate"},
		{"/api/shoot/0", `{"version":"VERSION","settings":{"zone":"0.5,0.5,0.9,0.9"}}`, 422, "within the picture"},
		{"/api/shoot/0", `{"version":"VERSION","settings":{"first":"9","last":"3"}}`, 422, "lies after the last"},
		{"/api/shoot/0", `{"version":"VERSION","settings":{"out":"/tmp/x","plan":"/tmp/y","name":"z"}}`, 200, `"rate":"25"`},
		{"/api/shoot/1", `{"version":"VERSION","settings":{"crop":"0.1,0.1,0.5,0.5","gaps":"hold"}}`, 200, `"gaps":"hold"`},
		{"/api/shoot/1", `{"version":"VERSION","settings":{"gaps":"leave"}}`, 200, `"gaps":"leave"`},
		{"/api/shoot/1", "not JSON", 422, "cannot be read"},
		{"/api/shoot/0", `{"version":"VERSION","settings":{"first":"30","last":"30"}}`, 200, "no frame is left"},
		{"/api/shoot/0/clip", `{}`, 200, ""},
	} {
		if status, text := ask(c.path, c.body); status != c.status || !strings.Contains(text, c.says) {
			t.Errorf("%s %s: %d %.300s; want %d %s", c.path, c.body, status, text, c.status, c.says)
		}
	}
	s.planHas(t, "# by hand", "# the first", "rate = 25", "leave_out = '3,9-12'", "crop = '0.1,0.1,0.5,0.5'")
	for range 600 {
		if _, text := ask("/api/job", ""); strings.Contains(text, `"running":false`) {
			if !strings.Contains(text, `"failed":true`) || !strings.Contains(text, "no frames to assemble") {
				t.Errorf("a clip without frames: %s", text)
			}
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if after := contents(t, s.card); after != before {
		t.Errorf("the originals changed:\n%s\nwere\n%s", after, before)
	}
}

// contents lists a folder's files with their times.
func contents(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.Walk(dir, func(path string, info os.FileInfo, err error) error {
		if err == nil {
			fmt.Fprintln(&b, path, info.Size(), info.ModTime(), info.Mode())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}
