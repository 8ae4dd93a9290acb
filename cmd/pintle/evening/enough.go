package evening

import (
	"errors"
	"fmt"
	"time"

	"pintle/axis/drive"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/targets"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/index/written"
)

// EnoughWish is what is asked of tolerances, as typed; "" is the camera's of the
// gear file, or what is usual.
type EnoughWish struct {
	Focal, Pixel, Width, Height, Exposure, Trail string
	Guided                                       string // "yes", "no" or ""
	Target                                       string
	MinAlt                                       string // of the target, degrees
}

// Enough says how far the axis may be off, and what its error does.
type Enough struct {
	Camera   string      `json:"camera"`
	Exposure string      `json:"exposure"` // in words
	Scale    float64     `json:"scale_arcsec_px"`
	Trail    float64     `json:"trail_px"`             // accepted
	Worst    float64     `json:"allowed_worst_arcmin"` // for any target, anywhere
	Allowed  string      `json:"allowed"`              // the same in words
	Target   *TargetSays `json:"target"`
	Effect   *Effect     `json:"effect"` // null while nothing is measured
}

// TargetSays is what a target allows tonight.
type TargetSays struct {
	Name    string    `json:"name"`
	From    time.Time `json:"from"`
	To      time.Time `json:"to"`
	Allowed float64   `json:"allowed_arcmin"`
	Words   []string  `json:"words"`
}

// Effect is what the measured error does to an exposure, at its worst. Along and
// Across draw it in the picture's corner, pixels: how far a star there moves in
// right ascension and declination, or, guided, about the guide star.
type Effect struct {
	OffBy  string   `json:"off_by"`
	Trail  float64  `json:"trail_px"`
	Along  float64  `json:"ra_px"`
	Across float64  `json:"dec_px"`
	Turned float64  `json:"rotation_px"`
	Within bool     `json:"within"`
	Words  []string `json:"words"`
}

// Enough works out what was asked for.
func (e *Evening) Enough(w EnoughWish) (*Enough, error) {
	x, name, err := e.exposure(w)
	if err != nil {
		return nil, err
	}
	l := planning.LimitsOf(x, name)
	out := &Enough{Camera: name, Exposure: words.Exposure(l), Scale: x.Scale().Arcseconds(), Trail: x.Trail, Worst: l.Worst.Arcminutes(), Allowed: words.AtMost(l.Worst)}
	home, known := e.home()
	if known {
		h := home.when(e.c.Now(), false)
		l.Home = &h
	}
	if w.Target != "" {
		if out.Target, err = target(w, l); err != nil {
			return nil, inWords(err)
		}
	}
	out.Effect, err = e.effect(l)
	return out, inWords(err)
}

// exposure is the exposure asked for, and the camera's name.
func (e *Evening) exposure(w EnoughWish) (drive.Exposure, string, error) {
	g, err := gear.Load(e.c.Gear)
	if err != nil {
		return drive.Exposure{}, "", err
	}
	chosen, _ := e.chosen()
	name, c, ok := gear.Pick(g.Gear.Cameras, chosen, g.Gear.Default.Camera)
	if !ok {
		name = ""
	}
	width, height := float64(c.Width), float64(c.Height)
	side := written.Pixels("side of the frame", 16, 1e5, true)
	for _, f := range []struct {
		text string
		read func(string) (float64, error)
		to   *float64
	}{
		{w.Focal, written.Focal.Parse, &c.Focal}, {w.Pixel, written.Pixel.Parse, &c.Pixel}, {w.Exposure, written.Exposure.Parse, &c.Exposure},
		{w.Trail, written.Pixels("trail", 0.01, 1000, false).Parse, &c.Trail}, {w.Width, side.Parse, &width}, {w.Height, side.Parse, &height},
	} {
		if f.text == "" {
			continue
		}
		if *f.to, err = f.read(f.text); err != nil {
			return drive.Exposure{}, "", advice.With(err, "millimetres, micrometres, seconds and pixels")
		}
	}
	c.Width, c.Height = int(width), int(height)
	if w.Guided != "" {
		c.Guided = w.Guided == "yes"
	}
	for _, f := range []struct {
		what string
		x    float64
		like string
	}{{"focal length", c.Focal, "400 mm"}, {"pixel size", c.Pixel, "3.76 um"}, {"exposure", c.Exposure, "180 s"}} {
		if f.x == 0 {
			return drive.Exposure{}, "", advice.With(fmt.Errorf("the %s is not known", f.what), "type it, such as "+f.like+", or tell the camera once, under gear")
		}
	}
	shot, ok := c.Shot()
	switch {
	case ok:
		return shot, name, nil
	case shot.Guided && shot.Corner == 0:
		return shot, "", advice.With(errors.New("guided, but how far is it from the guide star to the corner of the frame?"), "type width and height in pixels")
	}
	return shot, "", advice.With(shot.Check(), "check the camera's numbers")
}

// target is what the target allows tonight.
func target(w EnoughWish, l *planning.Limits) (*TargetSays, error) {
	t, err := targets.Find(w.Target)
	if err != nil {
		return nil, advice.With(err, "M42, NGC 253, IC 434, a common name, or a bright star such as Vega")
	}
	minAlt := float64(planning.UsualTargetAlt)
	if w.MinAlt != "" {
		if minAlt, err = written.Span("lowest altitude", 10, 89, false).Parse(w.MinAlt); err != nil {
			return nil, advice.With(err, "30 degrees is a usual choice; below 10 the air spoils everything")
		}
	}
	if l.Home == nil {
		return nil, errNowhere()
	}
	if err := l.For(t, sphere.Angle(minAlt)*sphere.Degree); err != nil {
		return nil, err
	}
	s := l.Stretch
	return &TargetSays{t.Title(), s.From, s.To, l.Allowed.Any.Arcminutes(), words.TargetAllows(t.Title(), *l.Allowed, s.From, s.To, s.Lowest)}, nil
}

// effect is what the session's answer does to the exposure, nil without one: to
// the target, else to any star, at its worst.
func (e *Evening) effect(l *planning.Limits) (*Effect, error) {
	e.mu.Lock()
	st := e.state
	e.mu.Unlock()
	if st.Answer == nil || l.Home == nil {
		return nil, nil
	}
	o := st.Answer.Offset
	if err := l.Off(o.Alt, o.AzKnob); err != nil {
		return nil, err
	}
	x, k := l.Exposure, l.Known
	f, scale := k.Effect, float64(x.Scale())
	name := ""
	if k.ForTarget {
		name = l.Target.Title()
	}
	out := &Effect{OffBy: words.SmallAngle(k.Sep), Trail: k.Trail, Within: k.Trail <= x.Trail, Along: float64(f.Along) / scale, Across: float64(f.Drift) / scale,
		Turned: float64(f.Rotated) * float64(x.Corner) / scale, Words: words.EffectOn(name, x, f, k.Trail, k.HA)}
	if x.Guided {
		out.Along, out.Across, out.Turned = 0, 0, float64(f.Guided)*float64(x.Corner)/scale
	}
	return out, nil
}

// mostTargets is how many names are offered while one is typed: as many as a list
// under a field shows.
const mostTargets = 12

// Targets are the names that can be asked for: those that what is typed may become,
// each with its common name or its type; without, the Messier objects and the stars.
func Targets(typed string) []string {
	out := []string{} // never null in JSON
	found := targets.All()
	if typed != "" {
		found = targets.Search(typed, mostTargets)
	}
	for _, t := range found {
		title := t.Title()
		if typed != "" && t.Also == "" {
			title += ", " + t.Type
		}
		out = append(out, title)
	}
	return out
}
