package main

import (
	"fmt"
	"os"
	"time"

	"github.com/spf13/pflag"

	"pintle/axis/place"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// loadGear reads the gear file; a user without one has no gear.
func (a *app) loadGear() (*gear.File, error) {
	path, err := a.gearPath()
	if err != nil {
		return nil, err
	}
	f, err := gear.Load(path)
	return f, err
}

// knownGear is loadGear for verbs that can do without: a machine that has no
// folder for settings has no gear.
func (a *app) knownGear() (*gear.File, error) {
	if _, err := os.UserConfigDir(); err != nil {
		return &gear.File{}, nil
	}
	return a.loadGear()
}

// homeFlags say where and when, for verbs that need no photographs: flags, or
// a site of the gear file.
type homeFlags struct {
	siteFlags
	at   string
	zone string
}

func (f *homeFlags) add(fs *pflag.FlagSet) {
	f.siteFlags.add(fs)
	fs.StringVar(&f.at, "at", "", "`time`: 21:30 is today, or such as 2026-11-27T20:30:00Z (default: now)")
	fs.StringVar(&f.zone, "time-zone", "", "zone of the times: a name such as Europe/Athens, or an offset such as +02:00 (default: the computer's)")
}

// home is the answer of homeFlags.
type home struct {
	site   place.Site
	name   string // of the site; "" when given on the command line
	blocks string // file of what blocks the sky, from the gear
	air    place.Air
	zone   *time.Location
	at     time.Time
	given  bool // the time was given
}

func (f *homeFlags) home(a *app, g gear.Gear) (h home, err error) {
	if f.fs.Changed("lat") || f.fs.Changed("lon") {
		if f.name != "" {
			return h, words.PlainError(&session.Unsettled{Kind: session.TwoPlaces, Name: f.name})
		}
		if h.site, err = f.place(); err != nil {
			return h, err
		}
	} else {
		name, s, ok := gear.Pick(g.Sites, f.name, g.Default.Site)
		switch {
		case !ok && name != "":
			return h, hint(fmt.Errorf("no site called %q in the gear file", name), known(g.Names(gear.KindSite), "pintle gear add site NAME --lat 52.1 --lon 13.2 --elev 40"))
		case !ok:
			return h, hint(fmt.Errorf("where?"), "give --lat and --lon (and --elev), or tell it once: pintle gear add site NAME --lat 52.1 --lon 13.2 --elev 40")
		}
		h.site, h.name, h.blocks = s.Place(), name, s.Blind
		if f.fs.Changed("elev") {
			h.site.Elev = f.elev
		}
		if err := h.site.Check(); err != nil {
			return h, hint(err, "check --elev")
		}
	}
	var t session.Told
	if err := f.tell(&t); err != nil {
		return h, err
	}
	if h.air, err = t.AirAt(h.site); err != nil {
		return h, words.PlainError(err)
	}
	h.zone = a.now().Location()
	if f.zone != "" {
		if h.zone, err = parseZone(f.zone); err != nil {
			return h, err
		}
	}
	h.at = a.now()
	if f.at != "" {
		if h.at, err = parseAt(f.at, a.now().In(h.zone), h.zone); err != nil {
			return h, err
		}
		h.given = true
	}
	h.at = h.at.In(h.zone)
	return h, nil
}

// place prepares the sky at a time.
func (h home) place(t time.Time) (*place.Place, error) {
	p, err := place.At(t, h.site, h.air)
	if err != nil {
		return nil, hint(err, "check --at and the site")
	}
	return p, nil
}

// readDate reads a date in a zone and returns its noon.
func readDate(s string, zone *time.Location) (time.Time, error) {
	t, err := time.ParseInLocation(time.DateOnly, s, zone)
	if err != nil {
		return t, hint(fmt.Errorf("%q is not a date", s), "write it like 2026-11-27")
	}
	return t.Add(12 * time.Hour), nil
}
