package flags

import (
	"fmt"
	"time"

	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// Home says where and when, for verbs that need no photographs: by flags, or by
// a site of the gear file.
type Home struct {
	Site
	at   string
	zone string
}

// Add adds them.
func (f *Home) Add(fs *pflag.FlagSet) {
	f.Site.Add(fs)
	fs.StringVar(&f.at, "at", "", "`time`: 21:30 is today, or such as 2026-11-27T20:30:00Z (default: now)")
	fs.StringVar(&f.zone, "time-zone", "", "zone of the times: a name such as Europe/Athens, or an offset such as +02:00 (default: the computer's)")
}

// Settle says where and when; now is the computer's time in its zone.
func (f *Home) Settle(now time.Time, g gear.Gear) (h planning.Home, err error) {
	if f.Said() {
		if f.Name != "" {
			return h, words.PlainError(&session.Unsettled{Kind: session.TwoPlaces, Name: f.Name})
		}
		h.Site, err = f.place()
	} else {
		err = f.known(&h, g)
	}
	if err != nil {
		return h, err
	}
	var t session.Told
	if err := f.Tell(&t); err != nil {
		return h, err
	}
	if h.Air, err = t.AirAt(h.Site); err != nil {
		return h, words.PlainError(err)
	}
	return h, f.moment(&h, now)
}

// known takes the site from the gear file.
func (f *Home) known(h *planning.Home, g gear.Gear) error {
	name, s, ok := gear.Pick(g.Sites, f.Name, g.Default.Site)
	switch {
	case !ok && name != "":
		return advice.With(fmt.Errorf("no site called %q in the gear file", name), words.Known(g.Names(gear.KindSite), addSite))
	case !ok:
		return advice.With(fmt.Errorf("the place is not known"), "give --lat and --lon (and --elev), or tell it once: "+addSite)
	}
	h.Site, h.Name, h.Blocks = s.Place(), name, s.Blind
	if f.fs.Changed("elev") {
		h.Site.Elev = f.elev
	}
	return advice.With(h.Site.Check(), "check --elev")
}

// moment settles the time.
func (f *Home) moment(h *planning.Home, now time.Time) (err error) {
	h.Zone, h.At, h.Given = now.Location(), now, f.at != ""
	if f.zone != "" {
		if h.Zone, err = parseZone(f.zone); err != nil {
			return err
		}
	}
	if h.Given {
		if h.At, err = parseAt(f.at, now.In(h.Zone), h.Zone); err != nil {
			return err
		}
	}
	h.At = h.At.In(h.Zone)
	return nil
}

// Date reads a date in a zone and returns its noon.
func Date(s string, zone *time.Location) (time.Time, error) {
	t, err := time.ParseInLocation(time.DateOnly, s, zone)
	if err != nil {
		return t, advice.With(fmt.Errorf("%q is not a date", s), "write it like 2026-11-27")
	}
	return t.Add(12 * time.Hour), nil
}

// addSite makes a site of the gear file.
const addSite = "pintle gear add site NAME --lat 31.4S --lon 121.9E --elev 430"
