package shoot

import (
	"stillspan/assemble"
	"stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/ingest"
	"stillspan/internal/settings"
)

// The options of each stage, made of what was stated.

// ScanOptions say how a folder is read.
func ScanOptions(v settings.Values) ingest.Options {
	o := ingest.DefaultOptions()
	if settings.Workers.Stated(v) {
		o.Workers = settings.Workers.Of(v)
	}
	o.MinFrames = settings.MinFrames.Of(v)
	if settings.Bracket.Stated(v) {
		o.Bracket = settings.Bracket.Of(v)
	}
	o.Thorough = settings.Thorough.Of(v)
	o.PreferRaw = settings.Raw.Of(v) == string(assemble.RawDevelop)
	return o
}

func measureOptions(v settings.Values) measure.Options {
	return measure.Options{Workers: settings.Workers.Of(v), NoCache: !settings.Cache.Of(v), Verify: settings.Thorough.Of(v)}
}

func meterOptions(v settings.Values, orientation int) deflicker.MeterOptions {
	on := settings.Deflicker.Of(v)
	return deflicker.MeterOptions{
		Zone: deflicker.Zone(settings.Zone.Of(v)), Orientation: orientation,
		Local: on && settings.Local.Of(v) == "auto", Bands: on && !settings.KeepBands.Of(v), Tones: on && settings.ToneCurve.Of(v) == "auto",
	}
}

func solveOptions(v settings.Values) deflicker.Options {
	o := deflicker.DefaultOptions()
	o.SmoothFrames, o.KeepSteps, o.KeepColour = settings.Smooth.Of(v), settings.KeepSteps.Of(v), settings.KeepColour.Of(v)
	return o
}

// ClipOptions say what clip is wanted.
func ClipOptions(v settings.Values) assemble.Options {
	size, at := settings.ClipSize.Of(v), settings.CropAt.Of(v)
	o := assemble.DefaultOptions()
	o.Overwrite = settings.Overwrite.Of(v)
	o.Preset, o.Codec, o.Quality = settings.Preset.Of(v), settings.Codec.Of(v), settings.Quality.Of(v)
	o.Space, o.WhiteNits = settings.Space.Of(v), settings.White.Of(v)
	o.Width, o.Height, o.Aspect = size.W, size.H, settings.Aspect.Of(v)
	o.Crop, o.CropX, o.CropY = assemble.Part(settings.Crop.Of(v)), at.X, at.Y
	o.GapMode = assemble.GapMode(settings.Gaps.Of(v))
	o.Raw = assemble.RawMode(settings.Raw.Of(v))
	return o
}
