package settings

import (
	"fmt"
	"strings"

	"stillspan/deflicker/pictures"
	"stillspan/internal/codec"
)

// The table: a row an option, in the order of the help.

// What a shoot was planned to be.
var (
	Frames    = add(whole(1, 10_000_000), Row{Name: "frames", Arg: "N", Key: "frames", For: Plan, Help: "stills to shoot"})
	Interval  = add(seconds, Row{Name: "interval", Arg: "T", Key: "interval_s", For: Plan, Help: "from one still to the next: 5, 2.5, 1/2, 36s"})
	Time      = add(seconds, Row{Name: "time", Arg: "T", Key: "shooting_time", For: Plan, Help: "shooting time: 25m, 1h30m"})
	Length    = add(seconds, Row{Name: "clip", Arg: "T", Key: "clip_s", For: Plan, Help: "length of the clip"})
	Exposure  = add(seconds, Row{Name: "exposure", Arg: "T", Key: "exposure", For: Plan, Help: "exposure time: 1/60, 2.5"})
	PlanRate  = add(rate, Row{Name: "rate", Arg: "R", For: Plan, Help: "playback rate: 24, 25, 29.97, 24000/1001"})
	WriteTime = add(seconds, Row{Name: "write-time", Arg: "T", Key: "write_time_s", In: Noted, For: Plan, Help: "how long the camera is busy after an exposure"})
	Move      = add(travel, Row{Name: "travel", Arg: "L", Key: "travel", In: Noted, For: Plan, Help: "travel of rail or slider over the shoot: 1200mm, 1.2m, 48in; or of a turning head: 90deg"})
	MoveTime  = add(seconds, Row{Name: "move-time", Arg: "T", Key: "move_time_s", In: Noted, For: Plan, Help: "how long a rig that moves between exposures takes"})
	Settle    = add(seconds, Row{Name: "settle", Arg: "T", Key: "settle_s", In: Noted, For: Plan, Help: "how long it takes to stand still after a move"})
	Start     = add(moment, Row{Name: "start", Arg: "T", Key: "start", In: Noted, For: Plan, Help: "first frame by the camera's clock: 2026-05-01T05:40:00; gives the end, and with --place and --utc the sun"})
	Location  = add(place, Row{Name: "place", Arg: "LAT,LON", Key: "place", In: Noted, For: Plan, Help: "where it is shot, degrees north and east: 51.48,-0.01"})
	UTC       = add(offset, Row{Name: "utc", Arg: "OFFSET", Key: "utc", In: Noted, For: Plan, Help: "how far the camera's clock is ahead of UTC: +02:00"})
	FrameSize = add(bytes, Row{Name: "frame-size", Arg: "B", Key: "frame_size", In: Noted, For: Plan, Help: "size of one still: 25MB"})
	Card      = add(bytes, Row{Name: "card", Arg: "B", Key: "card", In: Noted, For: Plan, Help: "size of one card: 64GB"})
	Cards     = add(whole(1, 1000), Row{Name: "cards", Arg: "N", Key: "cards", In: Noted, For: Plan, Help: "cards at hand"})
	Shots     = add(number(1e6), Row{Name: "battery-shots", Arg: "N", Key: "battery_shots", In: Noted, For: Plan, Help: "shots one battery gives"})
	Hours     = add(number(1e4), Row{Name: "battery-hours", Arg: "H", Key: "battery_hours", In: Noted, For: Plan, Help: "hours one battery gives"})
	Batteries = add(whole(1, 1000), Row{Name: "batteries", Arg: "N", Key: "batteries", In: Noted, For: Plan, Help: "batteries at hand"})
	Name      = add(anyText, Row{Name: "name", Arg: "NAME", Key: "name", For: Plan, Help: "name of the shoot in the plan file"})
	Folder    = add(anyText, Row{Name: "folder", Arg: "DIR", Key: "folder", For: Plan, Help: "where its frames will lie in the dump"})
	From      = add(moment, Row{Name: "from", Arg: "T", Key: "from", For: Plan, Help: "earliest first frame by the camera's clock: 2026-05-01T05:40:00"})
	To        = add(moment, Row{Name: "to", Arg: "T", Key: "to", For: Plan, Help: "latest first frame"})
	Sheet     = add(path, Row{Name: "sheet", Arg: "FILE", For: Plan, Help: "write a page to print and take along"})
	PlanOut   = add(path, Row{Name: "o", Arg: "FILE", For: Plan, Help: "write a plan file; a FILE that is there gains the shoot"})
)

// Where results go.
var (
	ClipOut   = add(path, Row{Name: "o", Arg: "CLIP", For: Render, Help: "the clip: .mp4, .mov, .mkv, or a folder name for an image sequence; must lie outside DIR"})
	ClipName  = add(clipName, Row{Name: "clip-name", Arg: "PATTERN", Default: "{id}", For: Clips, Help: "names of the clips in their folder, of %s and letters of your own"})
	HandOver  = add(toggle, Row{Name: "hand-over", For: Render, Help: "beside the clips of -o FOLDER/ lay what an editor takes in: edit list, timeline, table of stills, checksums"})
	Overwrite = add(toggle, Row{Name: "overwrite", For: Judge | Compare | Plan, Help: "replace what is there, whoever wrote it; without it only reports and lists that this program wrote are replaced"})
	Refuse    = add(toggle, Row{Name: "refuse-flashes", For: Render, Help: "write no clip that flashes more than the guideline allows"})
	DryRun    = add(toggle, Row{Name: "dry-run", For: Render, Help: "print the exact ffmpeg commands and write nothing"})
	DayOut    = add(path, Row{Name: "out", Arg: "DIR", For: Day | Review, Help: "where clips and pages go; made when it is not there"})
	Jobs      = add(whole(1, 256), Row{Name: "jobs", Arg: "N", For: Day, Help: "renders at once, %s; default chosen from cores and memory"})
	Engine    = add(oneOf("local", "slurm"), Row{Name: "on", Arg: "ENGINE", Default: "local", For: Day, Help: "local, or slurm: a cluster whose nodes see DIR and --out under the same paths"})
	Slurm     = add(sbatch, Row{Name: "slurm", Arg: "OPTION", For: Day, Help: "pass OPTION to sbatch, such as --partition=night; may be given more than once"})
	Browser   = add(toggle, Row{Name: "browser", Default: "true", For: Review, Help: "open no browser, print the link only"})
	Port      = add(whole(1, 65535), Row{Name: "listen-port", Arg: "N", For: Review, Help: "port of the page, %s; default one that is free"})
	Wait      = add(toggle, Row{Name: "wait", For: Day, Help: "with slurm: stay until the day is done"})
	LogJSON   = add(path, Row{Name: "log-json", Arg: "FILE|-", For: Day, Help: "write what happens as JSON, a line an event"})
	Collect   = add(toggle, Row{Name: "collect", For: Day}) // the run that a cluster starts when its tasks have ended
)

// The clip.
var (
	Preset    = add(oneOf(codec.PresetNames()...), Row{Name: "preset", Arg: "NAME", Key: "preset", In: Default, Default: "delivery", For: Clips, MakesClip: true, Help: presetHelp()})
	Codec     = add(oneOf(codec.Names()...), Row{Name: "codec", Arg: "NAME", Key: "codec", In: Default, For: Clips, MakesClip: true, Help: "instead of the preset's: %s"})
	Space     = add(oneOf(codec.SpaceNames()...), Row{Name: "colour-space", Arg: "NAME", Key: "colour_space", In: Default, For: Clips, MakesClip: true, Help: "instead of the preset's: %s; HLG and PQ for grading and HDR, from raw and other stills deeper than 8 bits"})
	White     = add(number(10000), Row{Name: "white-level", Arg: "N", Key: "white_level_cd_m2", In: Default, For: Clips, MakesClip: true, Help: "cd/m2 of the stills' white in HLG (up to 1000) and PQ; default 203, graphics white: more for raw stills exposed for their highlights"})
	ClipSize  = add(size, Row{Name: "size", Arg: "WxH", Key: "size", In: Default, For: Clips, MakesClip: true, Help: "size of the clip; default as large as the stills allow, up to " + widest()})
	Aspect    = add(aspect, Row{Name: "aspect", Arg: "W:H", Key: "aspect", In: Default, Default: "16:9", For: Clips, MakesClip: true, Help: `shape of the clip, or "source"`})
	Crop      = add(part, Row{Name: "crop", Arg: "X,Y,W,H", Key: "crop", In: Default, For: Clips, MakesClip: true, Help: "show this part of the picture only, as fractions; the clip's shape is cut from it"})
	CropAt    = add(point, Row{Name: "crop-at", Arg: "X,Y", Key: "crop_at", In: Default, Default: "0.5,0.5", For: Clips, MakesClip: true, Help: "where that shape is cut, 0,0 top left to 1,1"})
	Gaps      = add(oneOf("leave", "hold", "blend"), Row{Name: "gaps", Arg: "MODE", Key: "gaps", In: Default, Default: "leave", For: Clips, MakesClip: true, Help: "what becomes of missing frames: %s"})
	Quality   = add(whole(1, 63), Row{Name: "quality", Arg: "N", Key: "quality", In: Default, For: Clips, MakesClip: true, Help: "constant quality of h264, h265 and av1, lower is better: %s"})
	Raw       = add(oneOf("develop", "preview"), Row{Name: "raw", Arg: "MODE", For: Clips, MakesClip: true, Help: "raw stills: develop (LibRaw) or preview (the embedded JPEG); default develop where LibRaw is installed, but preview for proofs, and the JPEG of RAW+JPEG pairs, whose raw file 'develop' takes"})
	First     = add(whole(1, 10_000_000), Row{Name: "first", Arg: "N", Key: "first", In: Default, For: Clips, MakesClip: true, Help: "begin the clip with the Nth frame of the sequence"})
	Last      = add(whole(1, 10_000_000), Row{Name: "last", Arg: "N", Key: "last", In: Default, For: Clips, MakesClip: true, Help: "end the clip with the Nth frame of the sequence"})
	Speed     = add(whole(1, 1000), Row{Name: "speed", Arg: "N", Key: "speed", In: Default, Default: "1", For: Clips, MakesClip: true, Help: "take every Nth frame, %s"})
	Blend     = add(toggle, Row{Name: "frame-blend", Key: "frame_blend", In: Default, For: Clips, MakesClip: true, Help: "with --speed: make a frame of each N, their mean in linear light, so that what moves is drawn out as by a longer exposure"})
	LeaveOut  = add(frameList, Row{Name: "leave-out", Arg: "N,N-N", Key: "leave_out", In: Default, For: Clips, MakesClip: true, Help: "leave these frames of the sequence out of the clip, as if they were missing: 17,40-52"})
	Spoilt    = add(toggle, Row{Name: "leave-spoilt", Key: "leave_spoilt", In: Default, For: Clips, MakesClip: true, Help: "leave out of the clip, as if they were missing, the frames that are blurred, covered, black or blown enough to spoil it, but for what --accept names"})
	Steady    = add(toggle, Row{Name: "steady", Key: "steady", In: Default, For: Clips, MakesClip: true, Help: "take shake and jumps out of the framing; what the moves take is cut from each side"})
	Hold      = add(ends, Row{Name: "hold", Arg: "T,T", Key: "hold", In: Default, For: Clips, MakesClip: true, Help: "seconds that the first and the last frame stand still: 1,2.5"})
	Slate     = add(card, Row{Name: "slate", Arg: "T", Key: "slate_s", In: Default, For: Clips, MakesClip: true, Help: "put a title card before the first frame for this long: name, date, frames and rate; the time code begins that much earlier"})
	Poster    = add(posterFrame, Row{Name: "poster", Arg: "N", Key: "poster", In: Default, For: Clips, Help: `lay a frame of the clip beside it as a JPEG: the Nth of the sequence, or "middle"`})
	Timecode  = add(startLabel, Row{Name: "timecode", Arg: "T", Key: "timecode", In: Default, Default: "clock", For: Clips, MakesClip: true, Help: `time code of the first frame: "clock" (when it was taken, by the camera's clock), "off", or a label such as 10:00:00:00`})
	Deflicker = add(toggle, Row{Name: "deflicker", Key: "deflicker", In: Default, Default: "true", For: Clips, MakesClip: true, Help: "measure and report, but leave the light as shot"})
)

// How a folder is read, matched with its plan and measured.
var (
	PlanFile   = add(path, Row{Name: "plan", Arg: "FILE", For: Judge | Review, Help: "the plan, as 'stillspan plan -o FILE' writes it; what it states of these options holds where the command line states nothing"})
	Rate       = add(rate, Row{Name: "rate", Arg: "R", Key: "rate", In: Default, Default: "24", For: Judge, MakesClip: true, Help: "playback rate: 24, 25, 29.97, 24000/1001"})
	Sequence   = add(anyText, Row{Name: "sequence", Arg: "WHICH", For: Check | Render, Help: "work on this only: an ID, a planned name or a folder"})
	Zone       = add(part, Row{Name: "zone", Arg: "X,Y,W,H", Key: "zone", In: Default, For: Judge, MakesClip: true, Help: "measure this part of the picture, as fractions"})
	Smooth     = add(whole(4, 2000), Row{Name: "smooth", Arg: "N", Key: "smooth", In: Default, For: Judge, MakesClip: true, Help: "keep changes of light that take longer than N frames, %s; default chosen by the sequence"})
	KeepSteps  = add(toggle, Row{Name: "keep-steps", Key: "keep_steps", In: Default, For: Judge, MakesClip: true, Help: "leave deliberate changes of exposure as they are"})
	ToneCurve  = add(oneOf("auto", "srgb"), Row{Name: "tone-curve", Arg: "MODE", Key: "tone_curve", In: Default, Default: "auto", For: Judge, MakesClip: true, Help: "correct through the camera's own tone curve where the sequence tells it (auto), or by one gain for all tones (srgb)"})
	KeepColour = add(toggle, Row{Name: "keep-colour", Key: "keep_colour", In: Default, For: Judge, MakesClip: true, Help: "leave a white balance that wobbles or steps as it is"})
	Local      = add(oneOf("auto", "off"), Row{Name: "local", Arg: "MODE", Key: "local", In: Default, Default: "auto", For: Judge, MakesClip: true, Help: "flicker of the corners against the middle: auto (evened out where there is any) or off"})
	KeepBands  = add(toggle, Row{Name: "keep-bands", Key: "keep_bands", In: Default, For: Judge, MakesClip: true, Help: "leave bands of mains-lit lamps as they are"})
	MinFrames  = add(whole(2, 100_000), Row{Name: "min-frames", Arg: "N", Default: "5", For: Judge | Review, Help: "shorter runs are loose stills: %s"})
	Bracket    = add(whole(1, 9), Row{Name: "bracket", Arg: "N", For: Judge | Review, MakesClip: true, Help: "exposure of each bracket that the clip takes, in the order fired, %s; default the middle"})
	Workers    = add(whole(1, 256), Row{Name: "workers", Arg: "N", For: Judge | Review, Help: "stills read at once, %s; default one per CPU"})
	Cache      = add(toggle, Row{Name: "cache", Default: "true", For: Judge | Review, Help: "neither read nor keep measurements"})
	Thorough   = add(toggle, Row{Name: "thorough", For: Judge | Review, Help: "walk every picture to its end even where a preview would do, and believe nothing that an earlier run saw"})
	Accept     = add(someOf(pictures.Kinds()...), Row{Name: "accept", Arg: "KIND,KIND", Key: "accept", In: Default, For: Judge, MakesClip: true, Help: "what the pictures may show without being a finding: %s"})
	Headers    = add(toggle, Row{Name: "headers", For: Check, Help: "timing and settings only; decode nothing"})
)

// Copies.
var (
	Copies = add(path, Row{Name: "copies", Arg: "LIST", For: Check, Help: "read every still to its end and say in how many verified copies it lies, by a list of 'compare --sums'"})
	Sums   = add(path, Row{Name: "sums", Arg: "LIST", For: Compare, Help: "write the copies' checksums as a list that sha256sum reads too: (cd DUMP && sha256sum --check LIST); its names are those in the first DUMP. 'stillspan check --copies LIST' says with it in how many verified copies the stills lie"})
	Verify = add(path, Row{Name: "verify", Arg: "LIST", For: Compare, Help: "set DIR against a list written earlier"})
	Litter = add(toggle, Row{Name: "litter", For: Compare, Help: "compare all that desktop systems leave on cards; what is a picture by its content is compared in any case"})
)

// The faces of a result.
var (
	StillSize = add(size, Row{Name: "size", Arg: "WxH", Default: "960x640", For: Demo, Help: "size of the stills"})
	HTML      = add(path, Row{Name: "html", Arg: "FILE", For: Judge, Help: "write the report as a page; what is too heavy for it lies in files beside it"})
	JSON      = add(path, Row{Name: "json", Arg: "FILE|-", For: Judge | Compare | Plan, Help: "write the result as JSON, - for standard output"})
	CSV       = add(path, Row{Name: "csv", Arg: "FILE|-", For: Judge, Help: "write one row a frame as CSV, - for standard output"})
	Quiet     = add(toggle, Row{Name: "quiet", For: Judge | Compare | Plan | Demo, Help: "no summary and no progress; messages only"})
)

// sbatch gathers what is given more than once.
var sbatch = kind[[]string]{read: func(s string) ([]string, error) {
	if !strings.HasPrefix(s, "-") {
		return nil, fmt.Errorf("want an option of sbatch, such as --partition=night")
	}
	return []string{s}, nil
}}

func presetHelp() string {
	var all []string
	for _, p := range codec.Presets {
		all = append(all, fmt.Sprintf("%s (%s)", p.Name, p.About))
	}
	return strings.Join(all, ", ")
}

// widest says how wide a clip gets by itself.
func widest() string {
	out := fmt.Sprintf("%d wide", codec.Presets[0].MaxWidth)
	for _, p := range codec.Presets[1:] {
		out += fmt.Sprintf(", %s %d", p.Name, p.MaxWidth)
	}
	return out
}
