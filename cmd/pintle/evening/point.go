package evening

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"pintle/axis/place"
	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/words"
	"pintle/index/optics"
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
	None        string       `json:"none"` // why there is no suggestion
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

// What is usual, as for the verb plan.
const (
	usualFrames   = 3
	usualMinAlt   = 25
	usualTurn     = 90 * sphere.Degree
	usualFaintest = 10.0
	usualWobble   = sphere.Arcsecond
)

// Point finds where to point.
func (e *Evening) Point(w PointWish) (*Plan, error) {
	frames, minAlt := usualFrames, float64(usualMinAlt)
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
	width, height, scale, err := e.field(w.Field, pl)
	if err != nil {
		return nil, err
	}
	q := planning.Question{Home: home.when(t, w.At != ""), Camera: plan.NewCamera(width, height, scale, usualWobble), Frames: frames,
		MinAlt: sphere.Angle(minAlt) * sphere.Degree, Turn: usualTurn, Faintest: usualFaintest}
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

// field is the camera's field: as typed, else as its newest recognised photograph
// shows it, else of the gear file.
func (e *Evening) field(typed string, pl *Plan) (w, h, scale sphere.Angle, err error) {
	if typed != "" {
		pl.Field, pl.FieldSource = typed, "as typed"
		return parseField(typed)
	}
	if f, s, ok := e.fieldSeen(); ok {
		pl.Field, pl.FieldSource = f, "as your photographs show"
		w, h, _, err = parseField(f)
		return w, h, s, err
	}
	g, err := gear.Load(e.c.Gear)
	if err != nil {
		return 0, 0, 0, err
	}
	e.mu.Lock()
	name := e.kept.Camera
	e.mu.Unlock()
	picked, c, _ := gear.Pick(g.Gear.Cameras, name, g.Gear.Default.Camera)
	if c.Focal <= 0 || c.Pixel <= 0 || c.Width <= 0 || c.Height <= 0 {
		return 0, 0, 0, advice.With(errors.New("the size of the camera's field is not known"), "type it in degrees, such as 2.1x1.4; or tell the camera once, under gear; or measure a photograph first, which shows it")
	}
	scale = sphere.Angle(c.Pixel / 1000 / c.Focal)
	law := optics.Taken(1/float64(scale), math.Hypot(float64(c.Width), float64(c.Height))/2)
	across := func(px int) sphere.Angle { return 2 * law.Off(float64(px)/2*float64(scale)) }
	w, h = across(c.Width), across(c.Height)
	pl.Field, pl.FieldSource = fmt.Sprintf("%.3gx%.3g", w.Degrees(), h.Degrees()), "camera "+picked+" of the gear file"
	return w, h, scale, checkField(w, h)
}

// usualWidth is the pixels across a frame of which only the field is known.
const usualWidth = 3000

func parseField(s string) (w, h, scale sphere.Angle, err error) {
	a, b, _ := strings.Cut(strings.ToLower(strings.ReplaceAll(s, "×", "x")), "x")
	side := written.Span("field", 0.05, 180, false)
	x, err1 := side.Parse(strings.TrimSpace(a))
	y, err2 := side.Parse(strings.TrimSpace(b))
	if err := errors.Join(err1, err2); err != nil {
		return 0, 0, 0, advice.With(fmt.Errorf("the field %s is not two sizes from 0.05 to 180 degrees", quote(s)), "width x height in degrees, such as 2.1x1.4")
	}
	w, h = sphere.Angle(x)*sphere.Degree, sphere.Angle(y)*sphere.Degree
	return w, h, w / usualWidth, checkField(w, h)
}

func checkField(w, h sphere.Angle) error {
	for _, x := range []sphere.Angle{w, h} {
		if !(x.Degrees() >= 0.05 && x.Degrees() <= 180) {
			return advice.With(fmt.Errorf("a field of %.3g° is out of range 0.05 to 180", x.Degrees()), "check focal length and pixel size, or type the field in degrees")
		}
	}
	return nil
}
