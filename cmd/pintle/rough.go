package main

import (
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"pintle/axis/compass"
	"pintle/axis/place"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/targets"
	"pintle/index/sphere"
)

// steel is how far a compass is off near a mount, a car or a fence, and
// nearSteel by how much at worst (common practice, no source).
const (
	steel     = 2 * sphere.Degree
	nearSteel = 3 * sphere.Degree
)

// rough is everything the set-up by day is printed from.
type rough struct {
	home
	date      time.Time // noon of the day, or the time asked for
	south     bool
	true_     sphere.Local // the elevated pole without air
	refracted sphere.Local
	compass   compass.Reading
	facing    sphere.Angle // true azimuth to face
	mountName string
	mount     gear.Mount
	sun       []pointer
	star      *pointer
	asked     bool // one time was asked for
}

// pointer is a body that shows a direction without a compass.
type pointer struct {
	name    string
	at      time.Time
	az, alt sphere.Angle
}

// shadow is the azimuth to which a plumb line's shadow falls.
func (p pointer) shadow() sphere.Angle { return (p.az + sphere.Angle(halfTurn)).Turn() }

const halfTurn = 180 * sphere.Degree

// Limits of the Sun's altitude between which a shadow is used: lower it is
// faint and long, higher the line is too short to sight along.
const (
	lowSun  = 4 * sphere.Degree
	highSun = 75 * sphere.Degree
)

func (a *app) roughCommand() *cobra.Command {
	var f homeFlags
	var date, mount, star string
	var plain, asJSON bool
	c := &cobra.Command{
		Use:     "rough",
		Short:   "set the mount up by day: compass bearing, altitude scale, the Sun's shadow",
		Long:    textRoughLong,
		Example: textRoughExample,
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			g, err := a.knownGear()
			if err != nil {
				return err
			}
			h, err := f.home(a, g.Gear)
			if err != nil {
				return err
			}
			r, err := newRough(h, g.Gear, date, mount, star)
			if err != nil {
				return err
			}
			if asJSON {
				return a.roughJSON(r)
			}
			a.showRough(r, plain)
			return nil
		},
	}
	f.add(c.Flags())
	fs := c.Flags()
	fs.StringVar(&date, "date", "", "`day` of the set-up, such as 2026-11-27 (default: today)")
	fs.StringVar(&mount, "mount", "", "a `mount` of the gear file (default: its default mount)")
	fs.StringVar(&star, "star", "", "also the azimuth of a bright `star` at --at, such as Vega")
	fs.BoolVar(&plain, "print", false, "plain text that fits one printed page")
	fs.BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}

func newRough(h home, g gear.Gear, date, mount, star string) (*rough, error) {
	r := &rough{home: h, date: h.at, asked: h.given}
	if date != "" {
		noon, err := readDate(date, h.zone)
		if err != nil {
			return nil, err
		}
		if h.given {
			return nil, hint(fmt.Errorf("--date and --at are both given"), "--date for a whole day, --at for one moment")
		}
		r.date = noon
	}
	var ok bool
	if r.mountName, r.mount, ok = gear.Pick(g.Mounts, mount, g.Default.Mount); !ok && mount != "" {
		return nil, hint(fmt.Errorf("no mount called %q in the gear file", mount), known(g.Names(gear.KindMount), "pintle gear add mount NAME --az-range 14"))
	}
	p, err := h.place(r.date)
	if err != nil {
		return nil, err
	}
	r.south, r.true_, r.refracted = p.South(), p.TruePole(), p.RefractedPole()
	if r.south {
		r.facing = halfTurn
	}
	if r.compass, err = compass.At(h.site.Lat, h.site.Lon, h.site.Elev, compass.Year(r.date)); err != nil {
		return nil, hint(err, "check --date, --at and the site")
	}
	if r.sun, err = r.sunTable(p); err != nil {
		return nil, err
	}
	return r, r.addStar(star)
}

// sunTable lists the Sun at the full hours of the day, or at the moment asked
// for.
func (r *rough) sunTable(p *place.Place) ([]pointer, error) {
	if r.asked {
		az, alt := p.Sun().Seen.AzAlt()
		return []pointer{{"Sun", r.date, az, alt}}, nil
	}
	var out []pointer
	y, m, d := r.date.Date()
	for hour := range 24 {
		at := time.Date(y, m, d, hour, 0, 0, 0, r.zone)
		p, err := r.place(at)
		if err != nil {
			return nil, err
		}
		az, alt := p.Sun().Seen.AzAlt()
		if alt > lowSun && alt < highSun {
			out = append(out, pointer{"Sun", at, az, alt})
		}
	}
	if len(out) > mostHours { // a page is a page, also where the Sun does not set
		out = slices.DeleteFunc(out, func(p pointer) bool { return p.at.Hour()%2 == 1 })
	}
	return out, nil
}

// mostHours is how many lines the table of the Sun may have.
const mostHours = 16

func (r *rough) addStar(name string) error {
	if name == "" {
		return nil
	}
	t, err := targets.Find(name)
	if err != nil {
		return hint(err, "a bright star such as Vega")
	}
	p, err := r.place(r.date)
	if err != nil {
		return err
	}
	az, alt := p.Observed(t.Pos).AzAlt()
	if alt < lowSun {
		return hint(fmt.Errorf("%s stands at altitude %.0f° at %s", t.Name, alt.Degrees(), r.date.Format("2006-01-02 15:04 MST")), "choose another star, or another time with --at")
	}
	r.star = &pointer{t.Name, r.date, az, alt}
	return nil
}

// covers says whether half the azimuth adjuster's range makes good a compass
// near steel; known is false when the range is not in the gear file.
func (r *rough) covers() (covered, known bool) {
	if r.mount.AzRange == 0 {
		return false, false
	}
	return r.mount.AzRange/2 >= nearSteel.Degrees(), true
}

func (r *rough) reachable() (ok, known bool) {
	if r.mount.AltMax == 0 {
		return false, false
	}
	_, alt := r.refracted.AzAlt()
	d := alt.Degrees()
	return d >= r.mount.AltMin && d <= r.mount.AltMax, true
}

type pointerJSON struct {
	Name   string  `json:"name"`
	Time   string  `json:"time"`
	Az     float64 `json:"az_deg"`
	Alt    float64 `json:"alt_deg"`
	Shadow float64 `json:"shadow_az_deg"`
	ToPole float64 `json:"shadow_to_pole_deg"` // clockwise positive
}

func (r *rough) pointerJSON(p pointer) pointerJSON {
	return pointerJSON{p.name, p.at.Format(time.RFC3339), p.az.Degrees(), p.alt.Degrees(), p.shadow().Degrees(), (r.facing - p.shadow()).Wrap().Degrees()}
}

func (a *app) roughJSON(r *rough) error {
	type out struct {
		Date        string        `json:"date"`
		Lat         float64       `json:"lat_deg"`
		Lon         float64       `json:"lon_deg"`
		Elev        float64       `json:"elev_m"`
		Facing      string        `json:"facing"`
		TrueBearing float64       `json:"true_bearing_deg"`
		Magnetic    float64       `json:"magnetic_bearing_deg"`
		Declination float64       `json:"declination_deg"`
		Sigma       float64       `json:"declination_sigma_deg"`
		Horizontal  float64       `json:"horizontal_field_nt"`
		Zone        string        `json:"compass"`
		Outside     float64       `json:"years_outside_model"`
		Scale       float64       `json:"altitude_scale_deg"`
		Refracted   float64       `json:"refracted_pole_alt_deg"`
		Sun         []pointerJSON `json:"sun"`
		Star        *pointerJSON  `json:"star"`
	}
	_, trueAlt := r.true_.AzAlt()
	_, seenAlt := r.refracted.AzAlt()
	o := out{
		Date: r.date.Format(time.DateOnly), Lat: r.site.Lat.Degrees(), Lon: r.site.Lon.Degrees(), Elev: r.site.Elev,
		Facing: r.facingName(), TrueBearing: r.facing.Degrees(), Magnetic: r.compass.Bearing(r.facing).Degrees(),
		Declination: r.compass.D.Degrees(), Sigma: r.compass.Sigma().Degrees(), Horizontal: r.compass.H,
		Zone: zoneName(r.compass.Zone()), Outside: r.compass.Outside, Scale: trueAlt.Degrees(), Refracted: seenAlt.Degrees(), Sun: []pointerJSON{},
	}
	for _, p := range r.sun {
		o.Sun = append(o.Sun, r.pointerJSON(p))
	}
	if r.star != nil {
		o.Star = ref(r.pointerJSON(*r.star))
	}
	return a.print(o)
}

func (r *rough) facingName() string {
	if r.south {
		return "south"
	}
	return "north"
}

func zoneName(z compass.Zone) string {
	return [...]string{"good", "caution", "useless"}[z]
}
