package main

import (
	"fmt"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// sightings returns those of all frames; reason says which is not solved.
func (m *measurement) sightings() (out []axis.Sighting, reason string, err error) {
	for _, s := range m.shots {
		if s.sol == nil {
			return nil, words.NotSolved(s.name(), s.why), nil
		}
		p, err := place.At(s.frame.Time.Mid, m.site, m.air)
		if err != nil {
			return nil, "", hint(fmt.Errorf("%s: %w", s.name(), err), "check the frame's time, or give one with --at")
		}
		out = append(out, s.sighting(p))
	}
	return out, "", nil
}

// locateAtHome is locate with the gear file's site behind the flags and the
// frames.
func (a *app) locateAtHome(m *measurement, f *siteFlags) error {
	file, err := a.gearFor(f.name)
	if err != nil {
		return err
	}
	m.gear = file.Gear
	if err := f.named(m.gear); err != nil {
		return err
	}
	if err = m.locate(f); err == nil {
		m.siteName = nameOf(m.gear, m.site)
		return nil
	}
	if f.fs.Changed("lat") || f.fs.Changed("lon") {
		return err
	}
	for _, s := range m.shots {
		if s.frame.Site != nil || s.frame.SiteErr != nil {
			return err
		}
	}
	name, s, ok := gear.Pick(m.gear.Sites, "", m.gear.Default.Site)
	if !ok {
		return err
	}
	m.site, m.siteName, m.siteSource = s.Place(), name, "gear file, "+name
	m.air, m.airSource, err = f.air(m.site)
	return err
}

// nameOf returns the name of the gear file's site within a kilometre of s, or
// "".
func nameOf(g gear.Gear, s place.Site) string {
	for _, name := range g.Names(gear.KindSite) {
		t := g.Sites[name].Place()
		if (t.Lat-s.Lat).Abs() < 0.01*sphere.Degree && (t.Lon-s.Lon).Wrap().Abs() < 0.01*sphere.Degree {
			return name
		}
	}
	return ""
}

// amounts turns the two moves of an offset into turns of the mount's bolts.
func amounts(o axis.Offset, m gear.Mount) [2]gear.Amount {
	_, alt := o.Pole.AzAlt()
	return [2]gear.Amount{m.Alt(-o.Alt, alt), m.Az(-o.AzKnob)}
}
