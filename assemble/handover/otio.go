package handover

import (
	"encoding/json"
	"net/url"
	"path"
	"slices"
)

// The parts of an OpenTimelineIO file, with the schema versions of its release
// 0.18.1 (CORE_VERSION_MAP.cpp).

type timeline struct {
	Schema   string         `json:"OTIO_SCHEMA"`
	Name     string         `json:"name"`
	Start    *rationalTime  `json:"global_start_time"`
	Tracks   stack          `json:"tracks"`
	Metadata map[string]any `json:"metadata"`
}

type stack struct {
	Schema   string         `json:"OTIO_SCHEMA"`
	Name     string         `json:"name"`
	Children []track        `json:"children"`
	Effects  []any          `json:"effects"`
	Markers  []any          `json:"markers"`
	Metadata map[string]any `json:"metadata"`
}

type track struct {
	Schema   string         `json:"OTIO_SCHEMA"`
	Name     string         `json:"name"`
	Kind     string         `json:"kind"`
	Children []clip         `json:"children"`
	Effects  []any          `json:"effects"`
	Markers  []any          `json:"markers"`
	Metadata map[string]any `json:"metadata"`
}

type clip struct {
	Schema   string               `json:"OTIO_SCHEMA"`
	Name     string               `json:"name"`
	Range    timeRange            `json:"source_range"`
	Media    map[string]reference `json:"media_references"`
	Active   string               `json:"active_media_reference_key"`
	Effects  []any                `json:"effects"`
	Markers  []any                `json:"markers"`
	Metadata map[string]any       `json:"metadata"`
}

type reference struct {
	Schema   string         `json:"OTIO_SCHEMA"`
	Name     string         `json:"name"`
	Target   string         `json:"target_url"`
	Range    timeRange      `json:"available_range"`
	Metadata map[string]any `json:"metadata"`
}

type timeRange struct {
	Schema   string       `json:"OTIO_SCHEMA"`
	Start    rationalTime `json:"start_time"`
	Duration rationalTime `json:"duration"`
}

type rationalTime struct {
	Schema string  `json:"OTIO_SCHEMA"`
	Rate   float64 `json:"rate"`
	Value  float64 `json:"value"`
}

const defaultMedia = "DEFAULT_MEDIA"

// Timeline lays the clips end to end as an OpenTimelineIO file. Their media are
// named relative to it.
func Timeline(title string, clips []Clip) ([]byte, error) {
	none, empty := map[string]any{}, []any{}
	t := track{Schema: "Track.1", Name: "V1", Kind: "Video", Children: []clip{}, Effects: empty, Markers: empty, Metadata: none}
	for i := range clips {
		c := &clips[i]
		if len(c.Frames) == 0 {
			continue
		}
		start, _ := c.start()
		first := slices.IndexFunc(c.Frames, func(f Frame) bool { return f.Still != "" })
		at := func(frames int) rationalTime { return rationalTime{"RationalTime.1", c.Rate.FPS(), float64(frames)} }
		whole := timeRange{"TimeRange.1", at(start.Frame), at(len(c.Frames))}
		t.Children = append(t.Children, clip{
			Schema: "Clip.2", Name: c.File, Range: whole, Active: defaultMedia, Effects: empty, Markers: empty,
			Media: map[string]reference{defaultMedia: {
				Schema: "ExternalReference.1", Name: c.File, Target: (&url.URL{Path: path.Clean(c.File)}).EscapedPath(), Range: whole, Metadata: none,
			}},
			Metadata: map[string]any{"stillspan": map[string]any{
				"sequence": c.Sequence, "shoot": c.Shoot, "camera": c.Camera, "rate": c.Rate.String(), "timecode": c.Timecode,
				"first_still": c.Frames[max(first, 0)].Still, "last_still": c.Frames[len(c.Frames)-1].Still,
			}},
		})
	}
	line := timeline{Schema: "Timeline.1", Name: title, Metadata: none, Tracks: stack{
		Schema: "Stack.1", Name: "tracks", Children: []track{t}, Effects: empty, Markers: empty, Metadata: none,
	}}
	if len(clips) > 0 {
		if s := recordStart(clips[0].Rate); s.Frame > 0 {
			line.Start = &rationalTime{"RationalTime.1", s.Rate.FPS(), float64(s.Frame)}
		}
	}
	return json.MarshalIndent(line, "", "  ")
}
