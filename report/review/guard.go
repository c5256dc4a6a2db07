package review

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"net"
	"net/http"
	"net/url"
	"slices"
)

func newToken() (string, error) {
	var b [32]byte
	_, err := rand.Read(b[:])
	return base64.RawURLEncoding.EncodeToString(b[:]), err
}

// policy lets the page take nothing from elsewhere and be shown in no other.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard lets through what a page of this server asks of it on this machine: a
// name that another has pointed here (DNS rebinding), another page in the same
// browser, and another program without the token get nothing.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		for k, v := range map[string]string{
			"Content-Security-Policy": policy, "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin", "Cache-Control": "no-store",
		} {
			h.Set(k, v)
		}
		switch {
		case !local(r):
			http.Error(w, "This server answers under the address it printed only.", http.StatusForbidden)
		case !ownPage(r):
			http.Error(w, "Another page asked for this: refused.", http.StatusForbidden)
		case r.URL.Path == "/" && s.is(r.URL.Query().Get("token")):
			// The token leaves the address, and with it the history.
			http.SetCookie(w, &http.Cookie{
				Name: cookieName(r), Value: s.token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode,
			})
			http.Redirect(w, r, "/", http.StatusSeeOther)
		case !s.knows(r):
			http.Error(w, "Open the link that 'stillspan review' printed, the whole of it: its last part is the key to this page.", http.StatusForbidden)
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// local tells whether the request names this machine as it is named in the link,
// and came over the loopback.
func local(r *http.Request) bool {
	name, _, err := net.SplitHostPort(r.Host)
	from, _, errFrom := net.SplitHostPort(r.RemoteAddr)
	if err != nil || errFrom != nil {
		return false
	}
	at := net.ParseIP(from)
	return (name == "127.0.0.1" || name == "localhost") && at != nil && at.IsLoopback()
}

// ownPage tells whether a page of this server asks, or the user by the address
// bar. What changes something names the page it comes from.
func ownPage(r *http.Request) bool {
	if !slices.Contains([]string{"", "none", "same-origin"}, r.Header.Get("Sec-Fetch-Site")) {
		return false
	}
	origin := r.Header.Get("Origin")
	if origin == "" {
		return r.Method == http.MethodGet || r.Method == http.MethodHead
	}
	u, err := url.Parse(origin)
	return err == nil && u.Scheme == "http" && u.Host == r.Host
}

// cookieName has the port in it: cookies do not tell ports apart.
func cookieName(r *http.Request) string {
	_, port, _ := net.SplitHostPort(r.Host)
	return "stillspan-" + port
}

func (s *Server) knows(r *http.Request) bool {
	c, err := r.Cookie(cookieName(r))
	return err == nil && s.is(c.Value)
}

func (s *Server) is(token string) bool {
	return subtle.ConstantTimeCompare([]byte(token), []byte(s.token)) == 1
}
