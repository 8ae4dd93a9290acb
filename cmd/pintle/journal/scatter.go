package journal

import (
	"math"
	"time"
)

// mostEvenings is how many evenings, the latest ones, tell a mount's scatter.
const mostEvenings = 20

// Scatter returns what evenings before t show of the scatter of a mount's frames
// about one rotation, arcsec per axis: the middle of the evenings' own by their
// logarithms. An evening's is the middle of its measurements, whose frames the mount was
// turned between; where none shows it, that of the last series of frames while the
// adjusters were turned. evenings is 0 when none shows it.
func Scatter(records []Record, mount string, t time.Time) (arcsec float64, evenings int) {
	shown := map[string]*shownScatter{}
	var order []string
	for _, r := range records {
		if mount == "" || r.Mount != mount || !(r.Scatter > 0) || math.IsInf(r.Scatter, 0) || !r.Time.Before(t) || r.Kind != Measurement && r.Kind != Adjustment {
			continue
		}
		day := Day(r.Time, r.Site.Lon) + siteKey(r.Site)
		if shown[day] == nil {
			shown[day], order = &shownScatter{}, append(order, day)
		}
		shown[day].add(&r)
	}
	order = order[max(0, len(order)-mostEvenings):]
	sum := 0.0
	for _, day := range order {
		sum += shown[day].log()
	}
	if len(order) == 0 {
		return 0, 0
	}
	return math.Exp(sum / float64(len(order))), len(order)
}

// shownScatter is what one evening shows.
type shownScatter struct {
	sum    float64 // of the logarithms of its measurements' scatter
	count  int
	series float64 // logarithm of the last that a series told
}

func (s *shownScatter) add(r *Record) {
	switch r.Kind {
	case Measurement:
		s.sum += math.Log(r.Scatter)
		s.count++
	case Adjustment: // each tells of all frames before it
		s.series = math.Log(r.Scatter)
	}
}

func (s *shownScatter) log() float64 {
	if s.count == 0 {
		return s.series
	}
	return s.sum / float64(s.count)
}
