package main

import (
	"sort"
	"time"

	"pintle/index/sphere"
)

// Limits of what is said about times (common practice, no source).
const (
	clockGap  = 3 * time.Hour          // between two frames of one measurement
	clockSame = 200 * time.Millisecond // hardly time to turn a mount
	turnedFor = 1 * sphere.Degree      // and this much was turned in it
)

// health says what time, site and frames together make impossible. The fit
// cannot see it: a wrong clock turns the whole sky about the pole, axis and all.
func (m *measurement) health() []string {
	if m.result == nil {
		return nil
	}
	return append(m.sunUp(), m.clockSteps()...)
}

// sunUp names the first frame taken, by its time and site, in daylight.
func (m *measurement) sunUp() []string {
	for _, s := range m.fitFrames {
		if _, alt := s.Place.Sun().Seen.AzAlt(); alt > 0 {
			return []string{sunUpWords(s.Name, alt)}
		}
	}
	return nil
}

// clockSteps names pairs of frames between which the clock stood still while
// the mount turned, or jumped.
func (m *measurement) clockSteps() (out []string) {
	var order []int
	for i, f := range m.result.Frames {
		if f.Used {
			order = append(order, i)
		}
	}
	at := func(i int) time.Time { return m.result.Frames[order[i]].Time }
	sort.SliceStable(order, func(i, k int) bool { return at(i).Before(at(k)) })
	for i := 1; i < len(order); i++ {
		a, b := &m.result.Frames[order[i-1]], &m.result.Frames[order[i]]
		turn := (b.Turn - a.Turn).Wrap().Abs()
		switch gap := b.Time.Sub(a.Time); {
		case gap > clockGap:
			out = append(out, clockGapWords(a.Name, b.Name, gap))
		case gap < clockSame && turn > turnedFor && !m.oneTime:
			out = append(out, clockStoodWords(a.Name, b.Name, turn))
		}
	}
	return out
}
