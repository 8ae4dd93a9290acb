package main

import (
	"fmt"
	"strconv"

	"github.com/spf13/pflag"

	"pintle/axis"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/targets"
	"pintle/index/sphere"
)

// poleKing is the pole that keeps refraction from driving a target north or
// south.
const poleKing = "king"

// toleranceValue reads a tolerance: arcmin, or auto.
type toleranceValue struct{ f *axisFlags }

func (v toleranceValue) String() string {
	if v.f == nil {
		return ""
	}
	if v.f.auto {
		return "auto"
	}
	return strconv.FormatFloat(v.f.tolerance, 'g', -1, 64)
}

func (v toleranceValue) Set(s string) error {
	if s == "auto" {
		v.f.auto = true
		return nil
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return fmt.Errorf("neither a number of arcminutes nor auto")
	}
	v.f.tolerance, v.f.auto = x, false
	return nil
}

func (v toleranceValue) Type() string { return "arcminutes" }

func (f *axisFlags) addTolerance(fs *pflag.FlagSet) {
	f.tolerance = 1
	fs.Var(toleranceValue{f}, "tolerance", "how far off the axis may be, in `arcminutes`, or auto: what the camera's exposures allow")
	fs.StringVar(&f.camera, "camera", "", "the `camera` of the gear file that --tolerance auto goes by (default: its default camera)")
}

// settle fills in, once the site is known, what the gear file says of the
// tolerance, and which pole serves the target.
func (a *app) settle(m *measurement, f *axisFlags) error {
	if f.fs == nil { // not from a command line
		return nil
	}
	t := m.gear.Tolerance
	told := f.fs.Changed("tolerance")
	switch {
	case f.auto || !told && t.Auto:
		x, source, _, err := autoTolerance(m.gear, f.camera)
		if err != nil {
			return err
		}
		m.tolerance, m.toleranceSource = x, source
	case !told && t.Arcmin > 0:
		m.tolerance, m.toleranceSource = t.Arcmin, "gear file"
	}
	if f.pole != poleKing {
		return nil
	}
	k, err := newKingPole(m, f.target, a)
	m.king = k
	return err
}

// kingPole is the pole for one target.
type kingPole struct {
	pole   sphere.Local
	target targets.Target
	gamma  sphere.Angle // above the true pole
}

// newKingPole finds King's pole for the target over the night of the frames.
func newKingPole(m *measurement, tf targetFlags, a *app) (*kingPole, error) {
	t, ok, err := tf.target()
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, hint(fmt.Errorf("--pole king, but for which target?"), "name it with --target, such as --target M42")
	}
	h := home{site: m.site, name: m.siteName, air: m.air, zone: a.now().Location(), at: m.shots[0].frame.Time.Mid}
	s, ok, err := tonight(h, t, sphere.Angle(tf.minAlt)*sphere.Degree)
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, neverUp(t, tf.minAlt, h)
	}
	p, err := h.place(h.at)
	if err != nil {
		return nil, err
	}
	refA, refB := p.RefractionConstants()
	g, err := axis.King{Lat: m.site.Lat, Bend: axis.Bend{A: refA, B: refB}}.PoleFor(s.window)
	if err != nil {
		return nil, hint(err, "raise --min-alt")
	}
	az, alt := p.TruePole().AzAlt()
	return &kingPole{sphere.LocalAt(az, alt+g), t, g}, nil
}

// neverUp is the error for a target that cannot be photographed tonight.
func neverUp(t targets.Target, minAlt float64, h home) error {
	return hint(fmt.Errorf("%s does not stand %.0f° high in a dark sky at %s in the night of %s", t.Title(), minAlt, h.where(), h.at.Format("2 January 2006")),
		"choose another night with --at, another target, or a lower --min-alt")
}

// offset is the axis minus King's pole. What uncertain air does to the
// refracted pole is the larger part of what it does here, so its errors stand.
func (k *kingPole) offset(r *axis.Result) axis.Offset {
	o := r.OffsetFrom(k.pole)
	full := r.Offset(axis.Refracted)
	o.Err, o.By = full.Err, full.By
	return o
}

func (m *measurement) poleName() string {
	if m.king != nil {
		return poleKing
	}
	return poleName(m.pole)
}

// keepFlags say what happens to a measurement beyond being printed.
type keepFlags struct {
	journalFlags
	none  bool
	note  string
	mount string
}

func (f *keepFlags) add(fs *pflag.FlagSet) {
	f.journalFlags.add(fs)
	fs.BoolVar(&f.none, "no-journal", false, "keep nothing in the journal")
	fs.StringVar(&f.note, "note", "", "a `remark` to keep with the measurement")
	fs.StringVar(&f.mount, "mount", "", "the `mount` of the gear file whose bolts are turned (default: its default mount)")
}

// adjusters returns what is known of the mount's adjusters.
func (f *keepFlags) adjusters(g gear.Gear) (gear.Mount, error) {
	_, m, ok := gear.Pick(g.Mounts, f.mount, g.Default.Mount)
	if !ok && f.mount != "" {
		return m, hint(fmt.Errorf("no mount called %q in the gear file", f.mount), known(g.Names(gear.KindMount), "pintle gear add mount NAME --alt-per-turn 60"))
	}
	return m, nil
}

// remember appends a measurement with an answer to the journal, before it is
// printed: the answer may go to a pipe that closes early. A journal that cannot
// be written is said, and is no failure of the measurement.
func (f *keepFlags) remember(a *app, m *measurement) {
	if f.none || m.result == nil {
		return
	}
	path, err := f.file(a)
	if err == nil {
		r := m.record()
		r.Note = f.note
		err = journal.Append(path, r)
	}
	if err != nil {
		a.notKept(err)
	}
}
