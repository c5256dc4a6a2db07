package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"stillspan/internal/demo"
	"stillspan/internal/scene"
	"stillspan/internal/srgb"
	"stillspan/internal/stamp"
)

func TestMain(m *testing.M) {
	// Under the race detector each of the many short runs would sleep a second
	// at its end.
	os.Setenv("GORACE", "atexit_sleep_ms=0")
	programs := map[string]func(){"stillspan": main, "mkshoot": mkshoot}
	maps.Copy(programs, posix)
	testscript.Main(tests{m}, programs)
}

// tests ends under Windows before testscript removes copies of what runs, which
// Wine refuses.
type tests struct{ m *testing.M }

func (t tests) Run() int {
	code := t.m.Run()
	if runtime.GOOS == "windows" {
		os.Exit(code)
	}
	return code
}

// posix is what scripts want of a POSIX system where there is none.
var posix map[string]func()

func TestScript(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			// Measurements are kept out of the user's own cache.
			e.Setenv("XDG_CACHE_HOME", e.WorkDir+"/.cache")
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("LocalAppData", e.WorkDir+`\.cache`)
			// BIN holds this program and nothing else; testscript puts it first.
			e.Setenv("BIN", filepath.SplitList(e.Getenv("PATH"))[0])
			return nil
		},
		Condition: func(cond string) (bool, error) {
			switch cond {
			case "root":
				return os.Getuid() == 0, nil
			case "smalldisk": // may this test mount a small file system?
				return canMount(), nil
			}
			return false, fmt.Errorf("unknown condition %q", cond)
		},
	})
}

// canMount tries what the disk-full script needs: a file system of a few MB.
var canMount = sync.OnceValue(func() bool {
	dir, err := os.MkdirTemp("", "stillspan-mount-")
	if err != nil {
		return false
	}
	defer os.Remove(dir)
	if exec.Command("mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", dir).Run() != nil {
		return false
	}
	return exec.Command("umount", dir).Run() == nil
})

// mkshoot draws a small shoot with the faults its options name; it is what
// the scripts have instead of a camera.
func mkshoot() {
	s := demo.Shoot{
		IntervalS: 5, Late: map[int]float64{},
		Body: demo.Body{Make: "Stillspan", Prefix: "FRAM"},
	}
	fl := flag.NewFlagSet("mkshoot", flag.ExitOnError)
	fl.IntVar(&s.Frames, "n", 24, "frames planned")
	fl.Float64Var(&s.ReallyS, "interval", 5, "seconds")
	fl.IntVar(&s.Number, "number", 1, "first file number")
	fl.IntVar(&s.Folder, "folder", 100, "first folder number")
	fl.StringVar(&s.Body.Folder, "name", "STILL", "folder name")
	fl.StringVar(&s.Body.Model, "model", "Test One", "")
	fl.StringVar(&s.Body.Serial, "serial", "1001", "")
	fl.IntVar(&s.ISOFrom, "iso-from", 0, "slot at which ISO moves")
	start := fl.String("start", "2026-05-01T05:40:00", "")
	size := fl.String("size", "96x64", "")
	lists := map[string]*[]int{"not-fired": &s.NotFired, "lost": &s.Lost, "truncated": &s.Truncated, "empty": &s.Empty}
	for name, into := range lists {
		fl.Func(name, "slots", func(v string) error {
			for _, p := range strings.Split(v, ",") {
				n, err := strconv.Atoi(p)
				if err != nil {
					return err
				}
				*into = append(*into, n)
			}
			return nil
		})
	}
	fl.Func("late", "slot:seconds", func(v string) error {
		var slot int
		var by float64
		_, err := fmt.Sscanf(v, "%d:%g", &slot, &by)
		s.Late[slot] = by
		return err
	})
	s.Spoilt = map[int]demo.Spoil{}
	fl.Func("bump", "slot:share of the width by which the camera lies to the left there", func(v string) error {
		var slot int
		var by float64
		_, err := fmt.Sscanf(v, "%d:%g", &slot, &by)
		s.Spoilt[slot] = demo.Spoil{MovedX: by}
		return err
	})
	fl.Func("blur", "slot", func(v string) error {
		slot, err := strconv.Atoi(v)
		s.Spoilt[slot] = demo.Spoil{Blur: 0.006}
		return err
	})
	fl.Func("steps", "seconds, taken in turn instead of the interval", func(v string) error {
		return takeSteps(&s, strings.Split(v, ","))
	})
	fl.BoolFunc("dusk", "the exposure is opened by hand as the light falls", func(string) error {
		s.Scene.LightEV, s.Scene.StepEV, s.Scene.Follow = [2]float64{-0.5, -5.5}, 1.0/3, 1
		return nil
	})
	fl.BoolVar(&s.Bare, "no-exif", false, "write no EXIF")
	raw := fl.String("raw", "", "only: DNG instead of JPEG; pair: beside it")
	as := fl.String("as", "", "heic, avif or jxl: what the JPEGs are turned into")
	fl.Float64Var(&s.Scene.ScatterEV, "scatter", 0.05, "EV")
	fl.Float64Var(&s.Scene.VignetteScatterEV, "vignette", 0, "EV")
	fl.Parse(os.Args[1:])
	var err error
	if s.Start, err = time.Parse("2006-01-02T15:04:05", *start); err == nil {
		_, err = fmt.Sscanf(*size, "%dx%d", &s.Scene.Width, &s.Scene.Height)
	}
	if err == nil {
		s.Scene.Frames, s.Scene.Seed = s.Frames, 7
		sc := scene.New(s.Scene)
		if *raw != "only" {
			err = s.Draw(context.Background(), sc, fl.Arg(0))
		}
		for _, shot := range s.Shots() {
			if err == nil && *raw != "" {
				err = drawRaw(&s, sc, shot, fl.Arg(0))
			}
		}
	}
	if err == nil && *as != "" {
		err = turnInto(*as, s.Shots(), fl.Arg(0))
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "mkshoot:", err)
		os.Exit(1)
	}
}

// takeSteps has the frames follow one another by the steps in turn. Number and
// interval of the frames must have been given before.
func takeSteps(s *demo.Shoot, steps []string) error {
	at := 0.0
	for slot := 1; slot < s.Frames; slot++ {
		v, err := strconv.ParseFloat(steps[(slot-1)%len(steps)], 64)
		if err != nil {
			return err
		}
		at += v
		s.Late[slot] = at - float64(slot)*s.ReallyS
	}
	return nil
}

// turnInto has the formats' own tools make other files of the JPEGs.
func turnInto(ext string, shots []demo.Shot, card string) error {
	for _, shot := range shots {
		from := filepath.Join(card, shot.Name)
		to := strings.TrimSuffix(from, ".JPG") + "." + ext
		args := map[string][]string{
			"heic": {"heif-enc", "-q", "95", "-o", to, from},
			"avif": {"heif-enc", "-A", "-q", "95", "-p", "speed=9", "-o", to, from},
			"jxl":  {"cjxl", "--quiet", from, to},
		}[ext]
		if out, err := exec.Command(args[0], args[1:]...).CombinedOutput(); err != nil {
			return fmt.Errorf("%s: %w: %s", args[0], err, out)
		}
		if err := os.Remove(from); err != nil {
			return err
		}
	}
	return nil
}

// drawRaw writes one still as raw data with a preview of the same size, which
// has the contrast that cameras give their JPEGs: a quarter more of each EV.
func drawRaw(s *demo.Shoot, sc *scene.Scene, shot demo.Shot, card string) error {
	tr, img := sc.Truth(shot.Slot), sc.Frame(shot.Slot)
	b := img.Bounds()
	m := stamp.Mosaic{W: b.Dx(), H: b.Dy(), White: 16383, Pix: make([]uint16, b.Dx()*b.Dy())}
	preview := image.NewRGBA(b)
	for i := range m.Pix {
		x, y := i%m.W, i/m.W
		c := img.RGBAAt(x, y)
		code := [2][2]uint8{{c.R, c.G}, {c.G, c.B}}[y&1][x&1]
		m.Pix[i] = uint16(math.Round(srgb.Decode(float64(code)/255) * float64(m.White)))
		contrast := func(c uint8) uint8 {
			l := math.Pow(srgb.Decode(float64(c)/255), 1.25)
			if l <= 0.0031308 { // IEC 61966-2-1
				return uint8(math.Round(255 * 12.92 * l))
			}
			return uint8(math.Round(255 * (1.055*math.Pow(l, 1/2.4) - 0.055)))
		}
		preview.SetRGBA(x, y, color.RGBA{contrast(c.R), contrast(c.G), contrast(c.B), 255})
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, preview, &jpeg.Options{Quality: 95}); err != nil {
		return err
	}
	data, err := stamp.DNG(m, s.Fields(tr, shot), buf.Bytes(), m.W, m.H)
	if err != nil {
		return err
	}
	return demo.Put(filepath.Join(card, strings.TrimSuffix(shot.Name, ".JPG")+".DNG"), data)
}
