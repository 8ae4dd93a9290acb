package plan

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"pintle/index/sphere"
)

// Block is a stretch of the horizon behind which nothing is seen below an
// altitude: from azimuth From through growing azimuth to To.
type Block struct {
	From, To sphere.Angle // azimuths in [0, 2 pi); From > To leads through north
	Alt      sphere.Angle // lowest clear altitude
}

// Skyline is what blocks the sky at a site. Where nothing is said the sky is
// clear down to the horizon; where blocks overlap the higher one counts.
type Skyline []Block

// Lowest returns the lowest clear altitude at an azimuth.
func (s Skyline) Lowest(az sphere.Angle) sphere.Angle {
	az = az.Turn()
	var alt sphere.Angle
	for _, b := range s {
		in := az >= b.From && az <= b.To
		if b.From > b.To {
			in = az >= b.From || az <= b.To
		}
		if in {
			alt = max(alt, b.Alt)
		}
	}
	return alt
}

// Clear is true when nothing blocks the direction.
func (s Skyline) Clear(l sphere.Local) bool {
	az, alt := l.AzAlt()
	return alt >= s.Lowest(az)
}

// maxBlocks bounds the length of a skyline.
const maxBlocks = 3600

// ParseSkyline reads a skyline from text: a line for each stretch with three
// numbers in degrees, its first and last azimuth (north 0, east 90) and the
// lowest clear altitude. "300 20 35" leads through north. Commas and colons
// count as spaces, and what follows a # is a remark. Errors name the line.
func ParseSkyline(r io.Reader) (Skyline, error) {
	var s Skyline
	sc := bufio.NewScanner(r)
	for n := 1; sc.Scan(); n++ {
		line, _, _ := strings.Cut(sc.Text(), "#")
		f := strings.FieldsFunc(line, func(r rune) bool { return strings.ContainsRune(" \t\r,;:", r) })
		if len(f) == 0 {
			continue
		}
		b, err := parseBlock(f)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		if s = append(s, b); len(s) > maxBlocks {
			return nil, fmt.Errorf("line %d: more than %d stretches", n, maxBlocks)
		}
	}
	if err := sc.Err(); err != nil {
		return nil, err
	}
	return s, nil
}

func parseBlock(f []string) (Block, error) {
	if len(f) != 3 {
		return Block{}, fmt.Errorf("%d numbers instead of 3: first azimuth, last azimuth, lowest clear altitude, all in degrees", len(f))
	}
	var x [3]float64
	for i, w := range f {
		v, err := strconv.ParseFloat(strings.TrimSuffix(w, "°"), 64)
		if err != nil || math.IsNaN(v) {
			return Block{}, fmt.Errorf("%q is not a number of degrees", w)
		}
		x[i] = v
	}
	for _, az := range x[:2] {
		if az < -360 || az > 360 {
			return Block{}, fmt.Errorf("azimuth %g is outside -360 to 360", az)
		}
	}
	if x[2] < 0 || x[2] > 90 {
		return Block{}, fmt.Errorf("altitude %g is outside 0 to 90", x[2])
	}
	b := Block{(sphere.Angle(x[0]) * sphere.Degree).Turn(), (sphere.Angle(x[1]) * sphere.Degree).Turn(), sphere.Angle(x[2]) * sphere.Degree}
	if x[1]-x[0] >= 360 { // all round
		b.From, b.To = 0, 2*math.Pi
	} else if x[1] == 360 {
		b.To = 2 * math.Pi
	}
	return b, nil
}
