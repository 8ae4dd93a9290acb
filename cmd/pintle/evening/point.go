package evening

import (
	"errors"
	"fmt"
	"strconv"
	"time"

	"pintle/axis/place"
	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/index/written"
)

// PointWish is what is asked of a plan, as typed; "" is what is usual.
type PointWish struct {
	At     string // a time; "" is now, or the first dark moment of the night
	Field  string // degrees, such as 2.1x1.4; "" is the camera's
	Frames string // 2 to 6
	MinAlt string // degrees
}

// Plan is where to point.
type Plan struct {
	Time        time.Time    `json:"time"`
	Clock       string       `json:"clock"`
	Waited      bool         `json:"waited"` // it is not dark yet: the time is when it will be
	Field       string       `json:"field"`
	FieldSource string       `json:"field_source"`
	Suggestions []Suggestion `json:"suggestions"`
	None        string       `json:"none"`            // why there is no suggestion
	Mount       string       `json:"mount,omitempty"` // what is known of how its frames scatter
}

// Suggestion is one of them.
type Suggestion struct {
	Frames []Aim   `json:"frames"`
	Turn   float64 `json:"turn_each_deg"`
	Error  float64 `json:"sigma_total_arcsec"`
	Size   string  `json:"size"` // the same in words
	Words  string  `json:"words"`
}

// Aim is where one photograph of a plan points.
type Aim struct {
	Az    float64 `json:"az_deg"`
	Alt   float64 `json:"alt_deg"`
	RA    float64 `json:"ra_deg"` // ICRS
	Dec   float64 `json:"dec_deg"`
	Stars int     `json:"stars_expected"`
}

// Point finds where to point.
func (e *Evening) Point(w PointWish) (*Plan, error) {
	frames, minAlt := planning.UsualFrames, float64(planning.UsualMinAlt)
	var err error
	if w.Frames != "" {
		if frames, err = strconv.Atoi(w.Frames); err != nil || frames < 2 || frames > 6 {
			return nil, advice.With(fmt.Errorf("%s photographs: 2 to 6 can be planned", quote(w.Frames)), "three are a good number")
		}
	}
	if w.MinAlt != "" {
		if minAlt, err = written.Span("lowest altitude", 5, 80, false).Parse(w.MinAlt); err != nil {
			return nil, advice.With(err, "below 20 degrees refraction is uncertain")
		}
	}
	t, err := e.when(w.At)
	if err != nil {
		return nil, err
	}
	home, err := e.here()
	if err != nil {
		return nil, err
	}
	pl := &Plan{Suggestions: []Suggestion{}}
	g, gearErr := gear.Load(e.c.Gear)
	if gearErr != nil {
		g = &gear.File{}
	}
	field, err := e.field(w.Field, g.Gear, gearErr, pl)
	if err != nil {
		return nil, err
	}
	q := planning.Question{Home: home.when(t, w.At != ""), Frames: frames, Steady: e.steadiness(g.Gear, t),
		MinAlt: sphere.Angle(minAlt) * sphere.Degree, Turn: planning.UsualTurn * sphere.Degree, Faintest: planning.UsualFaintest}
	q.Camera = plan.NewCamera(field.Width, field.Height, field.Scale, q.Steady.Wobble())
	pl.Mount = words.Steadiness(q.Steady.Mount, q.Steady.Manner)
	if q.Blocked, err = e.skyline(); err != nil {
		return nil, err
	}
	found, err := planning.Find(q)
	if err != nil {
		return nil, inWords(err)
	}
	pl.Waited, pl.Time, pl.Clock = !found.At.Equal(t), found.At, found.At.Format("2 January 15:04 MST")
	for _, s := range found.Suggestions {
		pl.Suggestions = append(pl.Suggestions, suggestion(found.Sky.Place, s))
	}
	if len(pl.Suggestions) == 0 {
		reason, _ := words.NoPlan(found)
		pl.None = words.Sentence(reason) + " Try fewer photographs, a lower altitude, or another time."
	}
	return pl, nil
}

// suggestion puts a plan's suggestion into words and numbers.
func suggestion(p *place.Place, s plan.Suggestion) Suggestion {
	each := s.Span() / sphere.Angle(len(s.HA)-1)
	out := Suggestion{Turn: each.Degrees(), Error: s.Expected.Total().Arcseconds(), Size: words.ExpectedError(s.Expected.Total())}
	for _, f := range s.Frames {
		az, alt := f.Dir.AzAlt()
		ra, dec := p.Catalogue(f.Dir).RADec()
		out.Frames = append(out.Frames, Aim{degrees(az.Turn()), degrees(alt), ra.Degrees(), dec.Degrees(), int(f.Stars)})
	}
	first, last := s.Frames[0], s.Frames[len(s.Frames)-1]
	w := words.Pointing{Each: each, Frames: len(s.Frames), Stars: int(first.Stars), Error: s.Expected.Total()}
	w.Az, w.Alt = first.Dir.AzAlt()
	w.LastAz, w.LastAlt = last.Dir.AzAlt()
	w.Near, w.Apart = nearStar(p, first.Dir)
	out.Words = words.Point(w)
	return out
}

// near is how far a bright star may be that leads the eye to a place (no source,
// chosen as a hand and a half at arm's length).
const near = 20 * sphere.Degree

// nearStar is the named star that is nearest to a direction, "" when
// none is.
func nearStar(p *place.Place, l sphere.Local) (name string, apart sphere.Angle) {
	apart = near
	for _, t := range namedStars() {
		if d := p.Observed(t.Pos).Sep(l); d < apart {
			name, apart = t.Name, d
		}
	}
	return name, apart
}

// steadiness is what is known of how the chosen mount's frames scatter.
func (e *Evening) steadiness(g gear.Gear, t time.Time) planning.Steadiness {
	_, mount := e.chosen()
	return planning.SteadinessOf(g, mount, e.c.Journal, t)
}

// field is the camera's field: as typed, else as its newest recognised photograph
// shows it, else of the gear file, unless that is no good.
func (e *Evening) field(typed string, g gear.Gear, gearErr error, pl *Plan) (f planning.Field, err error) {
	seen, scale, ok := e.fieldSeen()
	switch {
	case typed != "":
		pl.Field, pl.FieldSource = typed, "as typed"
	case ok:
		pl.Field, pl.FieldSource = seen, "as your photographs show"
	case gearErr != nil:
		return f, gearErr
	default:
		return e.gearField(g, pl)
	}
	if f, ok = planning.ReadField(pl.Field); !ok {
		return f, advice.With(fmt.Errorf("the field %s is not two sizes from 0.05 to 180 degrees", quote(pl.Field)), "width x height in degrees, such as 2.1x1.4")
	}
	if typed == "" {
		f.Scale = scale
	}
	return f, checked(f)
}

// gearField is the field of the chosen camera of the gear file.
func (e *Evening) gearField(g gear.Gear, pl *Plan) (f planning.Field, err error) {
	chosen, _ := e.chosen()
	picked, c, _ := gear.Pick(g.Cameras, chosen, g.Default.Camera)
	f, ok := planning.FieldOf(c)
	if !ok {
		return f, advice.With(errors.New("the size of the camera's field is not known"), "type it in degrees, such as 2.1x1.4; or tell the camera once, under gear; or measure a photograph first, which shows it")
	}
	pl.Field, pl.FieldSource = fmt.Sprintf("%.3gx%.3g", f.Width.Degrees(), f.Height.Degrees()), "camera "+picked+" of the gear file"
	return f, checked(f)
}

func checked(f planning.Field) error {
	return advice.With(f.Check(), "check focal length and pixel size, or type the field in degrees")
}
