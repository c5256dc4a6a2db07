package measure

import (
	"context"
	"math"
)

const (
	// trialFrames is how many stills of a sequence are measured both ways.
	trialFrames = 6
	// minTrial is the shortest sequence for which a trial pays.
	minTrial = 4 * trialFrames
	// trialSpreadEV is how far, from one still to another, a preview's
	// luminance may move against its main picture's: what is still well below
	// the flicker that can be seen.
	trialSpreadEV = 0.02
	// trialOffsetEV bounds the difference common to all of them. A constant one
	// does no harm; one as large as this shows that the preview is another
	// picture.
	trialOffsetEV = 0.5
)

// choose picks the source for all of a sequence's stills.
func choose(ctx context.Context, in []Input, opt Options, c *cache) (string, error) {
	switch {
	case opt.Source != "" && !(opt.Verify && opt.Source == SourcePreview):
		return opt.Source, nil
	case opt.Verify || len(in) < minTrial:
		return SourceReduced, nil
	}
	for _, still := range in {
		if _, _, ok := bestPreview(still); !ok {
			return SourceReduced, nil
		}
	}
	var jobs []job
	for i := range trialFrames {
		still := in[i*(len(in)-1)/(trialFrames-1)]
		still.Planes = nil
		jobs = append(jobs, job{still, SourcePreview}, job{still, SourceReduced})
	}
	var grids [2 * trialFrames]*Grid
	err := all(ctx, jobs, opt, c, func(i int, g *Grid, f *Finding) error {
		if f == nil {
			grids[i] = g
		}
		return nil
	})
	if err != nil {
		return "", err
	}
	if previewsTrue(grids[:]) {
		return SourcePreview, nil
	}
	return SourceReduced, nil
}

// previewsTrue judges pairs of grids of one still each, from its preview and
// from its main picture. Pairs with a damaged still do not count; at least
// half have to be left.
func previewsTrue(pairs []*Grid) bool {
	low, high, n := math.Inf(1), math.Inf(-1), 0
	for i := 0; i < len(pairs); i += 2 {
		preview, reduced := pairs[i], pairs[i+1]
		if preview == nil || reduced == nil {
			continue
		}
		if preview.Source != SourcePreview {
			return false
		}
		ev := math.Log2(preview.MeanLum / reduced.MeanLum)
		low, high, n = min(low, ev), max(high, ev), n+1
	}
	return 4*n >= len(pairs) && high-low <= trialSpreadEV && high < trialOffsetEV && low > -trialOffsetEV
}
