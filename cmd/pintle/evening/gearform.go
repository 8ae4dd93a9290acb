package evening

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/words"
)

// GearForm is one field of a form about gear.
type GearForm struct {
	Key   string `json:"key"` // of the gear file
	Label string `json:"label"`
	Like  string `json:"like"`
	kind  formKind
}

type formKind int

const (
	text   formKind = iota
	number          // with or without a unit
	pixels          // a whole number
	yes             // a box to tick
)

// forms are the fields of each kind of thing, in the order of the form.
var forms = map[string][]GearForm{
	gear.KindSite: {
		{"lat", "latitude", "31°24'S", number}, {"lon", "longitude", "121°54'E", number}, {"elev", "elevation", "430m or 1400ft", number},
	},
	gear.KindCamera: {
		{"focal_mm", "focal length, mm", "400", number}, {"pixel_um", "pixel size, µm", "3.76", number},
		{"width_px", "width, pixels", "6248", pixels}, {"height_px", "height, pixels", "4176", pixels},
		{"exposure_s", "usual exposure, seconds", "180", number}, {"trail_px", "longest trail accepted, pixels", "1", number},
		{"guided", "a guide star is held in both axes", "", yes},
		{"at", "address, when pintle photographs with it", "alpaca://192.168.1.9:11111/camera/0", text},
	},
	gear.KindMount: {
		{"alt_arcmin_per_turn", "altitude bolt: arcminutes a turn", "60", number}, {"alt_clockwise", "turned clockwise it", "raises or lowers", text},
		{"az_arcmin_per_turn", "azimuth bolt: arcminutes a turn", "90", number}, {"az_clockwise", "turned clockwise the axis goes, seen from above", "clockwise or counter-clockwise", text},
		{"alt_min_deg", "lowest altitude, degrees", "20", number}, {"alt_max_deg", "highest altitude, degrees", "65", number},
		{"az_range_deg", "azimuth range from end to end, degrees", "14", number},
	},
}

// Gear is the gear file as forms.
type Gear struct {
	Forms  map[string][]GearForm                   `json:"forms"`
	Things map[string]map[string]map[string]string `json:"things"` // kind, name, key
}

// Gear returns forms and things.
func (e *Evening) Gear() (*Gear, error) {
	g, err := gear.Load(e.c.Gear)
	if err != nil {
		return nil, err
	}
	return &Gear{forms, thingsOf(g.Gear)}, nil
}

// thingsOf fills in the forms: by kind, name and key.
func thingsOf(g gear.Gear) map[string]map[string]map[string]string {
	num := func(x float64) string {
		if x == 0 {
			return ""
		}
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	things := map[string]map[string]map[string]string{gear.KindSite: {}, gear.KindCamera: {}, gear.KindMount: {}}
	for n, s := range g.Sites {
		f := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
		things[gear.KindSite][n] = map[string]string{"lat": f(s.Lat), "lon": f(s.Lon), "elev": f(s.Elev)}
	}
	for n, c := range g.Cameras {
		m := map[string]string{"focal_mm": num(c.Focal), "pixel_um": num(c.Pixel), "width_px": num(float64(c.Width)), "height_px": num(float64(c.Height)),
			"exposure_s": num(c.Exposure), "trail_px": num(c.Trail)}
		if c.Guided {
			m["guided"] = "yes"
		}
		m["at"] = c.At
		things[gear.KindCamera][n] = m
	}
	for n, m := range g.Mounts {
		things[gear.KindMount][n] = map[string]string{"alt_arcmin_per_turn": num(m.AltPerTurn), "alt_clockwise": m.AltSense, "az_arcmin_per_turn": num(m.AzPerTurn),
			"az_clockwise": m.AzSense, "alt_min_deg": num(m.AltMin), "alt_max_deg": num(m.AltMax), "az_range_deg": num(m.AzRange)}
	}
	return things
}

// PutGear keeps a thing in the gear file, by the file's own checks: values are by
// the file's keys, as typed. With replace one of the same name is replaced, and
// what the form does not ask stays as it is.
func (e *Evening) PutGear(kind, name string, values map[string]string, replace bool) error {
	if strings.TrimSpace(name) == "" {
		return advice.With(fmt.Errorf("the name of the %s is missing", words.Short(kind, 20)), "give it a short one, such as garden")
	}
	if err := gear.CheckName(name); err != nil {
		return err
	}
	_, err := gear.Change(e.c.Gear, func(f *gear.File) error {
		thing, err := thingOf(f.Gear, kind, name, values)
		if err != nil {
			return err
		}
		return f.Put(name, thing, replace)
	})
	if err != nil {
		return err
	}
	e.renew()
	e.tell()
	return nil
}

// thingOf reads a form over the thing that is there, if any.
func thingOf(g gear.Gear, kind, name string, values map[string]string) (any, error) {
	fields, ok := forms[kind]
	if !ok {
		return nil, advice.With(fmt.Errorf("no kind of gear is called %s", quote(kind)), "site, camera or mount")
	}
	var b strings.Builder
	fmt.Fprintf(&b, "[%s.x]\n", kind)
	for key, v := range values {
		i := slices.IndexFunc(fields, func(f GearForm) bool { return f.Key == key })
		if i < 0 {
			return nil, advice.With(fmt.Errorf("a %s has no %s", kind, quote(key)), "load the page anew")
		}
		line, err := fields[i].line(strings.TrimSpace(v))
		if err != nil {
			return nil, err
		}
		b.WriteString(line)
	}
	read, err := gear.Parse("", b.String())
	if err != nil {
		return nil, err
	}
	switch kind {
	case gear.KindSite:
		s := read.Sites["x"]
		s.Blind = g.Sites[name].Blind
		return s, nil
	case gear.KindCamera:
		c, was := read.Cameras["x"], g.Cameras[name]
		c.Corner = was.Corner
		if _, told := values["at"]; !told {
			c.At = was.At
		}
		return c, nil
	}
	m, was := read.Mounts["x"], g.Mounts[name]
	m.AltMarks, m.AzMarks, m.At, m.Scatter = was.AltMarks, was.AzMarks, was.At, was.Scatter
	return m, nil
}

// line is a field as a line of the gear file.
func (f GearForm) line(v string) (string, error) {
	switch {
	case v == "" || f.kind == yes && v != "yes":
		return "", nil
	case f.kind == yes:
		return f.Key + " = true\n", nil
	case f.kind == pixels:
		n, err := strconv.Atoi(v)
		if err != nil {
			return "", advice.With(fmt.Errorf("%s: %s is not a whole number", f.Label, quote(v)), "such as "+f.Like)
		}
		return fmt.Sprintf("%s = %d\n", f.Key, n), nil
	case len(v) > 120 || strings.ContainsAny(v, "\n\r\x00"):
		return "", advice.With(fmt.Errorf("%s: %s is too long", f.Label, quote(v)), "such as "+f.Like)
	}
	return fmt.Sprintf("%s = %s\n", f.Key, gear.Quote(v)), nil
}

// UseTolerance sets how far the axis may be off in the gear file: arcminutes, or
// auto.
func (e *Evening) UseTolerance(text string) error {
	t, err := gear.ParseTolerance(text)
	if err != nil {
		return err
	}
	if _, err := gear.Change(e.c.Gear, func(f *gear.File) error { return f.SetTolerance(t) }); err != nil {
		return err
	}
	e.renew()
	e.tell()
	return nil
}
