package session

import (
	"strings"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

// Setting is what an answer is reckoned with, each part with its source.
type Setting struct {
	// Site is where the mount stands, SiteName what the gear file calls the place,
	// "" when it knows none within a kilometre. Settled is false while nobody has
	// said where: there are no answers then.
	Site       place.Site
	SiteName   string
	SiteSource Source
	Settled    bool

	Air       place.Air
	AirSource Source

	// Times says in the reader's words where the frames' times come from; OneTime
	// is set when one time was told for all frames.
	Times   string
	OneTime bool
	Zone    *time.Location // in which times are told

	Pole axis.PoleKind
	King *King // in place of Pole

	Tolerance       sphere.Angle
	ToleranceSource Source

	Mount     gear.Mount
	MountName string
	Manner    axis.Manner // what the gear file or the journal says of its scatter
}

// South reports whether the site's elevated pole is the southern one.
func (s *Setting) South() bool { return s.Site.Lat < 0 }

// PoleAt is the pole aimed at, as it stands at a place and time.
func (s *Setting) PoleAt(p *place.Place) sphere.Local {
	switch {
	case s.King != nil:
		return s.King.Pole
	case s.Pole == axis.True:
		return p.TruePole()
	}
	return p.RefractedPole()
}

// usualTolerance suits most portable set-ups (common practice, no source).
const usualTolerance = sphere.Arcminute

// What counts as a tolerance at all, as in the gear file.
const (
	leastTolerance = 0.01 * sphere.Arcminute
	mostTolerance  = 600 * sphere.Arcminute
)

// settleGear settles what needs no frame: tolerance and mount.
func (s *Setting) settleGear(t *Told, g gear.Gear) error {
	name, m, ok := gear.Pick(g.Mounts, t.Mount, g.Default.Mount)
	if !ok && t.Mount != "" {
		return &Unsettled{Kind: NoSuchMount, Name: t.Mount, Known: g.Names(gear.KindMount)}
	}
	if t.AltPerTurn > 0 {
		m.AltPerTurn = t.AltPerTurn
	}
	if t.AzPerTurn > 0 {
		m.AzPerTurn = t.AzPerTurn
	}
	s.Mount, s.MountName = m, ""
	if ok {
		s.MountName = name
		s.Manner.Scatter = sphere.Angle(m.Scatter) * sphere.Arcsecond
	}
	return s.settleTolerance(t, g)
}

// learn takes from the journal how the mount's frames scattered on other evenings,
// when the gear file does not say. Of a journal that cannot be read nothing is learnt;
// writing to it will tell.
func (s *Setting) learn(c *Config) {
	if s.MountName == "" || s.Manner.Scatter > 0 || c.Journal == "" {
		return
	}
	now := time.Now
	if c.Now != nil {
		now = c.Now
	}
	records, _, err := journal.Read(c.Journal)
	if err != nil {
		return
	}
	arcsec, evenings := journal.Scatter(records, s.MountName, now())
	s.Manner = axis.Manner{Scatter: sphere.Angle(arcsec) * sphere.Arcsecond, Evenings: evenings}
}

func (s *Setting) settleTolerance(t *Told, g gear.Gear) error {
	s.Tolerance, s.ToleranceSource = usualTolerance, Source{Kind: Assumed}
	switch {
	case t.Tolerance != nil:
		x := sphere.Angle(*t.Tolerance) * sphere.Arcminute
		if !(x >= leastTolerance && x <= mostTolerance) {
			return &Unsettled{Kind: ToleranceOutOfRange, Value: *t.Tolerance, Limit: mostTolerance.Arcminutes()}
		}
		s.Tolerance, s.ToleranceSource = x, Source{Kind: FromPerson}
	case t.Auto || g.Tolerance.Auto:
		allowed, name, err := g.AutoTolerance(t.Camera)
		if err != nil {
			return err
		}
		s.Tolerance, s.ToleranceSource = sphere.Angle(allowed)*sphere.Arcminute, Source{Kind: FromCamera, Name: name}
	case g.Tolerance.Arcmin > 0:
		s.Tolerance, s.ToleranceSource = sphere.Angle(g.Tolerance.Arcmin)*sphere.Arcminute, Source{Kind: FromGear}
	}
	return nil
}

// Limits of what counts as one place (common practice, no source).
const (
	// farApart is between two statements of one site that are not the same place.
	farApart = 0.1 * sphere.Degree
	// nearby is within about a kilometre: the gear file's place of that name.
	nearby = 0.01 * sphere.Degree
)

// settleSite settles where the frames were taken: what the person says, else
// what their headers state, else, where they state nothing, the gear file. Frames of
// elsewhere are left out. It does nothing once the site is settled.
func (s *Setting) settleSite(t *Told, g gear.Gear, frames []*Frame) error {
	if s.Settled {
		return nil
	}
	site, source, err := toldSite(t, g)
	if err != nil {
		return err
	}
	name := t.SiteName
	if source.Kind == NoSource {
		if site, source, err = headerSite(frames); err != nil {
			return err
		}
	}
	if source.Kind == NoSource {
		if err := unreadSite(frames); err != nil {
			return err
		}
		if n, thing, ok := gear.Pick(g.Sites, "", g.Default.Site); ok {
			site, source, name = thing.Place(), Source{Kind: FromGear, Name: n}, n
		}
	}
	if source.Kind == NoSource {
		return &Unsettled{Kind: WhereUnknown}
	}
	if t.Elev != nil {
		site.Elev = *t.Elev
	}
	if err := site.Check(); err != nil {
		return &Unsettled{Kind: BadPlace, Err: err}
	}
	if name == "" {
		name = nameOf(g, site)
	}
	air, airSource, err := t.air(site)
	if err != nil {
		return err
	}
	s.Site, s.SiteName, s.SiteSource, s.Settled = site, name, source, true
	s.Air, s.AirSource = air, airSource
	return nil
}

// toldSite returns the site that the person said.
func toldSite(t *Told, g gear.Gear) (site place.Site, source Source, err error) {
	switch {
	case t.Site != nil && t.SiteName != "":
		return site, source, &Unsettled{Kind: TwoPlaces, Name: t.SiteName}
	case t.Site != nil:
		return *t.Site, Source{Kind: FromPerson}, nil
	case t.SiteName != "":
		thing, ok := g.Sites[t.SiteName]
		if !ok {
			return site, source, &Unsettled{Kind: NoSuchSite, Name: t.SiteName, Known: g.Names(gear.KindSite)}
		}
		return thing.Place(), Source{Kind: FromGear, Name: t.SiteName}, nil
	}
	return site, source, nil
}

// headerSite returns the site that most of the frames state; those that state
// another are left out. Where no place has more frames than any other, nobody
// can tell which is meant.
func headerSite(frames []*Frame) (site place.Site, source Source, err error) {
	var groups [][]*Frame
	for _, f := range frames {
		if f.Miss != nil || f.siteTold() == nil {
			continue
		}
		at := -1
		for i, g := range groups {
			if apart(placeOf(g[0]), placeOf(f)) <= farApart {
				at = i
			}
		}
		if at < 0 {
			at = len(groups)
			groups = append(groups, nil)
		}
		groups[at] = append(groups[at], f)
	}
	if len(groups) == 0 {
		return site, source, nil
	}
	best := 0
	for i, g := range groups {
		if len(g) > len(groups[best]) {
			best = i
		}
	}
	first := groups[best][0]
	for i, g := range groups {
		if i == best {
			continue
		}
		d := apart(placeOf(first), placeOf(g[0]))
		if len(g) == len(groups[best]) {
			return site, source, &Unsettled{Kind: SitesDiffer, Name: first.Name, Other: g[0].Name, Apart: d}
		}
		for _, f := range g {
			f.miss(Miss{Kind: OtherSite, Other: first.Name, Apart: d})
		}
	}
	return placeOf(first), Source{Kind: FromHeader, Name: first.Name, Text: first.siteTold().Source}, nil
}

// unreadSite is the error of a frame that states a site which cannot be read or cannot
// be: the default site of the gear file is no answer to that, it may be elsewhere. Where
// both are 0, as devices write that nobody told, nothing is stated.
func unreadSite(frames []*Frame) error {
	for _, f := range frames {
		if f.Miss == nil && f.Read.SiteErr != nil && !strings.HasPrefix(f.Read.SiteErr.Stated, "0, 0,") {
			return &Unsettled{Kind: SiteUnread, Name: f.Name, Err: f.Read.SiteErr}
		}
	}
	return nil
}

func placeOf(f *Frame) place.Site {
	s := f.siteTold()
	return place.Site{Lat: s.Lat, Lon: s.Lon, Elev: s.Elev}
}

// apart is the angle between two sites as seen from the Earth's middle.
func apart(a, b place.Site) sphere.Angle {
	return sphere.SkyAt(a.Lon, a.Lat).Sep(sphere.SkyAt(b.Lon, b.Lat))
}

// nameOf returns the name of the gear file's site within a kilometre of s, or
// "".
func nameOf(g gear.Gear, s place.Site) string {
	for _, name := range g.Names(gear.KindSite) {
		t := g.Sites[name].Place()
		if (t.Lat-s.Lat).Abs() < nearby && (t.Lon-s.Lon).Wrap().Abs() < nearby {
			return name
		}
	}
	return ""
}

// AirAt returns the air at a site, as told and otherwise standard.
func (t *Told) AirAt(s place.Site) (place.Air, error) {
	a, _, err := t.air(s)
	return a, err
}

// air is AirAt with its source.
func (t *Told) air(s place.Site) (place.Air, Source, error) {
	a := place.StandardAir(s.Elev)
	source := Source{Kind: Assumed}
	if t.Pressure != nil {
		a.Pressure = *t.Pressure
	}
	if t.Temp != nil {
		a.Temp = *t.Temp
	}
	if t.Humidity != nil {
		a.Humidity = *t.Humidity
	}
	switch p, c := t.Pressure != nil, t.Temp != nil; {
	case p && *t.Pressure == 0:
		a.Err, source.Kind = 0, NoAir
	case p && c:
		a.Err, source.Kind = 0, FromPerson
	case p || c:
		a.Err, source.Kind = place.Weather(!p, !c), Partly
	}
	if err := a.Check(); err != nil {
		return a, source, &Unsettled{Kind: BadAir, Err: err}
	}
	return a, source, nil
}

// Unsettled is a part of the setting that cannot be settled: the person must say
// more, or something else.
type Unsettled struct {
	Kind         UnsettledKind
	Name, Other  string
	Known        []string // names that the gear file has
	Value, Limit float64
	Apart        sphere.Angle
	Err          error
}

// UnsettledKind is a kind of what cannot be settled.
type UnsettledKind int

// The kinds.
const (
	WhereUnknown        UnsettledKind = iota // nobody says where the frames were taken
	SiteUnread                               // Err: what the header of Name says of the site cannot be used
	SitesDiffer                              // frames Name and Other state sites Apart
	TwoPlaces                                // a place and the gear file's Name are both told
	NoSuchSite                               // the gear file has no site called Name
	NoSuchMount                              // nor a mount
	ToleranceOutOfRange                      // Value, arcmin
	BadPlace                                 // Err: latitude, longitude or elevation out of range
	BadAir                                   // Err: pressure, temperature or humidity out of range
	NoTarget                                 // King's pole, but of which target?
	NeverUp                                  // the target called Name is never as high as Limit degrees tonight
	KingFails                                // Err: King's pole cannot be reckoned
	GearBroken                               // Err: the gear file cannot be read, and is needed
)

func (u *Unsettled) Error() string {
	if u.Err != nil {
		return u.Err.Error()
	}
	return "the setting is not settled" // words say what is missing
}

func (u *Unsettled) Unwrap() error { return u.Err }
