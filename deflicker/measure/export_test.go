package measure

import "context"

// File measures one still, by SourceReduced unless opt says otherwise.
func File(ctx context.Context, in Input, opt Options) (grid *Grid, finding *Finding, err error) {
	if opt.Source == "" {
		opt.Source = SourceReduced
	}
	err = All(ctx, []Input{in}, opt, func(_ int, g *Grid, f *Finding) error {
		grid, finding = g, f
		return nil
	})
	return grid, finding, err
}
