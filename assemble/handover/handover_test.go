package handover

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"stillspan/internal/playback"
)

var ntsc = playback.Rate{Num: 30000, Den: 1001}

func frames(n int) []Frame {
	out := make([]Frame, n)
	for k := range out {
		out[k] = Frame{Still: fmt.Sprintf("DCIM/100STILL/RAIL%04d.JPG", k+1), Taken: "2026-05-01T05:40:00", CorrectionEV: 0.01}
	}
	return out
}

// event is one of an edit list, times in frames.
type event struct {
	number            int
	reel, name        string
	in, out, rin, ron int
	fcm               string
}

// readEDL is a small reader of CMX 3600 lists, made from the form as
// OpenTimelineIO's adapter documents it, that shares nothing with the writer:
// columns by width, counts of frames by stepping through the labels.
func readEDL(t *testing.T, text string, perSecond int) (title string, out []event) {
	t.Helper()
	line := regexp.MustCompile(`^(\d{3})  ([A-Z0-9]{1,8}) {0,7} V {5}C {8}(\S{11}) (\S{11}) (\S{11}) (\S{11})$`)
	fcm := ""
	for i, l := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		switch m := line.FindStringSubmatch(l); {
		case strings.HasPrefix(l, "TITLE: ") && i == 0:
			title = l[7:]
		case strings.HasPrefix(l, "FCM: "):
			fcm = l[5:]
		case strings.HasPrefix(l, "* FROM CLIP NAME: "):
			out[len(out)-1].name = strings.TrimPrefix(l, "* FROM CLIP NAME: ")
		case strings.HasPrefix(l, "* SOURCE FILE: "), l == "":
		case m != nil:
			var at [4]int
			for k, label := range m[3:] {
				at[k] = count(t, label, perSecond)
			}
			n := 0
			fmt.Sscan(m[1], &n)
			out = append(out, event{n, m[2], "", at[0], at[1], at[2], at[3], fcm})
		default:
			t.Errorf("line %d is none of an edit list: %q", i+1, l)
		}
	}
	return title, out
}

// count says how many labels come before one.
func count(t *testing.T, label string, perSecond int) (n int) {
	t.Helper()
	var h, m, s, f int
	if _, err := fmt.Sscanf(strings.ReplaceAll(label, ";", ":"), "%02d:%02d:%02d:%02d", &h, &m, &s, &f); err != nil {
		t.Fatalf("label %q: %v", label, err)
	}
	skip := 0
	if label[8] == ';' {
		skip = perSecond / 15
	}
	for minute := range 60*h + m {
		n += 60 * perSecond
		if minute%10 != 0 {
			n -= skip
		}
	}
	if n += s*perSecond + f; m%10 != 0 {
		n -= skip
	}
	if m%10 != 0 && s == 0 && f < skip || f >= perSecond {
		t.Errorf("no frame has the label %s", label)
	}
	return n
}

func TestEditList(t *testing.T) {
	clips := []Clip{
		{File: "2026-05-01-0512.mov", Rate: ntsc, Timecode: "05:12:00;02", Frames: frames(1801)},
		{File: "Hafen früh.mov", Rate: ntsc, Timecode: "06:59:59;20", Frames: frames(17982)},
		{File: "x_0512-05-01-0512.mov", Rate: ntsc, Frames: frames(1)},
		{File: "slow.mp4", Rate: playback.Rate{Num: 24, Den: 1}, Timecode: "10:00:00:00", Frames: frames(150)},
		{File: "odd.mp4", Rate: playback.Rate{Num: 12, Den: 1}, Frames: frames(5)},
	}
	lists, left := EditLists("a day\nby the sea", clips)
	if len(lists) != 2 || lists[0].Name != "clips-24.edl" || lists[1].Name != "clips-29.97.edl" {
		t.Fatalf("lists %v", lists)
	}
	if len(left) != 1 || left[0] != "odd.mp4" {
		t.Errorf("left out %q", left)
	}
	// A clip that passes midnight ends by the labels of the day after.
	late := Clip{File: "late.mov", Rate: playback.Rate{Num: 25, Den: 1}, Timecode: "23:59:58:10", Frames: frames(100)}
	night, _ := EditLists("t", []Clip{late, clips[3], {File: "to.mov", Rate: late.Rate, Timecode: "23:59:56:00", Frames: frames(100)}})
	if _, events := readEDL(t, string(night[1].Text), 25); events[0].in != 2159960 || events[0].out != 60 || events[0].ron-events[0].rin != 100 || events[1].out != 0 {
		t.Errorf("past midnight: %+v", events)
	}
	if !late.pastMidnight() || clips[3].pastMidnight() {
		t.Error("midnight is not told")
	}
	title, events := readEDL(t, string(lists[1].Text), 30)
	if strings.Contains(title, "\n") || len(events) != 3 {
		t.Fatalf("title %q, %d events", title, len(events))
	}
	record := 107892 // 01:00:00;00, SMPTE ST 12-1
	reels := map[string]bool{}
	for i, e := range events {
		c := clips[i]
		n := len(c.Frames)
		if e.number != i+1 || e.name != c.File || e.out-e.in != n || e.rin != record || e.ron != record+n || e.fcm != "DROP FRAME" || reels[e.reel] {
			t.Errorf("event %+v of %s, %d frames", e, c.File, n)
		}
		if c.Timecode != "" && e.in != count(t, c.Timecode, 30) {
			t.Errorf("%s begins at frame %d", c.File, e.in)
		}
		reels[e.reel] = true
		record += n
	}
	_, events = readEDL(t, string(lists[0].Text), 24)
	if e := events[0]; len(events) != 1 || e.in != 864000 || e.out != 864150 || e.rin != 86400 || e.fcm != "NON-DROP FRAME" || e.reel != "SLOW" {
		t.Errorf("event %+v", e)
	}
	if one, _ := EditLists("t", clips[:1]); len(one) != 1 || one[0].Name != "clips-29.97.edl" {
		t.Errorf("one rate: %v", one)
	}
	if _, left := EditLists("t", make([]Clip, 1200)); len(left) != 1200 {
		t.Errorf("%d clips without frames left out", len(left))
	}
}

// otioFields are the fields of the schemas that are used and what stands in each: a
// schema, "[]" before one for a list, "{}" for a map, or a kind of JSON; "?" where it
// may be null. They are those of OpenTimelineIO's own list, "Serialized Data (Fields
// Only)", and of its file format specification.
var otioFields = map[string]map[string]string{
	"Timeline.1":          {"name": "string", "global_start_time": "?RationalTime.1", "tracks": "Stack.1", "metadata": "object"},
	"Stack.1":             {"name": "string", "children": "[]Track.1", "effects": "[]none", "markers": "[]none", "metadata": "object"},
	"Track.1":             {"name": "string", "kind": "string", "children": "[]Clip.2", "effects": "[]none", "markers": "[]none", "metadata": "object"},
	"Clip.2":              {"name": "string", "source_range": "TimeRange.1", "media_references": "{}ExternalReference.1", "active_media_reference_key": "string", "effects": "[]none", "markers": "[]none", "metadata": "object"},
	"ExternalReference.1": {"name": "string", "target_url": "string", "available_range": "TimeRange.1", "metadata": "object"},
	"TimeRange.1":         {"start_time": "RationalTime.1", "duration": "RationalTime.1"},
	"RationalTime.1":      {"rate": "number", "value": "number"},
}

// checkOTIO reads a value as strictly as those lists allow: nothing may be missing, and
// nothing be there that they do not name.
func checkOTIO(t *testing.T, at string, v any, want string) {
	t.Helper()
	if kind, ok := strings.CutPrefix(want, "?"); ok {
		if v == nil {
			return
		}
		want = kind
	}
	if kind, ok := strings.CutPrefix(want, "[]"); ok {
		list, ok := v.([]any)
		if !ok {
			t.Errorf("%s is no list", at)
		}
		for i, x := range list {
			checkOTIO(t, fmt.Sprint(at, "/", i), x, kind)
		}
		return
	}
	m, object := v.(map[string]any)
	if kind, ok := strings.CutPrefix(want, "{}"); ok {
		for key, x := range m {
			checkOTIO(t, at+"/"+key, x, kind)
		}
		want = "object"
	}
	fields, ok := otioFields[want]
	if !ok {
		_, text := v.(string)
		_, number := v.(float64)
		if !(want == "string" && text || want == "number" && number || want == "object" && object) {
			t.Errorf("%s is %v, want %s", at, v, want)
		}
		return
	}
	if m["OTIO_SCHEMA"] != want {
		t.Errorf("%s has the schema %v, want %s", at, m["OTIO_SCHEMA"], want)
	}
	for name, kind := range fields {
		x, there := m[name]
		if !there {
			t.Errorf("%s lacks %s", at, name)
			continue
		}
		checkOTIO(t, at+"/"+name, x, kind)
	}
	for name := range m {
		if fields[name] == "" && name != "OTIO_SCHEMA" {
			t.Errorf("%s has %q, which %s does not know", at, name, want)
		}
	}
}

// The timeline has the schemas of OpenTimelineIO 0.18.1 and what a reader needs
// of them. Set STILLSPAN_OTIO to a file name to keep timeline and edit lists for
// that library, which is not at hand here.
func TestTimeline(t *testing.T) {
	clips := []Clip{
		{File: "dawn 1.mov", Sequence: "s1", Shoot: "dawn", Camera: "One", Rate: ntsc, Timecode: "01:00:00;00", Frames: frames(150)},
		{File: "b#2.mov", Rate: playback.Rate{Num: 24, Den: 1}, Frames: frames(24)},
	}
	data, err := Timeline("day", clips)
	if err != nil {
		t.Fatal(err)
	}
	if name := os.Getenv("STILLSPAN_OTIO"); name != "" {
		if err := os.WriteFile(name, data, 0o666); err != nil {
			t.Fatal(err)
		}
		lists, _ := EditLists("day", clips)
		for _, l := range lists {
			if err := os.WriteFile(filepath.Join(filepath.Dir(name), l.Name), l.Text, 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	var got map[string]any
	if err := json.Unmarshal(data, &got); err != nil {
		t.Fatal(err)
	}
	checkOTIO(t, "timeline", got, "Timeline.1")
	track := got["tracks"].(map[string]any)["children"].([]any)[0].(map[string]any)
	if track["kind"] != "Video" {
		t.Errorf("track %v", track["kind"])
	}
	for i, x := range track["children"].([]any) {
		c := x.(map[string]any)
		r := c["source_range"].(map[string]any)
		from, long := r["start_time"].(map[string]any), r["duration"].(map[string]any)
		ref := c["media_references"].(map[string]any)[c["active_media_reference_key"].(string)].(map[string]any)
		if long["value"] != float64(len(clips[i].Frames)) || long["rate"] != clips[i].Rate.FPS() || from["value"] != []float64{107892, 0}[i] {
			t.Errorf("clip %d runs %v from %v", i, long, from)
		}
		if ref["target_url"] != []string{"dawn%201.mov", "b%232.mov"}[i] {
			t.Errorf("clip %d lies at %v", i, ref["target_url"])
		}
	}
}

func TestTable(t *testing.T) {
	c := Clip{File: "a.mov", Sequence: "s1", Rate: ntsc, Timecode: "00:00:59;28", Frames: frames(4)}
	c.Frames[2].MadeUp, c.Frames[1].Still, c.Frames[0].LastStill = true, "a, \"b\".jpg", "z.jpg"
	rows, err := csv.NewReader(strings.NewReader(string(Table([]Clip{c})))).ReadAll()
	if err != nil || len(rows) != 5 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if r := rows[3]; r[0] != "a.mov" || r[1] != "3" || r[2] != "00:01:00;02" || r[7] != "true" || rows[0][8] != "last_still" || rows[1][8] != "z.jpg" || rows[2][4] != c.Frames[1].Still {
		t.Errorf("rows %q", rows)
	}
}
