package evening

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"

	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/planning"
)

// Draw takes over what blocks the sky as it was drawn: points of azimuth and
// altitude, degrees, that are joined by straight lines, the last one with the
// first. None takes it back.
func (e *Evening) Draw(points [][2]float64) error {
	text, err := blocksOf(points)
	if err != nil {
		return err
	}
	return e.change(func(k *kept) error { k.Blocks, k.Drawn = text, points; return nil })
}

// WriteBlocks takes over what blocks the sky as text, a line for each stretch: first
// azimuth, last azimuth, lowest clear altitude, degrees.
func (e *Evening) WriteBlocks(text string) error {
	if len(text) > 1<<16 {
		return advice.With(fmt.Errorf("%d letters for what blocks the sky, the limit is %d", len(text), 1<<16), "a line for each stretch")
	}
	if _, err := parseBlocks(text); err != nil {
		return err
	}
	return e.change(func(k *kept) error { k.Blocks, k.Drawn = text, nil; return nil })
}

func parseBlocks(text string) (plan.Skyline, error) {
	s, err := plan.ParseSkyline(strings.NewReader(text))
	return s, advice.With(err, "a line for each stretch: first azimuth, last azimuth, lowest clear altitude, in degrees, such as 80 140 35")
}

// drawStep is how finely a drawn line becomes stretches, degrees; a finger is no
// finer. mostDrawn bounds its points.
const (
	drawStep  = 5
	mostDrawn = 1000
)

// blocksOf makes stretches of a drawn line: in each the line's highest altitude,
// rounded up, so that nothing is promised that is blocked.
func blocksOf(points [][2]float64) (string, error) {
	if len(points) > mostDrawn {
		return "", advice.With(fmt.Errorf("%d points drawn, the limit is %d", len(points), mostDrawn), "draw it with fewer")
	}
	for _, p := range points {
		if !(p[0] >= 0 && p[0] <= 360) || !(p[1] >= 0 && p[1] <= 90) {
			return "", advice.With(fmt.Errorf("a point at azimuth %g, altitude %g is outside 0 to 360 and 0 to 90", p[0], p[1]), "draw within the frame")
		}
	}
	if len(points) == 0 {
		return "", nil
	}
	line := slices.Clone(points)
	slices.SortStableFunc(line, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
	var b strings.Builder
	for from := 0.0; from < 360; from += drawStep {
		top := 0.0
		for k := range 2*drawStep + 1 {
			top = math.Max(top, heightAt(line, from+float64(k)/2))
		}
		if alt := math.Ceil(top - 1e-9); alt > 0 {
			fmt.Fprintf(&b, "%g %g %g\n", from, from+drawStep, alt)
		}
	}
	return b.String(), nil
}

// heightAt is the height of a line, its points ordered by azimuth, at an azimuth.
func heightAt(line [][2]float64, az float64) float64 {
	n := len(line)
	i, _ := slices.BinarySearchFunc(line, az, func(p [2]float64, az float64) int { return cmp.Compare(p[0], az) })
	a, b := line[(i+n-1)%n], line[i%n]
	if i == 0 {
		a[0] -= 360
	}
	if i == n {
		b[0] += 360
	}
	if b[0] == a[0] {
		return math.Max(a[1], b[1])
	}
	return a[1] + (b[1]-a[1])*(az-a[0])/(b[0]-a[0])
}

// skyline is what blocks the sky: as told on this evening, else the file that the
// gear file names for the place.
func (e *Evening) skyline() (plan.Skyline, error) {
	e.mu.Lock()
	text, p := e.kept.Blocks, e.kept.Place
	e.mu.Unlock()
	if text != "" {
		return parseBlocks(text)
	}
	g, err := gear.Load(e.c.Gear)
	if err != nil {
		return nil, nil // it is told elsewhere
	}
	name := ""
	if p != nil {
		if name = p.Name; name == "" {
			return nil, nil
		}
	}
	_, site, ok := gear.Pick(g.Gear.Sites, name, g.Gear.Default.Site)
	if !ok || site.Blind == "" {
		return nil, nil
	}
	s, err := planning.Skyline(site.Blind)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	return s, err
}
