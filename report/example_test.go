package report_test

import (
	"fmt"
	"log"
	"os"
	"time"

	"stillspan/assemble/shoot"
	"stillspan/ingest"
	"stillspan/ingest/plan"
	"stillspan/internal/playback"
	"stillspan/report"
)

// What was found is set against what was planned, and told in one of several
// ways.
func ExampleBuild() {
	seq := ingest.Sequence{ID: "2026-05-01-0540"}
	for k := range 24 {
		seq.Frames = append(seq.Frames, ingest.Frame{Name: fmt.Sprintf("FRAM%04d.JPG", k+1), Number: k + 1})
	}
	seq.Timing.Why = "the stills carry no time"
	found := &shoot.Found{
		Dump: &ingest.Dump{Root: "card"},
		Shoots: []*shoot.Shoot{{
			Sequence: &seq, Rate: playback.Rate{Num: 24, Den: 1},
			Planned: &plan.Shoot{Name: "harbour dawn", Frames: 30}, MatchedBy: plan.ByName,
		}},
	}
	r := report.Build(report.Input{Found: found, Made: time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)})
	s := &r.Sequences[0]
	fmt.Println(s.Headline)
	fmt.Println(s.Delivered.Verdict, s.Delivered.ShortFrames, r.HasFindings())
	if err := report.WriteCSV(os.Stdout, &report.Report{}); err != nil {
		log.Fatal(err)
	}
	// Output:
	// Planned 30 frames / 1.25 s at 24 fps; shot 24 / 1 s: short by 6
	// short 6 true
	// sequence,file,number,time,slot,offset_s,step_s,shutter_s,f_number,iso,lum_ev,correction_ev,high_share,low_share,problem
}
