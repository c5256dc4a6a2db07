package handover

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"stillspan/ingest/copycheck"
	"stillspan/internal/files"
	"stillspan/internal/playback"
)

// Folder is a folder of finished clips, handed over with the lists of them.
type Folder struct {
	Dir, Title string
	clips      []Clip
	sums       []copycheck.Sum
}

// Add takes a clip that lies in the folder. sum is its SHA-256 in hexadecimal;
// where it is empty, the clip, or each image of one, is read to its end.
func (f *Folder) Add(c Clip, sum string) error {
	f.clips = append(f.clips, c)
	if sum == "" {
		return f.AddSums(c.File)
	}
	s := copycheck.Sum{Name: c.File}
	if _, err := hex.Decode(s.SHA256[:], []byte(sum)); err != nil {
		return fmt.Errorf("checksum of %q: %w", c.File, err)
	}
	f.sums = append(f.sums, s)
	return nil
}

// AddSums takes what lies in the folder beside the clips.
func (f *Folder) AddSums(name string) error {
	err := filepath.WalkDir(filepath.Join(f.Dir, name), func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || strings.HasPrefix(e.Name(), files.TempPrefix) { // of this program's own keeping
			return err
		}
		file, _, err := files.Open(p)
		if err != nil {
			return err
		}
		defer file.Close()
		h := sha256.New()
		if _, err := io.Copy(h, file); err != nil {
			return err
		}
		rel, err := filepath.Rel(f.Dir, p)
		s := copycheck.Sum{Name: filepath.ToSlash(rel)}
		copy(s.SHA256[:], h.Sum(nil))
		f.sums = append(f.sums, s)
		return err
	})
	if os.IsNotExist(err) {
		return fmt.Errorf("clip %q went away: %w", name, err)
	}
	return err
}

// Lists are what lies beside the clips, by file name. notes say which clips are in no
// edit list, and which may trouble a reader of one.
func (f *Folder) Lists() (lists map[string][]byte, notes []string, err error) {
	timeline, err := Timeline(f.Title, f.clips)
	if err != nil {
		return nil, nil, err
	}
	lists = map[string][]byte{timelineName: timeline, tableName: Table(f.clips)}
	edits, left := EditLists(f.Title, f.clips)
	if len(left) > 0 {
		notes = append(notes, "in no edit list, for want of a time code at their rate or of room: "+strings.Join(left, ", "))
	}
	for i := range f.clips {
		if c := &f.clips[i]; c.pastMidnight() {
			notes = append(notes, fmt.Sprintf("the time code of %s passes midnight, so that it ends before it begins in the edit list; where an editor refuses that, --timecode 10:00:00:00 sets another", c.File))
		}
	}
	for _, l := range edits {
		lists[l.Name] = l.Text
	}
	sums := slices.Clone(f.sums)
	for name, text := range lists {
		sums = append(sums, copycheck.Sum{SHA256: sha256.Sum256(text), Name: name})
	}
	slices.SortFunc(sums, func(a, b copycheck.Sum) int { return strings.Compare(a.Name, b.Name) })
	var list bytes.Buffer
	err = copycheck.WriteSums(&list, sums, "stillspan hand-over")
	lists[Sums] = list.Bytes()
	return lists, notes, err
}

// Sums is the name of the list of checksums.
const Sums = "SHA256SUMS"

const timelineName, tableName = "clips.otio", "stills.csv"

// Names are what the lists of clips of these rates may be called.
func Names(rates []playback.Rate) []string {
	names := []string{timelineName, tableName, Sums}
	for _, r := range rates {
		names = append(names, editListName(r))
	}
	return names
}

// Listed are the files in a folder that an earlier hand-over wrote there and
// nobody has changed since, by its list of checksums; those in folders of their
// own are not looked at.
func Listed(dir string) map[string]bool {
	f, _, err := files.Open(filepath.Join(dir, Sums))
	if err != nil {
		return nil
	}
	defer f.Close()
	sums, err := copycheck.ReadSums(f)
	if err != nil {
		return nil
	}
	out := map[string]bool{}
	for _, s := range sums {
		if filepath.Base(s.Name) != s.Name {
			continue
		}
		list, info, err := files.Open(filepath.Join(dir, s.Name))
		if err != nil {
			continue
		}
		h := sha256.New()
		if info.Size() <= maxList {
			_, err = io.Copy(h, list)
		}
		list.Close()
		out[s.Name] = err == nil && info.Size() <= maxList && bytes.Equal(h.Sum(nil), s.SHA256[:])
	}
	return out
}

// maxList bounds a list, bytes: what is larger is a clip.
const maxList = 256 << 20
