package review_test

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
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
