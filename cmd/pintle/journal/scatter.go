package journal

import (
	"math"
	"time"
)

// mostEvenings is how many evenings, the latest ones, tell a mount's scatter.
const mostEvenings = 20

// Scatter returns what evenings before t show of the scatter of a mount's frames
// about one rotation, arcsec per axis: the middle of the evenings' own, each the
// middle of its measurements, by their logarithms. evenings is 0 when none shows it.
func Scatter(records []Record, mount string, t time.Time) (arcsec float64, evenings int) {
	sums, counts := map[string]float64{}, map[string]int{}
	var order []string
	for _, r := range records {
		if r.Kind != Measurement || mount == "" || r.Mount != mount || !(r.Scatter > 0) || math.IsInf(r.Scatter, 0) || !r.Time.Before(t) {
			continue
		}
		day := Day(r.Time, r.Site.Lon) + siteKey(r.Site)
		if counts[day] == 0 {
			order = append(order, day)
		}
		sums[day] += math.Log(r.Scatter)
		counts[day]++
	}
	order = order[max(0, len(order)-mostEvenings):]
	sum := 0.0
	for _, day := range order {
		sum += sums[day] / float64(counts[day])
	}
	if len(order) == 0 {
		return 0, 0
	}
	return math.Exp(sum / float64(len(order))), len(order)
}
