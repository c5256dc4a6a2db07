package day

import (
	"bufio"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"stillspan/assemble"
	"stillspan/internal/files"
)

// stateDir is the folder of a day's state inside its output folder. All that
// lies in it is ours.
const stateDir = ".stillspan"

// Store is a day's state: what each task is to do, and what is done. Every
// file of it is written whole under another name, put on the disk and then
// renamed, so that whatever stops the machine leaves the old one or the new.
type Store struct {
	out, dir string
	lock     *os.File
}

// Record says that a result is whole, and what it was made from.
type Record struct {
	ID string `json:"id"`
	// Fingerprint is of all that went into the result; see Fingerprint.
	Fingerprint string `json:"fingerprint"`
	File        string `json:"file"` // relative to the output folder
	Bytes       int64  `json:"bytes"`
	SHA256      string `json:"sha256"`
	// Failure is set when there is no result made from these inputs.
	Failure *Failure `json:"failure,omitempty"`
	// Detail is what the caller knows of the result.
	Detail json.RawMessage `json:"detail,omitempty"`
}

// Open makes the state folder in the output folder out, which must exist.
func Open(out string) (*Store, error) {
	out, err := filepath.Abs(out)
	if err != nil {
		return nil, err
	}
	s := &Store{out: out, dir: filepath.Join(out, stateDir)}
	// What is swept is ours: a link would lead the sweeping elsewhere.
	for _, d := range []string{"", "tasks", "done", "work", "log", "engine"} {
		dir := filepath.Join(s.dir, d)
		if err := os.Mkdir(dir, 0o777); err != nil && !errors.Is(err, fs.ErrExist) {
			return nil, fmt.Errorf("cannot write in %q: %w", out, err)
		}
		if info, err := os.Lstat(dir); err != nil || !info.IsDir() {
			return nil, fmt.Errorf("cannot write in %q: %q is a link or no folder", out, dir)
		}
	}
	return s, nil
}

// ErrBusy is wrapped when another run is at work in the output folder.
var ErrBusy = errors.New("another run is at work")

// orphanWait is how long Lock waits for what a killed run left behind: its
// renders end as soon as they notice.
const orphanWait = 30 * time.Second

// Lock makes this run the only one in the output folder. The lock goes when
// the process ends, however it ends, and with it those tasks that were given
// the lock.
func (s *Store) Lock() error {
	name := filepath.Join(s.dir, "lock")
	f, err := files.OpenLock(name, 0o666)
	if errors.Is(err, syscall.ELOOP) {
		return fmt.Errorf("cannot write in %q: %q is a link", s.out, name)
	}
	if err != nil {
		return fmt.Errorf("cannot write in %q: %w", s.out, err)
	}
	for deadline := time.Now().Add(orphanWait); ; time.Sleep(50 * time.Millisecond) {
		err := files.TryLock(f)
		if err == nil {
			break
		}
		pid := holder(f)
		if errors.Is(err, files.ErrLocked) && !alive(pid) && time.Now().Before(deadline) {
			continue
		}
		f.Close()
		if errors.Is(err, files.ErrLocked) {
			return fmt.Errorf("%q: %w there (process %d)", s.out, ErrBusy, pid)
		}
		return fmt.Errorf("cannot lock %q: %w", s.out, err)
	}
	if err := writeHolder(f); err != nil {
		f.Close()
		return fmt.Errorf("cannot lock %q: %w", s.out, err)
	}
	s.lock = f
	return nil
}

// Unlock lets other runs in.
func (s *Store) Unlock() {
	if s.lock != nil {
		s.lock.Close()
		s.lock = nil
	}
}

func writeHolder(f *os.File) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err := f.WriteAt(fmt.Appendln(nil, os.Getpid()), 0)
	return err
}

// holder is the process that took the lock last; 0 when that is not known.
func holder(f *os.File) int {
	b := make([]byte, 32)
	n, _ := f.ReadAt(b, 0)
	var pid int
	_, _ = fmt.Sscan(string(b[:n]), &pid)
	return pid
}

// SpecPath is where a task's spec lies.
func (s *Store) SpecPath(id string) string { return filepath.Join(s.dir, "tasks", id+".gob") }

// WorkPath is where a task may write its result before it is delivered.
func (s *Store) WorkPath(name string) string { return filepath.Join(s.dir, "work", name) }

// partPath is where the flash check of a part of a clip waits for the others.
func (s *Store) partPath(id string) string { return s.WorkPath(id + ".part") }

// proofPath is where the proof of a task or a clip lies, for the day's pages.
func (s *Store) proofPath(id string) string { return s.WorkPath(id + ".proof") }

// LogDir is where tasks' messages go.
func (s *Store) LogDir() string { return filepath.Join(s.dir, "log") }

// ScriptDir is where an engine keeps what it needs.
func (s *Store) ScriptDir() string { return filepath.Join(s.dir, "engine") }

// Path is a place in the output folder.
func (s *Store) Path(name string) string { return filepath.Join(s.out, filepath.FromSlash(name)) }

func (s *Store) recordPath(id string) string { return filepath.Join(s.dir, "done", id+".json") }

// WriteSpec keeps what a task is to do, byte by byte: names of files need not be
// text, as JSON would have it.
func (s *Store) WriteSpec(id string, spec any) error { return writeGob(s.SpecPath(id), spec) }

// ReadSpec reads the file that WriteSpec wrote.
func ReadSpec(path string, into any) error {
	if err := readGob(path, into); err != nil {
		return fmt.Errorf("cannot read task %q: %w", path, err)
	}
	return nil
}

// Finish records a result that lies at file, whole: its size and hash are
// taken here, after it was put on the disk.
func (s *Store) Finish(id, fingerprint, file string, detail any) (Record, error) {
	rel, err := filepath.Rel(s.out, file)
	if err != nil {
		return Record{}, err
	}
	r := Record{ID: id, Fingerprint: fingerprint, File: filepath.ToSlash(rel)}
	if r.Detail, err = json.Marshal(detail); err != nil {
		return Record{}, err
	}
	if err := syncTree(file); err != nil {
		return Record{}, fmt.Errorf("cannot put %q on the disk: %w", file, err)
	}
	if r.Bytes, r.SHA256, err = hashTree(file); err != nil {
		return Record{}, fmt.Errorf("cannot read %q back: %w", file, err)
	}
	return r, writeJSON(s.recordPath(id), r)
}

// Fail records why there is no result. An older result that lies in the output
// folder is still known to be ours.
func (s *Store) Fail(id, fingerprint string, f *Failure) error {
	old, _ := s.Record(id)
	return writeJSON(s.recordPath(id), Record{ID: id, Fingerprint: fingerprint, File: old.File, Bytes: old.Bytes, SHA256: old.SHA256, Failure: f})
}

// Record reads what is recorded of a task; ok is false when nothing is, or
// nothing that can be read.
func (s *Store) Record(id string) (r Record, ok bool) {
	b, err := os.ReadFile(s.recordPath(id))
	if err != nil || json.Unmarshal(b, &r) != nil || r.ID != id {
		return Record{}, false
	}
	return r, true
}

// Standing returns the record of a result that is still what it was when it
// was recorded, made from the same inputs. It reads the result to its end.
func (s *Store) Standing(id, fingerprint string) (Record, bool) {
	r, ok := s.Record(id)
	if !ok || r.Failure != nil || r.Fingerprint != fingerprint || !filepath.IsLocal(filepath.FromSlash(r.File)) {
		return Record{}, false
	}
	n, sum, err := hashTree(s.Path(r.File))
	return r, err == nil && n == r.Bytes && sum == r.SHA256
}

// Deliver moves a result from its place of work to name in the output folder.
// What lies there is replaced only when a record says that it is ours, or with
// overwrite.
func (s *Store) Deliver(id, from, name string, overwrite bool) (string, error) {
	to := s.Path(name)
	if err := s.MayDeliver(id, name, overwrite); err != nil {
		return "", err
	}
	info, err := os.Lstat(to)
	there := err == nil
	if there && info.IsDir() { // which a rename cannot replace
		if err := assemble.RemoveImages(to); err != nil {
			return "", err
		}
		there = false
	}
	if err := syncTree(from); err != nil {
		return "", err
	}
	// Written first, so that after a crash the file is known to be ours.
	if err := writeJSON(s.recordPath(id), Record{ID: id, File: name, Failure: &Failure{Kind: TaskFailed, Text: "interrupted while it was delivered"}}); err != nil {
		return "", err
	}
	// What appears only now survives.
	if err := (files.Place{Path: to, Overwrite: there}).Put(from); err != nil {
		return "", err
	}
	return to, files.Sync(filepath.Dir(to))
}

// MayDeliver tells whether the place of a result is free, or holds an older
// result of ours.
func (s *Store) MayDeliver(id, name string, overwrite bool) error {
	to := s.Path(name)
	if err := assemble.MayPlace(to, overwrite || s.wrote(id, name)); err != nil {
		return &Failure{Kind: TaskFailed, Text: err.Error(), Try: "move it away, choose another --out, or --overwrite to replace it"}
	}
	return nil
}

// wrote tells whether what lies at name is the result that was delivered there,
// whole or damaged since, and not another that took its place: that would have
// another size.
func (s *Store) wrote(id, name string) bool {
	r, ok := s.Record(id)
	if !ok || r.File != name {
		return false
	}
	if r.SHA256 == "" { // interrupted while it was delivered
		return true
	}
	info, err := os.Stat(s.Path(name))
	return err == nil && (info.IsDir() || info.Size() == r.Bytes)
}

// ClearLogs removes what earlier runs' tasks said.
func (s *Store) ClearLogs() error {
	return errors.Join(os.RemoveAll(s.LogDir()), os.Mkdir(s.LogDir(), 0o777))
}

// Drop removes all that is kept of a task but its result.
func (s *Store) Drop(id string) error {
	var errs []error
	for _, p := range []string{s.SpecPath(id), s.recordPath(id), filepath.Join(s.LogDir(), id+".log")} {
		errs = append(errs, os.RemoveAll(p))
	}
	return errors.Join(errs...)
}

// Sweep removes what dead runs left: results and specs of no task in keep, and
// half-written files, here and in the output folder. The lock must be held.
func (s *Store) Sweep(keep func(id string) bool) error {
	half, err := filepath.Glob(filepath.Join(globEscape(s.out), files.TempPrefix+"*"))
	if err != nil {
		return err
	}
	for _, p := range half {
		if info, err := os.Lstat(p); err == nil && info.Mode().IsRegular() {
			if err := os.Remove(p); err != nil {
				return err
			}
		}
	}
	for _, d := range []string{"tasks", "done", "work"} {
		entries, err := os.ReadDir(filepath.Join(s.dir, d))
		if err != nil {
			return err
		}
		for _, e := range entries {
			id := strings.TrimSuffix(e.Name(), filepath.Ext(e.Name()))
			if !strings.HasPrefix(e.Name(), ".") && keep(id) {
				continue
			}
			if err := os.RemoveAll(filepath.Join(s.dir, d, e.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

// globEscape keeps a path from being taken for a pattern.
func globEscape(p string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(p)
}

// writeJSON writes v whole or not at all.
func writeJSON(path string, v any) error {
	b, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		return err
	}
	return files.WriteBytes(path, append(b, '\n'))
}

// writeGob writes v whole or not at all.
func writeGob(path string, v any) error {
	return files.Write(path, func(w io.Writer) error { return gob.NewEncoder(w).Encode(v) })
}

func readGob(path string, into any) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return gob.NewDecoder(bufio.NewReader(f)).Decode(into)
}

// syncTree puts a file, or a folder of files, on the disk.
func syncTree(root string) error {
	return filepath.WalkDir(root, func(p string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return files.Sync(p)
	})
}

// hashTree is the size and SHA-256 of a file; for a folder, such as an image
// sequence, of the list of its files' sizes, hashes and names.
func hashTree(root string) (bytes int64, sum string, err error) {
	info, err := os.Stat(root)
	if err != nil {
		return 0, "", err
	}
	if !info.IsDir() {
		return hashFile(root)
	}
	h := sha256.New()
	err = filepath.WalkDir(root, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		n, s, err := hashFile(p)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, p)
		bytes += n
		fmt.Fprintf(h, "%d %s %q\n", n, s, filepath.ToSlash(rel))
		return err
	})
	return bytes, hex.EncodeToString(h.Sum(nil)), err
}

func hashFile(p string) (int64, string, error) {
	f, err := os.Open(p)
	if err != nil {
		return 0, "", err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.CopyBuffer(struct{ io.Writer }{h}, struct{ io.Reader }{f}, make([]byte, 1<<20))
	return n, hex.EncodeToString(h.Sum(nil)), err
}
