package shoot_test

import (
	"context"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"time"

	"stillspan/assemble/shoot"
	"stillspan/internal/demo"
	"stillspan/internal/scene"
	"stillspan/internal/settings"
)

// A folder of stills becomes a clip.
func Example() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "example-")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(dir)
	card, clip := filepath.Join(dir, "card"), filepath.Join(dir, "clip.mp4")
	invented := demo.Shoot{
		Start: time.Date(2026, 5, 1, 5, 40, 0, 0, time.UTC), ReallyS: 5, Frames: 25, NotFired: []int{11},
		Folder: 100, Number: 1, Body: demo.Body{Make: "Stillspan", Model: "One", Prefix: "FRAM", Folder: "STILL"},
		Scene: scene.Options{Width: 128, Height: 96, Frames: 25, Seed: 1, ScatterEV: 0.05},
	}
	if err := invented.Draw(ctx, scene.New(invented.Scene), card); err != nil {
		log.Fatal(err)
	}

	stated := settings.Values{}
	settings.Gaps.Set(stated, "hold")
	settings.Cache.Set(stated, false)
	found, err := shoot.Find(ctx, card, stated, nil)
	if err != nil {
		log.Fatal(err)
	}
	for _, s := range found.Shoots {
		if err := s.Measure(ctx, nil); err != nil {
			log.Fatal(err)
		}
		if err := s.Solve(); err != nil {
			log.Fatal(err)
		}
		if err := s.Render(ctx, clip, shoot.RenderOptions{}); err != nil {
			log.Fatal(err)
		}
		c := s.Rendered.Clip
		fmt.Printf("%d stills, %d frames, %d of them made up, %s at %v\n", len(s.Sequence.Frames), c.Frames, c.Filled, c.Codec, s.Rate)
		fmt.Println("flicker is less:", s.Solved.FlickerAfter < s.Solved.FlickerBefore/4)
	}
	// Output:
	// 24 stills, 25 frames, 1 of them made up, h264 at 24
	// flicker is less: true
}
