package axis

import (
	"cmp"
	"math"
	"slices"

	"pintle/axis/place"
)

// SiteDoubt says that the frames do not fit the site and the times told for
// them.
type SiteDoubt struct {
	// Refused is true when they cannot be right, and an answer must not be given.
	// Otherwise they are only doubted.
	Refused bool
	// Unseen is what could not have been seen as told, by horizon and daylight: see
	// Unseeable.
	Unseen []Contradiction
	// LogOdds is the natural logarithm of the odds for the likeliest alternative
	// against what was told, by how refraction squeezes the frames; 0 when that
	// says nothing.
	LogOdds float64
	// Fits are the common mistakes that would explain the frames, and between which
	// they do not decide; the likeliest comes first. None when no common mistake
	// would. Clock errors that follow each other are one alternative.
	Fits []Alternative
}

// Odds by refraction at which the site is doubted, and refused. No source,
// chosen by simulation on 2026-11-28: see TestDoubtHonestNights.
const (
	doubtOdds  = 7.0
	refuseOdds = 14.0
	// tieOdds is how far behind the best an alternative still fits.
	tieOdds = 7.0
	// rarer is by how much a clock wrong by any number of hours is less likely than
	// a wrong sign or zone to begin with.
	rarer = 3.0
)

// DoubtSite asks the frames whether site and clock are told right. It compares
// what was told (the sightings' places) with the common mistakes: wrong signs of
// latitude and longitude, clocks off by half hours up to 14 h, the zone of the
// longitude among them. Three things decide: nothing is seen below the horizon,
// no stars are seen by day, and refraction squeezes the frames along the
// vertical, which wide frames show, and narrow ones low in the sky. ok is false
// when there is nothing to doubt, or when the frames cannot tell.
//
// By simulation fewer than one honest night in 1000 is doubted.
func DoubtSite(ss []Sighting) (d SiteDoubt, ok bool) {
	for i := range ss {
		if ss[i].check() != nil {
			return d, false
		}
	}
	d.Unseen = Unseeable(ss)
	for _, c := range d.Unseen {
		d.Refused = d.Refused || c.Refuses()
	}
	d.weigh(ss)
	return d, len(d.Unseen) > 0 || d.LogOdds > doubtOdds
}

// weigh fills in the odds and the alternatives that fit.
func (d *SiteDoubt) weigh(ss []Sighting) {
	if len(ss) == 0 {
		return
	}
	told := ss[0].Place.Site()
	views := make([]view, len(ss))
	for i := range ss {
		views[i] = ss[i].view()
	}
	var able []Alternative
	for _, a := range alternatives(told) {
		if a.seeable(told, views) {
			able = append(able, a)
		}
	}
	if e, ok := newEvidence(ss); ok {
		asTold := e.logLikelihood(stance{lat: told.Lat})
		for i := range able {
			able[i].LogOdds = e.logLikelihood(able[i].stance(told)) - asTold
			d.LogOdds = max(d.LogOdds, able[i].LogOdds)
		}
	}
	d.Refused = d.Refused || d.LogOdds > refuseOdds
	d.Fits = fitting(able)
}

// likely is the log odds, with how common the mistake is to begin with.
func (a *Alternative) likely() float64 {
	if a.Mistake == ClockOff {
		return a.LogOdds - rarer
	}
	return a.LogOdds
}

// fitting returns those of the alternatives that the stars do not tell from the
// best, the likeliest first. Clock errors that follow each other become one.
func fitting(as []Alternative) (fits []Alternative) {
	best := math.Inf(-1)
	for i := range as {
		best = max(best, as[i].likely())
	}
	var runs []Alternative
	for _, a := range as {
		if a.likely() < best-tieOdds {
			continue
		}
		if a.Shift != 0 {
			runs = joined(runs, a)
		}
		if a.Mistake != ClockOff {
			fits = append(fits, a)
		}
	}
	for _, r := range runs {
		if r.Least < r.Most || !ofZone(r.Shift, r.Site.Lon) {
			fits = append(fits, r)
		}
	}
	slices.SortStableFunc(fits, func(a, b Alternative) int { return cmp.Compare(b.likely(), a.likely()) })
	return fits
}

// joined adds a clock error to the last of the runs, or begins another.
func joined(runs []Alternative, a Alternative) []Alternative {
	n := len(runs) - 1
	if n < 0 || a.Shift-runs[n].Most != shiftStep {
		a.Mistake = ClockOff
		return append(runs, a)
	}
	r := &runs[n]
	r.Most = a.Shift
	if a.LogOdds > r.LogOdds {
		r.Shift, r.LogOdds = a.Shift, a.LogOdds
	}
	return runs
}

// seeable reports whether all frames look above the horizon, in the dark, under
// the alternative.
func (a *Alternative) seeable(told place.Site, views []view) bool {
	sky, sun := a.stance(told).fromTold(told.Lat), a.underSun(told).fromTold(told.Lat)
	for i := range views {
		if views[i].unseeable(sky, sun) != nil {
			return false
		}
	}
	return true
}
