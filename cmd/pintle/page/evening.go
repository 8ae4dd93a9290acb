package page

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/evening"
	"pintle/cmd/pintle/report"
	"pintle/cmd/pintle/words"
)

// The whole evening, as JSON under api/v1/. It is used by the page and by tests
// alike. What is asked for by GET changes nothing; what changes something is a
// POST with a JSON object, and must come from the page that is at the controls
// (controls.go). Angles are degrees where a name does not say otherwise, azimuths
// from north through east, times RFC 3339. An error is {"error", "hint"}: what was
// offered and the limit, and what to try.
//
//	GET  evening                      everything there is to say now (evening.Summary)
//	GET  day?date=                    the set-up by day (evening.Day)
//	GET  sky?at=                      the sky, to be drawn (evening.Sky)
//	GET  point?at=&field=&frames=&min_alt=   where to point (evening.Plan)
//	GET  enough?focal=&pixel=&width=&height=&exposure=&trail=&guided=&target=&min_alt=
//	                                  what is allowed, and what the error does (evening.Enough)
//	GET  targets?search=              names that target= knows and that what is typed may become
//	GET  gear                         the gear file as forms (evening.Gear)
//	GET  phone                        addresses for other screens, with codes ([]Code); none when only this computer is served
//	GET  record?search=               the evenings of the journal (evening.Record)
//	GET  report?date=&site=           the page of one, a file to keep
//	GET  records.csv                  all records, a file to keep
//	GET  picture?name=                a photograph, small, JPEG
//	GET  marks?name=                  what is marked on it (evening.Marks)
//	POST place          {"text","elev"} or {"site"} or {"lat_deg","lon_deg","elev_m"} or {"forget":true}
//	POST place-photo?name=            the body is a photograph that says where it was taken
//	POST blocks         {"drawn":[[azimuth,altitude]...]} or {"text"}
//	POST learnt         {"photograph","on"}   takes over what it shows of what blocks the sky, or declines it
//	POST gear           {"kind","name","values":{key:text},"replace"}
//	POST use            {"camera","mount"}
//	POST tolerance      {"text"}      arcminutes or auto, for the gear file
//	POST zone           {"zone"}      of the camera's clock
//	POST photographs?name=&modified=  the body is a photograph; modified in ms since 1970
//	POST measure        {"photographs":[names],"anew"}
//	POST forget         {"photograph"}
//	POST follow         {"on"}
//	POST shoot          {"on","exposure_s","many"}   the chosen camera photographs, once or on and on; off ends turn, too
//	POST turn           {"exposure_s","frames","turn_deg","lowest_deg","unpark"}
//	                                  the chosen camera photographs, the chosen mount turns RA in between; each turn
//	                                  is asked for in the state's "hands" and answered at do/agree?v= or do/decline?v=
//	POST controls       {}            takes the controls
//	POST ticket         {}            gives {"link"}, which opens the page once, soon
//
// POST do/stop ends what moves, and may come from any page; do/go-on, do/agree and
// do/decline are for the page at the controls, do/agree for the one that had them when it
// was sent.
//
// What happens is told on the stream events: in each state the member evening is
// the version of GET evening.
const apiPath = "/api/v1/"

// Limits of what the API takes.
const (
	mostJSON  = 64 << 10
	mostPlace = 64 << 20 // a photograph that says where
	// A body must go on, and come to its end (no source; chosen for 500 MB over
	// a slow wireless network).
	stallAfter = 15 * time.Second
	mostUpload = 20 * time.Minute
)

// api is the evening's face for programs.
type api struct {
	e        *evening.Evening
	controls *controls
	links    []string // for other screens
	ticket   func() string
}

// phone returns the addresses for other screens.
func (a *api) phone() (any, error) {
	out := []Code{}
	for _, l := range a.links {
		c, err := codeOf(l)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}

// mount puts the API under its path.
func (a *api) mount(m *http.ServeMux) {
	for path, f := range map[string]func(url.Values) (any, error){
		"evening": func(url.Values) (any, error) { return a.e.Summary(), nil },
		"day":     func(q url.Values) (any, error) { return a.e.Day(q.Get("date")) },
		"sky":     func(q url.Values) (any, error) { return a.e.Sky(q.Get("at")) },
		"point": func(q url.Values) (any, error) {
			return a.e.Point(evening.PointWish{At: q.Get("at"), Field: q.Get("field"), Frames: q.Get("frames"), MinAlt: q.Get("min_alt")})
		},
		"enough":  func(q url.Values) (any, error) { return a.e.Enough(enoughWish(q)) },
		"targets": func(q url.Values) (any, error) { return evening.Targets(q.Get("search")), nil },
		"gear":    func(url.Values) (any, error) { return a.e.Gear() },
		"phone":   func(url.Values) (any, error) { return a.phone() },
		"record":  func(q url.Values) (any, error) { return a.e.Record(q.Get("search")) },
	} {
		m.HandleFunc("GET "+apiPath+path, func(w http.ResponseWriter, r *http.Request) {
			v, err := f(r.URL.Query())
			if s, ok := v.(evening.Summary); ok {
				v = struct {
					evening.Summary
					Controls string `json:"controls"`
				}{s, a.controls.who(r)}
			}
			answer(w, v, err)
		})
	}
	m.HandleFunc("GET "+apiPath+"picture", a.file("image/jpeg", a.e.Picture))
	m.HandleFunc("GET "+apiPath+"marks", a.file("application/json", a.e.MarksOf))
	m.HandleFunc("GET "+apiPath+"report", a.report)
	m.HandleFunc("GET "+apiPath+"records.csv", a.records)
	for path, f := range a.orders() {
		m.HandleFunc("POST "+apiPath+path, a.order(f))
	}
	m.HandleFunc("POST "+apiPath+"photographs", a.upload)
	m.HandleFunc("POST "+apiPath+"place-photo", a.placePhoto)
	m.HandleFunc("POST "+apiPath+"ticket", func(w http.ResponseWriter, _ *http.Request) {
		answer(w, struct {
			Link string `json:"link"`
		}{a.ticket()}, nil)
	})
	m.HandleFunc("POST "+apiPath+"controls", func(w http.ResponseWriter, r *http.Request) {
		a.controls.take(r)
		answer(w, struct{}{}, nil)
	})
	m.HandleFunc(apiPath, func(w http.ResponseWriter, r *http.Request) {
		answer(w, nil, advice.With(fmt.Errorf("%w: %s", evening.ErrUnknown, words.Short(r.URL.Path, 60)), "load the page anew"))
	})
}

func enoughWish(q url.Values) evening.EnoughWish {
	return evening.EnoughWish{Focal: q.Get("focal"), Pixel: q.Get("pixel"), Width: q.Get("width"), Height: q.Get("height"), Exposure: q.Get("exposure"),
		Trail: q.Get("trail"), Guided: q.Get("guided"), Target: q.Get("target"), MinAlt: q.Get("min_alt")}
}

// said is everything that an order may say; each uses a part of it.
type said struct {
	Text       *string           `json:"text"`
	Elev       string            `json:"elev"`
	Site       string            `json:"site"`
	Lat        *float64          `json:"lat_deg"`
	Lon        *float64          `json:"lon_deg"`
	ElevM      float64           `json:"elev_m"`
	Forget     bool              `json:"forget"`
	Drawn      [][2]float64      `json:"drawn"`
	Kind       string            `json:"kind"`
	Name       string            `json:"name"`
	Values     map[string]string `json:"values"`
	Replace    bool              `json:"replace"`
	Camera     string            `json:"camera"`
	Mount      string            `json:"mount"`
	Zone       string            `json:"zone"`
	Names      []string          `json:"photographs"`
	Anew       bool              `json:"anew"`
	Photograph string            `json:"photograph"`
	On         bool              `json:"on"`
	Exposure   float64           `json:"exposure_s"`
	Many       bool              `json:"many"`
	Frames     int               `json:"frames"`
	Turn       float64           `json:"turn_deg"`
	Lowest     float64           `json:"lowest_deg"`
	Unpark     bool              `json:"unpark"`
}

// orders are what can be asked for with a JSON object.
func (a *api) orders() map[string]func(said) error {
	return map[string]func(said) error{
		"place": a.place,
		"blocks": func(s said) error {
			if s.Text != nil {
				return a.e.WriteBlocks(*s.Text)
			}
			return a.e.Draw(s.Drawn)
		},
		"learnt":    func(s said) error { return a.e.TakeBlocked(s.Photograph, s.On) },
		"gear":      func(s said) error { return a.e.PutGear(s.Kind, s.Name, s.Values, s.Replace) },
		"use":       func(s said) error { return a.e.UseGear(s.Camera, s.Mount) },
		"tolerance": func(s said) error { return a.e.UseTolerance(deref(s.Text)) },
		"zone":      func(s said) error { return a.e.SetZone(s.Zone) },
		"measure":   func(s said) error { return a.e.Measure(s.Names, s.Anew) },
		"forget":    func(s said) error { return a.e.Forget(s.Photograph) },
		"shoot":     func(s said) error { return a.e.Shoot(s.On, s.Exposure, s.Many) },
		"turn": func(s said) error {
			return a.e.Turn(evening.TurnWish{Exposure: s.Exposure, Frames: s.Frames, Turn: s.Turn, Lowest: s.Lowest, Unpark: s.Unpark})
		},
		"follow": func(s said) error { return a.e.Follow(s.On) },
	}
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func (a *api) place(s said) error {
	switch {
	case s.Forget:
		return a.e.ForgetPlace()
	case s.Site != "":
		return a.e.KnownPlace(s.Site)
	case s.Lat != nil && s.Lon != nil:
		return a.e.BrowserPlace(*s.Lat, *s.Lon, s.ElevM)
	}
	text := deref(s.Text)
	if len(text) > mostTyped {
		return advice.With(fmt.Errorf("%d characters for a place, the limit is %d", len(text), mostTyped), "latitude, then longitude, such as 31°24'S 121°54'E")
	}
	return a.e.TypePlace(text, s.Elev)
}

// order answers a POST with a JSON object.
func (a *api) order(do func(said) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if err := a.controls.refuse(r); err != nil {
			answer(w, nil, err)
			return
		}
		var s said
		d := json.NewDecoder(http.MaxBytesReader(w, r.Body, mostJSON))
		d.DisallowUnknownFields()
		if err := d.Decode(&s); err != nil {
			answer(w, nil, advice.With(fmt.Errorf("the request cannot be read: %w", err), "load the page anew"))
			return
		}
		answer(w, struct{}{}, do(s))
	}
}

// upload takes a photograph.
func (a *api) upload(w http.ResponseWriter, r *http.Request) {
	if err := a.controls.refuse(r); err != nil {
		answer(w, nil, err)
		return
	}
	q := r.URL.Query()
	ms, _ := strconv.ParseInt(q.Get("modified"), 10, 64)
	ctx, cancel := context.WithTimeout(r.Context(), mostUpload)
	defer cancel()
	p, err := a.e.Add(ctx, q.Get("name"), r.ContentLength, time.UnixMilli(ms), a.body(w, r))
	answer(w, p, err)
}

// placePhoto takes the place from a photograph, which is not kept.
func (a *api) placePhoto(w http.ResponseWriter, r *http.Request) {
	if err := a.controls.refuse(r); err != nil {
		answer(w, nil, err)
		return
	}
	if r.ContentLength > mostPlace {
		answer(w, nil, advice.With(fmt.Errorf("%w: %d bytes, the limit is %d", evening.ErrTooLong, r.ContentLength, mostPlace), "a phone's own JPEG is smaller"))
		return
	}
	answer(w, struct{}{}, a.placeFrom(r.Context(), r.URL.Query().Get("name"), a.body(w, r)))
}

func (a *api) placeFrom(ctx context.Context, name string, body io.Reader) error {
	f, err := os.CreateTemp("", "pintle-place-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = io.Copy(f, io.LimitReader(body, mostPlace))
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return a.e.PhotoPlace(ctx, f.Name(), name)
}

// body is a request's body that must go on, and that gives other writers time.
func (a *api) body(w http.ResponseWriter, r *http.Request) io.Reader {
	rc := http.NewResponseController(w)
	_ = rc.SetWriteDeadline(time.Now().Add(mostUpload + stallAfter))
	return &patient{r.Body, rc}
}

// patient moves a connection's deadline on with each part that arrives.
type patient struct {
	r  io.Reader
	rc *http.ResponseController
}

func (p *patient) Read(b []byte) (int, error) {
	if err := p.rc.SetReadDeadline(time.Now().Add(stallAfter)); err != nil {
		return 0, err
	}
	return p.r.Read(b)
}

// file answers with something that is kept of a photograph.
func (a *api) file(kind string, get func(string) ([]byte, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		b, err := get(r.URL.Query().Get("name"))
		if err != nil {
			answer(w, nil, err)
			return
		}
		w.Header().Set("Content-Type", kind)
		_, _ = w.Write(b)
	}
}

// report sends the page of an evening of the journal.
func (a *api) report(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	told, err := a.e.Reported(q.Get("date"), q.Get("site"))
	if err != nil {
		answer(w, nil, err)
		return
	}
	page, err := report.New(told.Evening, told.All, told.Gear, told.Camera)
	if err != nil {
		answer(w, nil, err)
		return
	}
	keep(w, "evening-"+told.Evening.Date+".html", html)
	_ = page.Write(w)
}

// records sends all records of the journal as a table.
func (a *api) records(w http.ResponseWriter, _ *http.Request) {
	all, err := a.e.Records()
	if err != nil {
		answer(w, nil, err)
		return
	}
	keep(w, "pintle-records.csv", "text/csv; charset=utf-8")
	_ = report.WriteCSV(w, all)
}

// keep has the browser keep what follows as a file.
func keep(w http.ResponseWriter, name, kind string) {
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
}

// answer writes a value, or what went wrong and what to try.
func answer(w http.ResponseWriter, v any, err error) {
	w.Header().Set("Content-Type", "application/json")
	if err != nil {
		err = words.PlainError(err)
		w.WriteHeader(status(err))
		v = struct {
			Error string `json:"error"`
			Hint  string `json:"hint"`
		}{words.Short(plainPath(err.Error()), 600), advice.Of(err)}
	}
	_ = json.NewEncoder(w).Encode(v)
}

// plainPath takes the folder of the user's out of an error: who looks on over the
// network need not know it.
func plainPath(s string) string {
	if home, err := os.UserHomeDir(); err == nil && len(home) > 1 {
		s = strings.ReplaceAll(s, home, "~")
	}
	return s
}

func status(err error) int {
	var tooLarge *http.MaxBytesError
	switch {
	case errors.Is(err, errNotMine):
		return http.StatusConflict
	case errors.Is(err, evening.ErrUnknown):
		return http.StatusNotFound
	case errors.Is(err, evening.ErrTooLong), errors.As(err, &tooLarge):
		return http.StatusRequestEntityTooLarge
	case errors.Is(err, evening.ErrFull):
		return http.StatusInsufficientStorage
	}
	return http.StatusBadRequest
}
