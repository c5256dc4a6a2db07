package ingest_test

import (
	"context"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"time"

	"stillspan/ingest"
	"stillspan/internal/demo"
	"stillspan/internal/scene"
)

// A folder tree of stills is put in order, and each sequence is judged.
func ExampleScan() {
	ctx := context.Background()
	card, err := os.MkdirTemp("", "example-")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(card)
	invented := demo.Shoot{
		Start: time.Date(2026, 5, 1, 5, 40, 0, 0, time.UTC), ReallyS: 5, Frames: 30, Lost: []int{11, 12},
		Folder: 100, Number: 1, Body: demo.Body{Make: "Stillspan", Model: "One", Prefix: "FRAM", Folder: "STILL"},
		Scene: scene.Options{Width: 96, Height: 64, Frames: 30, Seed: 1},
	}
	if err := invented.Draw(ctx, scene.New(invented.Scene), card); err != nil {
		log.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(card, "NOTES.TXT"), nil, 0o666); err != nil {
		log.Fatal(err)
	}

	dump, err := ingest.Scan(ctx, card, ingest.DefaultOptions(), nil)
	if err != nil {
		log.Fatal(err)
	}
	for _, s := range dump.Sequences {
		fmt.Printf("%s: %d frames every %.0f s\n", s.ID, len(s.Frames), s.Timing.IntervalS)
		for _, g := range s.Timing.Gaps {
			fmt.Printf("%d missing after %s: %s\n", g.Count, s.Frames[g.After].Name, g.Cause)
		}
	}
	// Output:
	// 2026-05-01-0540: 28 frames every 5 s
	// 2 missing after DCIM/100STILL/FRAM0011.JPG: file-lost
}
