package review

import (
	"embed"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"

	"stillspan/ingest/plan"
	"stillspan/internal/words"
)

//go:embed page.html page.css page.js
var assets embed.FS

// Handler serves the page. Nothing in a request names a path: shoots and frames
// go by their numbers.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	for path, name := range map[string]string{"GET /{$}": "page.html", "GET /page.css": "page.css", "GET /page.js": "page.js"} {
		mux.HandleFunc(path, func(w http.ResponseWriter, r *http.Request) { http.ServeFileFS(w, r, assets, name) })
	}
	mux.HandleFunc("GET /api/day", func(w http.ResponseWriter, _ *http.Request) { answer(w, s.day(), nil) })
	mux.HandleFunc("GET /api/job", func(w http.ResponseWriter, _ *http.Request) {
		s.mu.Lock()
		j := s.job
		s.mu.Unlock()
		answer(w, j, nil)
	})
	mux.HandleFunc("POST /api/cancel", func(w http.ResponseWriter, _ *http.Request) {
		s.mu.Lock()
		if s.job.cancel != nil {
			s.job.cancel()
		}
		s.mu.Unlock()
		answer(w, struct{}{}, nil)
	})
	mux.HandleFunc("POST /api/stop", func(w http.ResponseWriter, _ *http.Request) {
		answer(w, struct{}{}, nil)
		s.stop.Do(func() { close(s.Stopped) })
	})
	mux.HandleFunc("GET /api/shoot/{shoot}/frames", s.shoot(func(w http.ResponseWriter, _ *http.Request, i int) { answer(w, s.frames(i), nil) }))
	mux.HandleFunc("GET /api/shoot/{shoot}", s.shoot(func(w http.ResponseWriter, _ *http.Request, i int) { answer(w, s.look(i), nil) }))
	mux.HandleFunc("POST /api/shoot/{shoot}", s.shoot(s.serveChoice))
	mux.HandleFunc("POST /api/shoot/{shoot}/clip", s.shoot(s.serveRender))
	mux.HandleFunc("GET /clip/{shoot}", s.shoot(s.serveClip))
	mux.HandleFunc("GET /frame/{shoot}/{frame}", s.shoot(s.serveFrame))
	return s.guard(mux)
}

// shoot reads the number of a shoot from the address.
func (s *Server) shoot(next func(http.ResponseWriter, *http.Request, int)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		i, err := strconv.Atoi(r.PathValue("shoot"))
		if err != nil || i < 0 || i >= len(s.views) {
			http.Error(w, "There is no such shoot.", http.StatusNotFound)
			return
		}
		next(w, r, i)
	}
}

// maxBody bounds what a window sends.
const maxBody = 1 << 20

func read(w http.ResponseWriter, r *http.Request, to any) bool {
	err := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody)).Decode(to)
	if err != nil {
		answer(w, nil, errors.New("the page sent what cannot be read: reload it"))
	}
	return err == nil
}

// answer sends a value, or in plain words what went wrong.
func answer(w http.ResponseWriter, x any, err error) {
	status := http.StatusOK
	if err != nil {
		status, x = http.StatusUnprocessableEntity, map[string]string{"error": explained(err)}
		if errors.Is(err, plan.ErrChanged) {
			status = http.StatusConflict
		}
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(x)
}

func (s *Server) serveChoice(w http.ResponseWriter, r *http.Request, i int) {
	var asked wish
	if !read(w, r, &asked) {
		return
	}
	defer s.pics.pause()()
	if err := s.choose(i, asked); err != nil {
		answer(w, nil, err)
		return
	}
	answer(w, s.look(i), nil)
}

func (s *Server) serveRender(w http.ResponseWriter, r *http.Request, i int) {
	var asked struct{ Proof, Replace bool }
	if read(w, r, &asked) {
		answer(w, struct{}{}, s.render(i, asked.Proof, asked.Replace))
	}
}

func (s *Server) serveClip(w http.ResponseWriter, r *http.Request, i int) {
	s.mu.Lock()
	name := s.views[i].clip
	s.mu.Unlock()
	if name == "" {
		http.Error(w, "No clip of this shoot was made yet.", http.StatusNotFound)
		return
	}
	http.ServeFile(w, r, name)
}

func (s *Server) serveFrame(w http.ResponseWriter, r *http.Request, i int) {
	k, err := strconv.Atoi(r.PathValue("frame"))
	if err != nil || k < 0 || k >= len(s.pics.seqs[i].Frames) {
		http.Error(w, "There is no such frame.", http.StatusNotFound)
		return
	}
	jpeg, err := s.pics.get(r.Context(), frameKey{i, k, r.URL.Query().Has("sharp")})
	if err != nil {
		http.Error(w, "This frame cannot be shown: "+words.OneLine(err.Error()), http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Cache-Control", "private, max-age=3600")
	w.Write(jpeg)
}
