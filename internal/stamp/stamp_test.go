package stamp_test

import (
	"bytes"
	"encoding/json"
	"image"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"stillspan/internal/stamp"
)

func picture(t *testing.T, w, h int) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, image.NewGray(image.Rect(0, 0, w, h)), nil); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// exiftool reads one file's tags as numbers. The reference here is exiftool.
func exiftool(t *testing.T, data []byte) map[string]any {
	t.Helper()
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("needs exiftool (Debian package libimage-exiftool-perl)")
	}
	path := filepath.Join(t.TempDir(), "a.jpg")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-json", "-n", "-validate", "-warning", path).Output()
	if err != nil {
		t.Fatalf("exiftool: %v", err)
	}
	all, err := exec.Command(tool, "-json", "-n", path).Output()
	if err != nil {
		t.Fatalf("exiftool: %v", err)
	}
	var short, long []map[string]any
	if err := json.Unmarshal(out, &short); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(all, &long); err != nil {
		t.Fatal(err)
	}
	if w, bad := short[0]["Warning"]; bad {
		t.Logf("exiftool's validation remarks: %v", w)
	}
	return long[0]
}

func TestExiftoolReadsWhatWasStamped(t *testing.T) {
	thumb := picture(t, 16, 8)
	for _, bigEndian := range []bool{false, true} {
		stamped, err := stamp.JPEG(picture(t, 96, 64), stamp.Fields{
			Make: "Stillspan", Model: "Demo One", Serial: "1001", Lens: "Demo 24 mm",
			DateTimeOriginal: "2026:05:01 21:14:07", SubSecTimeOriginal: "037", OffsetTimeOriginal: "+02:00",
			Orientation: 6, ExposureS: 1.0 / 250, FNumber: 5.6, ISO: 800, BiasEV: -2.0 / 3, FocalMM: 24.5, FocusM: 3.25,
			WhiteBalance: "manual", ExposureMode: "manual", Program: "aperture priority",
			PixelWidth: 6000, PixelHeight: 4000, Thumbnail: thumb, BigEndian: bigEndian,
		})
		if err != nil {
			t.Fatal(err)
		}
		// A second stamp takes the place of the first.
		if stamped, err = stamp.JPEG(stamped, stamp.Fields{
			Make: "Stillspan", Model: "Demo One", Serial: "1001", Lens: "Demo 24 mm",
			DateTimeOriginal: "2026:05:01 21:14:08", SubSecTimeOriginal: "037", OffsetTimeOriginal: "+02:00",
			Orientation: 6, ExposureS: 1.0 / 250, FNumber: 5.6, ISO: 800, BiasEV: -2.0 / 3, FocalMM: 24.5, FocusM: 3.25,
			WhiteBalance: "manual", ExposureMode: "manual", Program: "aperture priority",
			PixelWidth: 6000, PixelHeight: 4000, Thumbnail: thumb, BigEndian: bigEndian,
		}); err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(stamped, []byte("Exif\x00\x00")); n != 1 {
			t.Errorf("%d EXIF segments, want 1", n)
		}
		if c, err := jpeg.DecodeConfig(bytes.NewReader(stamped)); err != nil || c.Width != 96 || c.Height != 64 {
			t.Errorf("picture after stamping: %v, %v", c, err)
		}
		got := exiftool(t, stamped)
		for tag, want := range map[string]any{
			"Make": "Stillspan", "Model": "Demo One", "LensModel": "Demo 24 mm",
			"DateTimeOriginal": "2026:05:01 21:14:08", "OffsetTimeOriginal": "+02:00",
			"SubSecDateTimeOriginal": "2026:05:01 21:14:08.037+02:00",
			"Orientation":            6.0, "ExposureTime": 0.004, "FNumber": 5.6, "ISO": 800.0, "FocalLength": 24.5,
			"SubjectDistance": 3.25, "WhiteBalance": 1.0, "ExposureMode": 1.0, "ExposureProgram": 3.0,
			"ExposureCompensation": -0.67, "ExifImageWidth": 6000.0, "ExifImageHeight": 4000.0,
			"ImageWidth": 96.0, "ImageHeight": 64.0, "ThumbnailLength": float64(len(thumb)), "SerialNumber": 1001.0,
		} {
			if got[tag] != want {
				t.Errorf("big endian %v: exiftool reads %s = %v, want %v", bigEndian, tag, got[tag], want)
			}
		}
	}
}

func TestExposureTimes(t *testing.T) {
	for _, s := range []float64{1.0 / 8000, 1.0 / 3, 0.4, 0.8, 1, 2.5, 30, 0.3} {
		stamped, err := stamp.JPEG(picture(t, 8, 8), stamp.Fields{ExposureS: s, FocusM: math.Inf(1)})
		if err != nil {
			t.Fatal(err)
		}
		got, _ := exiftool(t, stamped)["ExposureTime"].(float64)
		if math.Abs(got-s) > 1e-4*s {
			t.Errorf("exposure of %g s is read as %g s", s, got)
		}
	}
}

func TestRefusals(t *testing.T) {
	jpg := picture(t, 8, 8)
	for name, f := range map[string]stamp.Fields{
		"word":      {Program: "magic"},
		"thumbnail": {Thumbnail: make([]byte, 70000)},
	} {
		if _, err := stamp.JPEG(jpg, f); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := stamp.JPEG([]byte("GIF89a"), stamp.Fields{}); err == nil {
		t.Error("not a JPEG: no error")
	}
}
