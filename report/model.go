// Package report sets planned against shot. It takes what the stages before
// it found, changes none of it, and gives it four faces: JSON, CSV, text and
// an HTML page.
package report

import (
	"image"

	"stillspan/assemble/shoot"
)

// Version is the version of the JSON model. Fields may be added to a version;
// those named in it stay.
const Version = 1

// Report is the outcome of one run over one folder tree.
type Report struct {
	Version   int        `json:"version"`
	Root      string     `json:"root"`
	Made      Stamp      `json:"made"`
	Sequences []Sequence `json:"sequences"`
	// Loose lists stills that belong to no sequence: test shots.
	Loose   []string  `json:"loose"`
	Ignored []Ignored `json:"ignored"`
	// Unreadable lists files and folders that could not be opened at all.
	Unreadable []Damage `json:"unreadable"`
	// NotFound lists the planned shoots that no sequence answers to.
	NotFound []Plan   `json:"not_found"`
	Warnings []string `json:"warnings"`
	// Findings are those of the run as a whole; each sequence has its own.
	Findings []Finding `json:"findings"`
}

// Ignored counts files left alone, by kind.
type Ignored struct {
	Kind  string `json:"kind"`
	Count int    `json:"count"`
}

// Sequence is one shoot as it was found.
type Sequence struct {
	ID     string `json:"id"`
	Folder string `json:"folder"`
	First  string `json:"first"` // file names, relative to the root
	Last   string `json:"last"`
	Frames int    `json:"frames"`
	Camera Camera `json:"camera"`
	Start  Stamp  `json:"start"`
	End    Stamp  `json:"end"`
	// ClockAheadOfUTCS is what the camera's clock showed less the universal time
	// of its GPS receiver; null without one.
	ClockAheadOfUTCS Float `json:"clock_ahead_of_utc_s"`

	IntervalS            Float `json:"interval_s"`
	IntervalUncertaintyS Float `json:"interval_uncertainty_s"`
	// DriftSPerHour and DriftPPM compare the interval with the plan's; null
	// without both. DriftMatters is the verdict on them.
	DriftSPerHour Float `json:"drift_s_per_hour"`
	DriftPPM      Float `json:"drift_ppm"`
	DriftMatters  bool  `json:"drift_matters"`
	JitterRMSS    Float `json:"jitter_rms_s"`
	ClockTickS    Float `json:"clock_tick_s"`
	// TimingNote says why timing could not be judged; empty when it was.
	TimingNote string `json:"timing_note,omitempty"`

	Missing   []Missing   `json:"missing"`
	Irregular []Irregular `json:"irregular"`
	TooLong   []TooLong   `json:"exposure_too_long"`
	// Breaks are places where time or clock jumps and no frame is missing.
	Breaks []Break `json:"breaks"`
	// Alternatives are other accounts of the same files, nearly as likely, that
	// come to another verdict.
	Alternatives    []Alternative   `json:"alternatives"`
	Settings        []Setting       `json:"settings"`
	SettingsChanges []SettingChange `json:"settings_changes"`
	Damaged         []Damage        `json:"damaged"`
	// DamagedCompanions are damaged files of RAW+JPEG pairs that the clip does
	// without.
	DamagedCompanions []Damage `json:"damaged_companions"`

	// Pictures are what is the matter with framing, sharpness, light and colour of
	// frames.
	Pictures []Picture `json:"pictures"`
	// Travel is how the framing went as the rig moved; null where it is not clear.
	Travel *Travel `json:"travel"`

	Examined  Examined  `json:"examined"`
	Copies    *Copies   `json:"copies,omitempty"`
	Luminance Luminance `json:"luminance"`
	Plan      *Plan     `json:"plan"`
	Delivered Delivered `json:"delivered"`
	Rates     []RateRow `json:"rates"`
	Remedies  []Remedy  `json:"remedies"`
	Render    *Render   `json:"render"`
	Flashes   []Flash   `json:"flashes"`

	Headline string    `json:"headline"`
	Findings []Finding `json:"findings"`
	Notes    []string  `json:"notes"`
	Warnings []string  `json:"warnings"`

	Rows []Row `json:"frame_list"`

	pictures pictures
}

// pictures are for the HTML page alone.
type pictures struct {
	strip    []image.Image
	measured image.Image
	proof    *shoot.Proof
	slice    *shoot.Slice
	gallery  []shoot.Still
	exhibits []shown
	fps      float64
	lanes    []lane
	colour   struct{ red, blue [2][]float64 } // against green, EV: as shot and as corrected
	framing  [2][]float64                     // right and down, off its smooth way, pixels of the still
}

// Camera is the body a sequence was shot with.
type Camera struct {
	Make   string `json:"make"`
	Model  string `json:"model"`
	Serial string `json:"serial"`
	Lens   string `json:"lens,omitempty"`
}

// Missing is a run of missing frames.
type Missing struct {
	After  string `json:"after"` // file before the gap
	Frame  int    `json:"frame"` // its place in the sequence, from 1
	Count  int    `json:"count"`
	GapS   Float  `json:"gap_s"`
	Cause  string `json:"cause"` // not-fired, file-lost, number-skip or unknown
	Advice string `json:"advice"`
	// Spare is set for exposures of a bracket of which the clip uses another.
	Spare bool `json:"spare,omitempty"`
}

// Break is a frame before which time or clock jumps and no frame is missing.
type Break struct {
	File  string `json:"file"`
	Frame int    `json:"frame"` // its place in the sequence, from 1
	Kind  string `json:"kind"`  // pause, rest, clock-set or wrong-stamp
	ByS   Float  `json:"by_s"`  // length of a pause, jump of the clock; null else
}

// Kinds of breaks.
const (
	BreakPause      = "pause"       // long, and the shoot goes on
	BreakRest       = "rest"        // by daily hours
	BreakClockSet   = "clock-set"   // the clock was set from this frame on
	BreakWrongStamp = "wrong-stamp" // this frame's stamp alone is wrong
)

// Alternative is what another account says of a stretch of frames.
type Alternative struct {
	First      string `json:"first"`
	Last       string `json:"last"`
	FirstFrame int    `json:"first_frame"`
	LastFrame  int    `json:"last_frame"`
	Text       string `json:"text"` // "either ..., or ..."
	// MoreShoots is how many more shoots it counts, below 0 for fewer; Missing is
	// what it misses there, by cause.
	MoreShoots int         `json:"more_shoots"`
	Missing    MissingSums `json:"missing"`
}

// MissingSums are frames missing, by cause.
type MissingSums struct {
	NotFired   int `json:"not_fired"`
	Lost       int `json:"file_lost"`
	NumberSkip int `json:"number_skip"`
	Unknown    int `json:"unknown"`
}

// Irregular is a frame off the cadence.
type Irregular struct {
	File    string `json:"file"`
	Frame   int    `json:"frame"`
	Kind    string `json:"kind"` // late, early or double
	OffsetS Float  `json:"offset_s"`
}

// TooLong is a frame whose exposure does not fit in the interval.
type TooLong struct {
	File      string `json:"file"`
	Frame     int    `json:"frame"`
	ExposureS Float  `json:"exposure_s"`
}

// Setting is one line of the settings table: what the camera was set to over
// the sequence. Steady is false when it moved; Value then gives the range.
type Setting struct {
	Name   string `json:"name"`
	Value  string `json:"value"`
	Steady bool   `json:"steady"`
}

// SettingChange is a setting that moved in mid-sequence.
type SettingChange struct {
	File  string `json:"file"`
	Frame int    `json:"frame"`
	Field string `json:"field"`
	From  string `json:"from"`
	To    string `json:"to"`
}

// Damage is what is wrong with one file. Left is the share of the picture that
// can still be shown; null when not known.
type Damage struct {
	File    string `json:"file"`
	Frame   int    `json:"frame,omitempty"`
	Kind    string `json:"kind"`
	Problem string `json:"problem"`
	Try     string `json:"try,omitempty"`
	Left    Float  `json:"left"`
}

// Luminance is the light of a sequence and what was done about its flicker.
type Luminance struct {
	// Before is as shot, After what is expected of the corrections: InClip is
	// what was measured.
	FlickerEVBefore Float `json:"flicker_ev_before"`
	FlickerEVAfter  Float `json:"flicker_ev_after"`
	ColourEVBefore  Float `json:"colour_flicker_ev_before"`
	ColourEVAfter   Float `json:"colour_flicker_ev_after"`
	PumpingEVBefore Float `json:"pumping_ev_before"`
	PumpingEVAfter  Float `json:"pumping_ev_after"`
	// InClip is null where no clip was rendered.
	InClip *InClip `json:"in_clip"`
	// Response is what corrections are made through: "camera", its own as told
	// from the sequence, or "srgb", and then ResponseWhy says why.
	Response    string `json:"response,omitempty"`
	ResponseWhy string `json:"response_why,omitempty"`
	// Corrected is false when the clip keeps its flicker by request.
	Corrected  bool         `json:"corrected"`
	Confidence string       `json:"confidence,omitempty"` // good, fair or poor
	Why        string       `json:"why,omitempty"`
	Steps      []Step       `json:"steps"`
	Events     []Event      `json:"events"`
	Biggest    []Correction `json:"biggest_corrections"`
	// HighShare and LowShare are the largest and the mean share of the
	// picture with clipped highlights and crushed shadows, 0 to 1.
	HighShareMax  Float  `json:"high_share_max"`
	HighShareMean Float  `json:"high_share_mean"`
	LowShareMax   Float  `json:"low_share_max"`
	LowShareMean  Float  `json:"low_share_mean"`
	Zone          *Zone  `json:"zone"`
	Local         bool   `json:"local_pass"`       // flicker of the corners was evened out
	Bands         *Bands `json:"bands"`            // null where there are none
	Source        string `json:"source,omitempty"` // what was decoded to measure
}

// InClip is what is left of flicker, measured in the frames as they went to the
// encoder.
type InClip struct {
	FlickerEV Float `json:"flicker_ev"`
	ColourEV  Float `json:"colour_flicker_ev"`
	PumpingEV Float `json:"pumping_ev"`
	// ToneEV is the flicker of the tones by sixths of the picture, from the
	// darkest.
	ToneEV []Float `json:"tone_flicker_ev"`
	Frames int     `json:"frames"`
}

// Bands are those that lamps on the mains leave in the picture.
type Bands struct {
	Count     Float `json:"count"` // over the picture
	EV        Float `json:"ev"`    // rms, as shot
	EvenedOut bool  `json:"evened_out"`
	// Exposures are the nearest, s, that would have left none, on mains of 50
	// and of 60 Hz: whole halves of their period.
	Exposures [2]Float `json:"exposures_s"`
}

// Zone is the part of the upright picture that was measured, as fractions of
// its width and height.
type Zone struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
	W float64 `json:"w"`
	H float64 `json:"h"`
}

// Step is a deliberate change of exposure.
type Step struct {
	File    string `json:"file"`
	Frame   int    `json:"frame"`
	EV      Float  `json:"ev"`       // measured in the pixels
	LabelEV Float  `json:"label_ev"` // by the camera's labels
}

// Event is a short true change of light, kept as it is.
type Event struct {
	First      string `json:"first"`
	Last       string `json:"last"`
	FirstFrame int    `json:"first_frame"`
	LastFrame  int    `json:"last_frame"`
	EV         Float  `json:"ev"`
}

// Correction is what one frame was pushed or pulled by.
type Correction struct {
	File  string `json:"file"`
	Frame int    `json:"frame"`
	EV    Float  `json:"ev"`
}

// Plan is the planned shoot a sequence answers to.
type Plan struct {
	Name      string `json:"name"`
	Frames    int    `json:"frames"`
	IntervalS Float  `json:"interval_s"`
	Rate      string `json:"rate"`
	ClipS     Float  `json:"clip_s"`
	// MatchedBy is the strongest evidence of the match: "name", "folder",
	// "start window", "count and interval", "count" or "interval"; MatchReason
	// is all of it in words.
	MatchedBy   string `json:"matched_by,omitempty"`
	MatchReason string `json:"match_reason,omitempty"`
}

// Verdict is planned against shot, in one word.
type Verdict string

// Verdicts. A shoot is delivered only if nothing was found.
const (
	VerdictDelivered Verdict = "delivered"
	VerdictShort     Verdict = "short"
	VerdictOver      Verdict = "over"           // more frames than planned, as planned or not
	VerdictUnplanned Verdict = "unplanned"      // no plan to hold it against
	VerdictOther     Verdict = "not-as-planned" // all frames there, and something found
	VerdictNotJudged Verdict = "not-judged"     // all frames there, and nothing tells their timing
)

// Word is the verdict in words, with a plan or without. The exit code is 0
// for the first four and 3 for the others.
type Word string

// The words of a verdict. Notes are remarks that do not touch the clip.
const (
	WordDelivered     Word = "delivered"
	WordNotes         Word = "delivered, with notes"
	WordComplete      Word = "complete" // no plan, and nothing missing from the cadence or the numbers
	WordCompleteNotes Word = "complete, with notes"
	WordShort         Word = "short"
	WordOther         Word = "not as planned"
	WordFindings      Word = "with findings" // no plan, nothing missing, and something found
	WordNotJudged     Word = "not judged"
)

// Delivered is what the shoot gave. Its counts add up:
//
//	planned + over = in_clip + made_up + missing
//	on_disk = usable + damaged
//	usable = in_clip + left_out
//	short_frames = planned - in_clip = the sum of short_by
//
// where differences stop at 0. Without a plan the cadence stands for it, and
// planned is 0.
type Delivered struct {
	Frames      int     `json:"frames"` // as usable
	ClipS       Float   `json:"clip_s"` // of in_clip
	Rate        string  `json:"rate"`
	Verdict     Verdict `json:"verdict"`
	Word        Word    `json:"verdict_word"`
	ShortFrames int     `json:"short_frames"`
	// ShortBy splits ShortFrames by where they are missing.
	ShortBy ShortBy `json:"short_by"`

	Planned int `json:"planned"`
	// Fired is how often the camera fired: the files there are and those that
	// were lost. Frames missing for an unknown cause may come on top.
	Fired   int `json:"fired"`
	OnDisk  int `json:"on_disk"` // frames with a file
	Usable  int `json:"usable"`  // of these, the sound ones
	InClip  int `json:"in_clip"` // as shot; a forecast until there is a clip
	MadeUp  int `json:"made_up"` // frames of the clip that fill gaps
	Missing int `json:"missing"` // what the clip lacks of the plan all the same
	Over    int `json:"over"`    // what it has beyond the plan
}

// ShortBy says where planned frames are missing. All of it sums to
// Delivered.ShortFrames.
type ShortBy struct {
	NotFired int `json:"not_fired"`
	Lost     int `json:"file_lost"`
	// Unknown are missing from the cadence, and nothing tells why.
	Unknown int `json:"unknown"`
	Damaged int `json:"damaged"`
	// LeftOut are sound, and of another format or size than the clip's.
	LeftOut int `json:"left_out"`
	// Ended is how many the shoot ended short of, or began late by.
	Ended int `json:"ended_early"`
	// Beyond, 0 or less, are shot beyond the planned end and make up for some
	// that are missing before it.
	Beyond int `json:"beyond_end"`
}

// RateRow is planned against shot at one playback rate.
type RateRow struct {
	Rate     string `json:"rate"`
	PlannedS Float  `json:"planned_s"` // null without a plan
	ShotS    Float  `json:"shot_s"`
	Chosen   bool   `json:"chosen"`
}

// Remedy is one way to close a shortfall and what it costs.
type Remedy struct {
	Do    string `json:"do"`
	Gives string `json:"gives"`
	Costs string `json:"costs"`
}

// Render is the clip that was written.
type Render struct {
	File   string `json:"file"`
	Frames int    `json:"frames"`
	Filled int    `json:"filled"`
	Held   int    `json:"held,omitempty"`  // that an end of the clip stands still
	Slate  int    `json:"slate,omitempty"` // of a title card before the first frame
	// Chosen says which frames the clip shows where by request it does not show
	// all. Delivered then counts the shoot, not the clip.
	Chosen    string   `json:"chosen,omitempty"`
	DurationS Float    `json:"duration_s"`
	Rate      string   `json:"rate"`
	Codec     string   `json:"codec"`
	Verified  bool     `json:"verified"`
	Problems  []string `json:"problems"`
	Profile   string   `json:"profile"`
	Width     int      `json:"width"`
	Height    int      `json:"height"`
	PixFmt    string   `json:"pix_fmt"`
	Bytes     int64    `json:"bytes"`
	Range     string   `json:"color_range"`
	Matrix    string   `json:"color_space"`
	Primaries string   `json:"color_primaries"`
	Transfer  string   `json:"color_transfer"`
	// WhiteNits is the luminance of the stills' white in a clip of HLG or PQ.
	WhiteNits float64 `json:"white_level_cd_m2,omitempty"`
	// Timecode is that of the first frame, SMPTE ST 12-1; drop-frame after a
	// semicolon.
	Timecode string `json:"timecode,omitempty"`
}

// Flash is a passage of the finished clip that flashes more than the guideline
// allows.
type Flash struct {
	FromS Float  `json:"from_s"`
	ToS   Float  `json:"to_s"`
	From  string `json:"from"` // time code, hours:minutes:seconds:frames
	To    string `json:"to"`
	Kind  string `json:"kind"` // general or red
	Text  string `json:"text,omitempty"`
}

// Finding is something about the shoot that is not as planned.
type Finding struct {
	Kind   Kind   `json:"kind"`
	Text   string `json:"text"`
	Advice string `json:"advice,omitempty"`
	// Card is set where files may still be found on a card, which must not be
	// wiped then.
	Card bool `json:"card,omitempty"`
}

// Row is one frame in the CSV and in the plots.
type Row struct {
	File         string `json:"file"`
	Number       int    `json:"number"` // running file number, -1 for none
	Time         Stamp  `json:"time"`
	Slot         int    `json:"slot"` // place in the cadence, from 0; -1 when not judged
	OffsetS      Float  `json:"offset_s"`
	StepS        Float  `json:"step_s"` // time since the frame before
	ShutterS     Float  `json:"shutter_s"`
	FNumber      Float  `json:"f_number"`
	ISO          Float  `json:"iso"`
	LumEV        Float  `json:"lum_ev"`
	CorrectionEV Float  `json:"correction_ev"`
	HighShare    Float  `json:"high_share"`
	LowShare     Float  `json:"low_share"`
	Problem      string `json:"problem,omitempty"`
}

// HasFindings tells whether anything in the run is not as planned.
func (r *Report) HasFindings() bool {
	if len(r.Findings) > 0 {
		return true
	}
	for i := range r.Sequences {
		if len(r.Sequences[i].Findings) > 0 {
			return true
		}
	}
	return false
}
