package format

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"stillspan/internal/icc"
)

// What real tools write of colours is read in each container: exiftool puts a
// profile into JPEG, PNG and TIFF and states Adobe RGB as DCF 2.0 does, heif-enc
// carries a profile over into HEIF.
func TestColour(t *testing.T) {
	for _, tool := range []string{"exiftool", "ffmpeg"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip(err)
		}
	}
	dir := t.TempDir()
	p3 := filepath.Join(dir, "p3.icc")
	if err := os.WriteFile(p3, icc.DisplayP3.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	cmyk := icc.DisplayP3.Bytes()
	copy(cmyk[16:], "CMYK")
	print := filepath.Join(dir, "print.icc")
	if err := os.WriteFile(print, cmyk, 0o666); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewRGBA(image.Rect(0, 0, 64, 64)), nil); err != nil {
		t.Fatal(err)
	}
	run := func(name string, args ...string) {
		t.Helper()
		if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
			t.Fatalf("%s %v: %v: %s", name, args, err, out)
		}
	}
	for _, c := range []struct {
		file      string
		args      []string
		name      string
		converted bool
		why       string
	}{
		{"plain.jpg", nil, "sRGB", false, ""},
		{"srgb.jpg", []string{"-ColorSpace=1", "-InteropIndex=R98"}, "sRGB", false, ""},
		{"dcf.jpg", []string{"-ColorSpace=65535", "-InteropIndex=R03"}, "Adobe RGB (1998)", true, ""},
		{"other.jpg", []string{"-ColorSpace=65535"}, "sRGB", false, ""},
		{"p3.jpg", []string{"-icc_profile<=" + p3}, "Display P3", true, ""},
		{"both.jpg", []string{"-ColorSpace=65535", "-InteropIndex=R03", "-icc_profile<=" + p3}, "Display P3", true, ""},
		{"print.jpg", []string{"-icc_profile<=" + print}, "Display P3", false, "CMYK"},
		{"p3.png", []string{"-icc_profile<=" + p3}, "Display P3", true, ""},
		{"p3.tif", []string{"-icc_profile<=" + p3}, "Display P3", true, ""},
		{"dcf.tif", []string{"-ColorSpace=65535", "-InteropIndex=R03"}, "Adobe RGB (1998)", true, ""},
		{"p3.heic", nil, "Display P3", true, ""},
	} {
		path := filepath.Join(dir, c.file)
		plain := filepath.Join(dir, "in.jpg")
		if filepath.Ext(path) == ".jpg" {
			plain = path
		}
		if err := os.WriteFile(plain, b.Bytes(), 0o666); err != nil {
			t.Fatal(err)
		}
		switch filepath.Ext(path) {
		case ".heic":
			if _, err := exec.LookPath("heif-enc"); err != nil {
				continue
			}
			run("heif-enc", filepath.Join(dir, "p3.png"), "-o", path)
		default:
			if plain != path {
				run("ffmpeg", "-v", "error", "-y", "-i", plain, path)
			}
			if len(c.args) > 0 {
				run("exiftool", append(append([]string{"-q", "-overwrite_original"}, c.args...), path)...)
			}
		}
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		info, _ := f.Stat()
		facts, err := Read(f, info.Size())
		f.Close()
		if err != nil {
			t.Errorf("%s: %v", c.file, err)
			continue
		}
		name, p, why := facts.Colour.Read()
		if name != c.name || (p != nil) != c.converted || why != c.why {
			t.Errorf("%s: %q, converted %v, %q; want %q, %v, %q", c.file, name, p != nil, why, c.name, c.converted, c.why)
		}
	}
}
