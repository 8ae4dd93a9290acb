package journal

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// Evening is what was done at one site from one local noon to the next.
type Evening struct {
	Date    string // of the noon it began at, 2026-11-25, by the Sun at the site
	Site    Site
	Records []Record // by time
}

// Day returns the date of the last local noon before t, by the mean Sun at
// longitude lon in degrees.
func Day(t time.Time, lon float64) string {
	lon = math.Remainder(lon, 360)
	return t.UTC().Add(time.Duration((lon/15 - 12) * float64(time.Hour))).Format(time.DateOnly)
}

// siteKey tells sites apart: by name, or else by 0.01 degree, about 1 km.
func siteKey(s Site) string {
	if s.Name != "" {
		return s.Name
	}
	return fmt.Sprintf("%.2f %.2f", s.Lat, math.Remainder(s.Lon, 360))
}

// Title names a site for people: its name, or its coordinates.
func (s Site) Title() string {
	if s.Name != "" {
		return s.Name
	}
	ns, ew := 'N', 'E'
	if s.Lat < 0 {
		ns = 'S'
	}
	lon := math.Remainder(s.Lon, 360)
	if lon < 0 {
		ew = 'W'
	}
	return fmt.Sprintf("%.2f %c %.2f %c", math.Abs(s.Lat), ns, math.Abs(lon), ew)
}

// Evenings groups records, in whatever order, by evening and site. Sightings,
// which have no axis, are left out.
func Evenings(records []Record) []Evening {
	type key struct{ date, site string }
	at := map[key]int{}
	var out []Evening
	for _, r := range records {
		if r.Kind == Sighting {
			continue
		}
		k := key{Day(r.Time, r.Site.Lon), siteKey(r.Site)}
		i, ok := at[k]
		if !ok {
			i = len(out)
			at[k] = i
			out = append(out, Evening{Date: k.date, Site: r.Site})
		}
		out[i].Records = append(out[i].Records, r)
	}
	for _, e := range out {
		slices.SortStableFunc(e.Records, func(a, b Record) int { return a.Time.Compare(b.Time) })
	}
	slices.SortStableFunc(out, func(a, b Evening) int {
		return cmp.Or(cmp.Compare(a.Date, b.Date), a.Records[0].Time.Compare(b.Records[0].Time))
	})
	return out
}

// Near reports whether a place, degrees, lies within some kilometres of the site.
func (s Site) Near(lat, lon float64) bool {
	const few = 0.05 // degrees
	return math.Abs(s.Lat-lat) < few && math.Abs(math.Remainder(s.Lon-lon, 360)) < few
}

// LastNear returns the last record with an axis of a place, degrees, within some
// time of t; nil when there is none.
func LastNear(records []Record, lat, lon float64, t time.Time, within time.Duration) *Record {
	for _, r := range slices.Backward(records) {
		if r.Kind != Sighting && r.Site.Near(lat, lon) && t.Sub(r.Time).Abs() < within {
			return &r
		}
	}
	return nil
}

// First returns the evening's first measurement: how the mount was set up
// before anything was corrected. ok is false on an evening without one.
func (e Evening) First() (Record, bool) {
	for _, r := range e.Records {
		if r.Kind == Measurement {
			return r, true
		}
	}
	return Record{}, false
}

// Last returns the evening's last record: how the mount was left.
func (e Evening) Last() Record { return e.Records[len(e.Records)-1] }

// Habit is what several evenings at one site say about how the user sets up.
// Arcmin throughout, on the sky; Up and Right are the altitude part and the
// part toward larger azimuth.
type Habit struct {
	Site      Site
	Evenings  int     // with a first measurement of the same pole
	Up, Right float64 // mean of the first measurements
	SigUp     float64 // standard errors of these means, from the scatter
	SigRight  float64
	Scatter   float64 // rms distance of an evening's first measurement from the mean
	FirstMid  float64 // median total of the first measurements
	LastMid   float64 // median total of the last records
}

// Usual is true when the mean is larger than three of its standard errors in
// one of its parts: the set-up errs in one direction, and not only by chance.
func (h Habit) Usual() bool {
	return h.Evenings >= 3 && (math.Abs(h.Up) > 3*h.SigUp || math.Abs(h.Right) > 3*h.SigRight)
}

// Habits returns one habit for each site, in the order in which sites first
// appear. Only measurements of the pole kind used last at the site count:
// offsets from different poles do not mix.
func Habits(evenings []Evening) []Habit {
	var order []string
	bySite := map[string][]Evening{}
	for _, e := range evenings {
		k := siteKey(e.Site)
		if _, ok := bySite[k]; !ok {
			order = append(order, k)
		}
		bySite[k] = append(bySite[k], e)
	}
	var out []Habit
	for _, k := range order {
		if h, ok := habit(bySite[k]); ok {
			out = append(out, h)
		}
	}
	return out
}

func habit(evenings []Evening) (Habit, bool) {
	kind := evenings[len(evenings)-1].Last().Pole.Kind
	h := Habit{Site: evenings[len(evenings)-1].Site}
	var up, right, first, last []float64
	for _, e := range evenings {
		r, ok := e.First()
		if !ok || r.Pole.Kind != kind {
			continue
		}
		up, right = append(up, r.Offset.Alt), append(right, r.Offset.AzSky)
		first, last = append(first, r.Offset.Total), append(last, e.Last().Offset.Total)
	}
	h.Evenings = len(up)
	if h.Evenings == 0 {
		return h, false
	}
	h.Up, h.SigUp = meanErr(up)
	h.Right, h.SigRight = meanErr(right)
	n := float64(h.Evenings)
	h.Scatter = math.Sqrt(n) * math.Hypot(h.SigUp, h.SigRight)
	h.FirstMid, h.LastMid = median(first), median(last)
	return h, true
}

// meanErr returns the mean and its standard error from the scatter; of a
// single value the error is 0.
func meanErr(x []float64) (mean, sigma float64) {
	n := float64(len(x))
	for _, v := range x {
		mean += v / n
	}
	if len(x) < 2 {
		return mean, 0
	}
	for _, v := range x {
		sigma += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sigma / (n - 1) / n)
}

func median(x []float64) float64 {
	x = slices.Sorted(slices.Values(x))
	if n := len(x); n%2 == 0 {
		return (x[n/2-1] + x[n/2]) / 2
	}
	return x[len(x)/2]
}

// All returns the records of evenings, in their order.
func All(es []Evening) (out []Record) {
	for _, e := range es {
		out = append(out, e.Records...)
	}
	return out
}
