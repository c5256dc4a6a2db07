package plan

import (
	"math"
	"testing"
	"time"
)

// Rise, set and twilight as python3-ephem 4.1.4 (libastro) gives them: upper
// limb at -0:34 without air for the sun, its middle for the twilights. NOAA
// promises a minute.
func TestSunEvents(t *testing.T) {
	greenwich, oslo, tromso := Place{51.4769, 0}, Place{59.9139, 10.7522}, Place{69.6492, 18.9553}
	for _, c := range []struct {
		place Place
		day   string
		want  map[string]string
		never []string
	}{
		{greenwich, "2024-06-20", map[string]string{"sunrise": "03:42:41", "sunset": "20:20:43"}, []string{"astronomical twilight ends"}},
		{greenwich, "2024-12-21", map[string]string{
			"sunrise": "08:03:17", "sunset": "15:53:17", "civil twilight begins": "07:23:01", "civil twilight ends": "16:33:33",
			"astronomical twilight begins": "05:59:03", "astronomical twilight ends": "17:57:31",
		}, nil},
		{oslo, "2024-06-20", map[string]string{"sunrise": "01:53:42", "sunset": "20:43:41"}, nil},
		{tromso, "2024-12-21", map[string]string{"civil twilight begins": "08:31:31", "civil twilight ends": "12:53:21"}, []string{"sunrise", "sunset"}},
	} {
		from, _ := time.Parse(time.DateOnly, c.day)
		got := map[string]time.Time{}
		for _, e := range SunEvents(from, from.AddDate(0, 0, 1), c.place) {
			got[e.Name] = e.At
		}
		for name, clock := range c.want {
			want, _ := time.Parse(time.DateTime, c.day+" "+clock)
			if d := got[name].Sub(want).Abs(); d > 10*time.Second {
				t.Errorf("%s at %v: %s at %s, want %s", c.day, c.place, name, got[name].Format(time.TimeOnly), clock)
			}
		}
		for _, name := range c.never {
			if at, ok := got[name]; ok {
				t.Errorf("%s at %v: %s at %s, want none", c.day, c.place, name, at)
			}
		}
	}
}

// From sunset to the end of civil twilight the light of a clear sky falls from
// 585..410 to 3.5..2 lux (Glossary of Meteorology, AMS, "civil twilight"): by
// 6.9 to 8.2 stops.
func TestLightChange(t *testing.T) {
	sunset := time.Date(2024, 12, 21, 15, 53, 17, 0, time.UTC)
	net, span := LightChange(sunset, sunset.Add(40*time.Minute+16*time.Second), Place{51.4769, 0})
	if !(net < -6.9 && net > -8.2) || math.Abs(span+net) > 1e-9 {
		t.Errorf("the light changes by %.2f of %.2f stops", net, span)
	}
	if _, span := LightChange(sunset.Add(-10*time.Hour), sunset.Add(4*time.Hour), Place{51.4769, 0}); !(span > 18) {
		t.Errorf("over a day by %.2f stops", span)
	}
}
