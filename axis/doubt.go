package axis

import (
	"cmp"
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
	doubtOdds  = 6.0
	refuseOdds = 12.0
	// tieOdds is how far behind the best an alternative still fits.
	tieOdds = 5.0
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
// when there is nothing to doubt, or when the frames cannot tell; only LogOdds is
// then filled in.
//
// By simulation fewer than one honest night in 1000 is doubted.
func DoubtSite(ss []Sighting) (d SiteDoubt, ok bool) {
	if checkTogether(ss) != nil {
		return d, false
	}
	d.Unseen = Unseeable(ss)
	for _, c := range d.Unseen {
		d.Refused = d.Refused || c.Refuses()
	}
	d.weigh(ss)
	if len(d.Unseen) == 0 && d.LogOdds <= doubtOdds {
		d.Fits = nil
		return d, false
	}
	return d, true
}

// weigh fills in the odds and the alternatives that fit.
func (d *SiteDoubt) weigh(ss []Sighting) {
	if len(ss) == 0 {
		return
	}
	told := ss[0].Place.Site()
	outlooks := outlooksOf(ss)
	var able []Alternative
	for _, a := range alternatives(told) {
		if a.seeable(told, outlooks) {
			able = append(able, a)
		}
	}
	d.compare(ss, told, Alternative{Site: told}, able)
	if best := mostLikely(able); best != nil && d.below() {
		// What lies below the horizon is too uncertain to judge the others by.
		if right, ok := best.applied(ss); ok {
			d.compare(right, told, *best, able)
		}
	}
	d.Refused = d.Refused || d.LogOdds > refuseOdds
	d.Fits = fitting(able)
}

// compare fills in the odds of the alternatives against what was told, from the
// sightings as they are under one of them.
func (d *SiteDoubt) compare(ss []Sighting, told place.Site, under Alternative, as []Alternative) {
	e, ok := newEvidence(ss)
	if !ok {
		return
	}
	from := under.stance(told).late
	likelihood := func(a Alternative) float64 {
		s := a.stance(told)
		s.late -= from
		return e.logLikelihood(s)
	}
	asTold := likelihood(Alternative{Site: told})
	d.LogOdds = 0
	for i := range as {
		as[i].LogOdds = likelihood(as[i]) - asTold
		d.LogOdds = max(d.LogOdds, as[i].LogOdds)
	}
}

// below reports whether anything told lies below the horizon.
func (d *SiteDoubt) below() bool {
	return slices.ContainsFunc(d.Unseen, func(c Contradiction) bool { return c.Kind == BelowHorizon || c.Kind == StarsBelow })
}

// applied returns the sightings with the mistake put right.
func (a *Alternative) applied(ss []Sighting) (right []Sighting, ok bool) {
	right = slices.Clone(ss)
	for i := range right {
		p, err := place.At(ss[i].Place.Time().Add(a.Shift), a.Site, ss[i].Place.Air())
		if err != nil {
			return nil, false
		}
		right[i].Place = p
	}
	return right, true
}

func mostLikely(as []Alternative) (best *Alternative) {
	for i := range as {
		if best == nil || as[i].likely() > best.likely() {
			best = &as[i]
		}
	}
	return best
}

func outlooksOf(ss []Sighting) []outlook {
	outlooks := make([]outlook, len(ss))
	for i := range ss {
		outlooks[i] = ss[i].outlook()
	}
	return outlooks
}

// likely is the log odds, with how common the mistake is to begin with.
func (a *Alternative) likely() float64 {
	if a.Mistake == ClockOff {
		return a.LogOdds - rarer
	}
	return a.LogOdds
}

// fitting returns those of the alternatives that the stars do not tell from the
// best, the mostLikely first. Clock errors that follow each other become one.
func fitting(as []Alternative) (fits []Alternative) {
	best := mostLikely(as)
	var runs []Alternative
	for _, a := range as {
		if a.likely() < best.likely()-tieOdds {
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
func (a *Alternative) seeable(told place.Site, outlooks []outlook) bool {
	sky, sun := a.stance(told).fromTold(told.Lat), a.underSun(told).fromTold(told.Lat)
	for i := range outlooks {
		if outlooks[i].unseeable(sky, sun) != nil {
			return false
		}
	}
	return true
}
