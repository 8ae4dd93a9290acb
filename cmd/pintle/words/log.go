package words

import (
	"fmt"
	"math"
	"strings"
	"time"

	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

const LogLong = `Every measurement and every adjustment is kept in a journal. "pintle log" lists
its evenings (from noon to noon at the site) and what they say together: how
repeatable your set-up is, and which way it usually errs. With a date it shows
that evening. Damaged lines are named and left out; the others stay.`

const LogExample = `  pintle log
  pintle log 2026-11-27
  pintle log --csv all.csv`

// Evening names what of the journal was asked for.
func Evening(date, site string) string {
	switch {
	case site == "":
		return date
	case date == "":
		return fmt.Sprintf("site %q", site)
	}
	return fmt.Sprintf("%s at %q", date, site)
}

// arcmin is a number of the journal, arcminutes.
func arcmin(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Arcminute }

// SigmaOf writes a standard error of the journal.
func SigmaOf(minutes float64) string { return Sigma(arcmin(minutes)) }

// Within says how an error stands to the tolerance.
func Within(yes bool) string {
	if yes {
		return "within"
	}
	return "not within"
}

// Habit says what several evenings at one site have in common; nothing when
// they are fewer than three.
func Habit(h journal.Habit) []string {
	if h.Evenings < 3 {
		return nil
	}
	out := []string{fmt.Sprintf("%s, %d evenings: you set up to %.1f' of the pole (median) and leave it at %.2f'.", h.Site.Title(), h.Evenings, h.FirstMid, h.LastMid)}
	s := fmt.Sprintf("Evenings scatter by %.1f' about their mean", h.Scatter)
	if !h.Usual() {
		return append(out, s+"; no direction stands out.")
	}
	up, right := "high", "clockwise (seen from above)"
	if h.Up < 0 {
		up = "low"
	}
	if h.Right < 0 {
		right = "counter-clockwise (seen from above)"
	}
	var usual []string
	if math.Abs(h.Up) > 3*h.SigUp {
		usual = append(usual, fmt.Sprintf("%.1f' ± %.1f' too %s", math.Abs(h.Up), h.SigUp, up))
	}
	if math.Abs(h.Right) > 3*h.SigRight {
		usual = append(usual, fmt.Sprintf("%.1f' ± %.1f' too far %s", math.Abs(h.Right), h.SigRight, right))
	}
	return append(out, s+", which is", strings.Join(usual, " and ")+": allow for it when you set up.")
}

// Date writes an evening's date for people.
func Date(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.Format("2 January 2006")
}
