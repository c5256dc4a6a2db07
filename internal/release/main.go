// Command release builds the archives of a release into dist: the program for
// each system, its manual page and completions, the licences of all that is
// linked into it, and a list of checksums that sha256sum reads.
//
//	go run ./internal/release [-version v1.0.0] [-target linux/amd64]
package main

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"debug/buildinfo"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"time"
)

const dist = "dist"

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	version := flag.String("version", "", "default: what git describes")
	only := flag.String("target", "", "one system, such as linux/amd64; default all")
	flag.Parse()
	targets := []string{"linux/amd64", "linux/arm64", "darwin/amd64", "darwin/arm64", "windows/amd64"}
	if *only != "" {
		targets = []string{*only}
	}
	if err := run(ctx, *version, targets); err != nil {
		fmt.Fprintln(os.Stderr, "release:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, version string, targets []string) error {
	if version == "" {
		v, err := output(ctx, nil, "git", "describe", "--tags", "--always", "--dirty")
		if err != nil {
			return err
		}
		version = v
	}
	seconds, err := output(ctx, nil, "git", "log", "-1", "--format=%ct")
	if err != nil {
		return err
	}
	unix, err := strconv.ParseInt(seconds, 10, 64)
	if err != nil {
		return err
	}
	if err := os.RemoveAll(dist); err != nil {
		return err
	}
	var sums strings.Builder
	for _, target := range targets {
		name := fmt.Sprintf("stillspan-%s-%s", version, strings.ReplaceAll(target, "/", "-"))
		if err := fill(ctx, filepath.Join(dist, name), version, target); err != nil {
			return fmt.Errorf("%s: %w", target, err)
		}
		archive, sum, err := pack(name, time.Unix(unix, 0))
		if err != nil {
			return fmt.Errorf("%s: %w", target, err)
		}
		fmt.Fprintf(&sums, "%x  %s\n", sum, archive)
		fmt.Println(filepath.Join(dist, archive))
	}
	return os.WriteFile(filepath.Join(dist, "SHA256SUMS"), []byte(sums.String()), 0o644)
}

// fill makes the folder of one archive.
func fill(ctx context.Context, dir, version, target string) error {
	if err := os.MkdirAll(filepath.Join(dir, "completions"), 0o755); err != nil {
		return err
	}
	system, arch, _ := strings.Cut(target, "/")
	program := filepath.Join(dir, "stillspan")
	if system == "windows" {
		program += ".exe"
	}
	if _, err := output(ctx, []string{"CGO_ENABLED=0", "GOOS=" + system, "GOARCH=" + arch},
		"go", "build", "-trimpath", "-ldflags=-s -w -X main.release="+version, "-o", program, "./cmd/stillspan"); err != nil {
		return err
	}
	for _, f := range []string{"README.md", "LICENSE"} {
		data, err := os.ReadFile(f)
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, f), data, 0o644)
		}
		if err != nil {
			return err
		}
	}
	for kind, file := range map[string]string{
		"man": "stillspan.1", "bash": "completions/stillspan.bash", "zsh": "completions/_stillspan", "fish": "completions/stillspan.fish",
	} {
		text, err := output(ctx, nil, "go", "run", "./cmd/stillspan", "manual", kind)
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, file), []byte(text+"\n"), 0o644)
		}
		if err != nil {
			return err
		}
	}
	text, err := notices(ctx, program)
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, "NOTICES"), []byte(text), 0o644)
}

// licenceFile is what modules call theirs.
var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|copyright)`)

// notices are the licences of the modules that the program is linked from, and
// Go's own.
func notices(ctx context.Context, program string) (string, error) {
	info, err := buildinfo.ReadFile(program)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	b.WriteString("Stillspan contains the following software, under the licences below.\n")
	add := func(name, dir string) error {
		entries, err := os.ReadDir(dir)
		if err != nil {
			return err
		}
		found := false
		for _, e := range entries {
			if !licenceFile.MatchString(e.Name()) || !e.Type().IsRegular() {
				continue
			}
			data, err := os.ReadFile(filepath.Join(dir, e.Name()))
			if err != nil {
				return err
			}
			fmt.Fprintf(&b, "\n%s\n%s (%s)\n\n%s\n", strings.Repeat("=", 72), name, e.Name(), strings.TrimSpace(string(data)))
			found = true
		}
		if !found {
			return fmt.Errorf("%s states no licence in %s", name, dir)
		}
		return nil
	}
	goroot, err := output(ctx, nil, "go", "env", "GOROOT")
	if err != nil {
		return "", err
	}
	if err := add("Go "+runtime.Version(), goroot); err != nil {
		return "", err
	}
	for _, m := range info.Deps {
		dir, err := output(ctx, nil, "go", "list", "-m", "-f", "{{.Dir}}", m.Path)
		if err != nil {
			return "", err
		}
		if err := add(m.Path+" "+m.Version, dir); err != nil {
			return "", err
		}
	}
	return b.String(), nil
}

// pack makes an archive of the folder that is the same whenever it is made, and
// removes the folder: a zip file for Windows, elsewhere a packed tar.
func pack(name string, made time.Time) (archive string, sum []byte, err error) {
	folder := filepath.Join(dist, name)
	archive = name + ".tar.gz"
	if strings.Contains(name, "-windows-") {
		archive = name + ".zip"
	}
	f, err := os.Create(filepath.Join(dist, archive))
	if err != nil {
		return "", nil, err
	}
	defer f.Close()
	hash := sha256.New()
	w := io.MultiWriter(f, hash)
	if strings.HasSuffix(archive, ".zip") {
		err = packZip(w, folder, made)
	} else {
		err = packTar(w, folder, made)
	}
	return archive, hash.Sum(nil), errors.Join(err, f.Close(), os.RemoveAll(folder))
}

func packTar(out io.Writer, folder string, made time.Time) error {
	packed := gzip.NewWriter(out)
	w := tar.NewWriter(packed)
	err := eachFile(folder, func(name string, mode fs.FileMode, data []byte) error {
		if err := w.WriteHeader(&tar.Header{Name: name, Mode: int64(mode), Size: int64(len(data)), ModTime: made}); err != nil {
			return err
		}
		_, err := w.Write(data)
		return err
	})
	return errors.Join(err, w.Close(), packed.Close())
}

func packZip(out io.Writer, folder string, made time.Time) error {
	w := zip.NewWriter(out)
	err := eachFile(folder, func(name string, mode fs.FileMode, data []byte) error {
		header := &zip.FileHeader{Name: name, Method: zip.Deflate, Modified: made.UTC()}
		header.SetMode(mode)
		f, err := w.CreateHeader(header)
		if err == nil {
			_, err = f.Write(data)
		}
		return err
	})
	return errors.Join(err, w.Close())
}

// eachFile hands over the files below folder in the order of their names, each
// named from the folder's own name on.
func eachFile(folder string, do func(name string, mode fs.FileMode, data []byte) error) error {
	return filepath.WalkDir(folder, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(filepath.Dir(folder), p)
		if err != nil {
			return err
		}
		mode := fs.FileMode(0o644)
		if base := filepath.Base(p); base == "stillspan" || base == "stillspan.exe" {
			mode = 0o755
		}
		return do(filepath.ToSlash(rel), mode, data)
	})
}

// output runs a program to its end.
func output(ctx context.Context, env []string, name string, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Env = append(os.Environ(), env...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return "", fmt.Errorf("%s %s: %w", name, strings.Join(args, " "), err)
	}
	return strings.TrimSpace(string(out)), nil
}
