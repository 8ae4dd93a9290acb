// Package fake is an Alpaca server over the invented mount and camera of package
// night, for tests and for trying without gear: it does what a real one does, out of true as the night says,
// and can be told to fail.
package fake

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"pintle/axis/place"
	"pintle/cmd/night"
	"pintle/index/sphere"
)

// Server serves telescope 0 and camera 0. Set the fields before the first call.
type Server struct {
	Night *night.Night
	Now   func() time.Time
	// Idle is called when a picture is asked for before its exposure is over, so
	// that a test's clock can run on; nil lets the caller ask again.
	Idle func(time.Duration)
	// Reversed makes positive rates go east.
	Reversed bool
	// JSONOnly leaves ImageBytes out.
	JSONOnly bool
	// Fail, when it returns true, drops the connection instead of answering.
	Fail func(method string) bool

	mu       sync.Mutex
	mount    *night.Mount
	connect  map[string]bool
	rate     float64 // degrees/s toward west, by moveaxis
	since    time.Time
	tracking bool // as set, though moveaxis suspends it
	Parked   bool
	calls    []Call
	shot     chan *night.Shot // of length 1, full when the picture is there
	start    time.Time        // of the exposure
	ends     time.Time
	serial   uint32
}

// Call is a request as it came.
type Call struct {
	HTTP   string // method
	Device string // camera or telescope
	Name   string
	Values map[string][]string
}

// Calls returns all requests so far.
func (s *Server) Calls() []Call {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Call(nil), s.calls...)
}

// Forbidden returns the names of what was ordered so far beyond what photographing and
// turning RA by a rate need, and what is allowed also: never a place to go, a site or a
// time.
func (s *Server) Forbidden(also ...string) (out []string) {
	needed := []string{"connected", "moveaxis", "abortslew", "tracking", "startexposure", "abortexposure", "startx", "starty", "numx", "numy", "binx", "biny"}
	for _, c := range s.Calls() {
		if c.HTTP == http.MethodPut && !slices.Contains(needed, c.Name) && !slices.Contains(also, c.Name) {
			out = append(out, c.Name)
		}
	}
	return out
}

// Mount returns the invented mount, for its truth and its adjusters.
func (s *Server) Mount() *night.Mount {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.run()
	return s.mount
}

// Moving returns the rate by moveaxis, degrees/s toward west.
func (s *Server) Moving() float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.rate
}

// alpacaError is an error with the standard's number.
type alpacaError struct {
	number int
	text   string
}

func (e alpacaError) Error() string { return e.text }

// ServeHTTP answers one call.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	r.ParseForm()
	path := strings.Split(strings.Trim(r.URL.Path, "/"), "/")
	if r.URL.Path == "/management/v1/configureddevices" {
		s.reply(w, r, []map[string]any{
			{"DeviceName": "Invented mount", "DeviceType": "Telescope", "DeviceNumber": 0, "UniqueID": "1"},
			{"DeviceName": "Invented camera", "DeviceType": "Camera", "DeviceNumber": 0, "UniqueID": "2"}}, nil)
		return
	}
	if len(path) != 5 || path[0] != "api" || path[1] != "v1" || path[3] != "0" {
		http.Error(w, "no such device", http.StatusBadRequest)
		return
	}
	values := r.Form
	if r.Method == http.MethodPut {
		values = r.PostForm
	}
	if s.Fail != nil && s.Fail(path[4]) {
		panic(http.ErrAbortHandler)
	}
	s.mu.Lock()
	s.calls = append(s.calls, Call{r.Method, path[2], path[4], values})
	if s.mount == nil {
		s.begin()
	}
	s.run()
	if path[2] == "camera" && path[4] == "imagearray" && r.Method == http.MethodGet {
		shot := s.shot
		s.mu.Unlock()
		s.image(w, r, take(shot))
		return
	}
	answer := s.telescope
	if path[2] == "camera" {
		answer = s.camera
	}
	v, err := answer(r.Method, path[4], values.Get)
	s.mu.Unlock()
	s.reply(w, r, v, err)
}

func (s *Server) begin() {
	now := s.Now()
	s.mount, s.since, s.connect = s.Night.Mount(now), now, map[string]bool{}
	s.tracking = s.mount.Tracking()
}

// run turns the mount up to now.
func (s *Server) run() {
	if s.mount == nil {
		s.begin()
	}
	now := s.Now()
	if dt := now.Sub(s.since).Seconds(); s.rate != 0 && dt > 0 {
		s.mount.Move(night.Pose{Turn: sphere.Angle(-s.sign()*s.rate*dt) * sphere.Degree})
	}
	s.since = now
}

// sign is 1 in the north: turning the mount by a positive Pose.Turn goes east
// there, and west in the south.
func (s *Server) sign() float64 { return math.Copysign(1, float64(s.Night.Spec().Site.Lat)) }

// position is what the mount believes: its circles, as if it were in true.
func (s *Server) position() (ra, dec float64, err error) {
	now := s.Now()
	t, err := s.mount.Truth(now.Add(-s.Night.Spec().Camera.Exposure / 2))
	if err != nil {
		return 0, 0, err
	}
	pl, err := place.At(now, s.Night.Spec().Site, place.Air{})
	if err != nil {
		return 0, 0, err
	}
	ha := sphere.Angle(-s.sign()) * t.Turn
	dec = (s.Night.Spec().Setup.Dec + s.mount.Pose().Dec).Degrees()
	return float64((pl.SiderealTime() - ha).Turn() / sphere.Hour), dec, nil
}

func unknown(name string) (any, error) {
	return nil, alpacaError{0x400, name + " is not implemented"}
}

func (s *Server) telescope(http, name string, arg func(string) string) (any, error) {
	if name == "connected" {
		return s.connected("telescope", http, arg)
	}
	if !s.connect["telescope"] {
		return nil, alpacaError{0x407, "not connected"}
	}
	if http == "PUT" {
		return nil, s.order(name, arg)
	}
	switch name {
	case "rightascension":
		ra, _, err := s.position()
		return ra, err
	case "declination":
		_, dec, err := s.position()
		return dec, err
	case "name":
		return "Invented mount", nil
	case "canmoveaxis":
		return arg("Axis") == "0" || arg("Axis") == "1", nil
	case "axisrates":
		return []map[string]float64{{"Minimum": 0.001, "Maximum": 4}}, nil
	case "cansettracking":
		return true, nil
	case "tracking":
		return s.mount.Tracking(), nil
	case "atpark":
		return s.Parked, nil
	case "slewing":
		return s.rate != 0, nil
	case "sideofpier":
		return unknown(name)
	case "utcdate":
		return s.Now().UTC().Format("2006-01-02T15:04:05.000Z"), nil
	}
	return unknown(name)
}

// order is what a telescope is told to do.
func (s *Server) order(name string, arg func(string) string) error {
	switch name {
	case "moveaxis":
		rate, err := strconv.ParseFloat(arg("Rate"), 64)
		switch {
		case s.Parked:
			return alpacaError{0x408, "parked"}
		case err != nil || math.Abs(rate) > 4:
			return alpacaError{0x401, "rate outside -4 to 4"}
		case arg("Axis") != "0":
			return nil
		}
		if s.Reversed {
			rate = -rate
		}
		s.rate = rate
		s.mount.Track(s.Now(), s.tracking && rate == 0) // suspended meanwhile
		return nil
	case "abortslew":
		if s.Parked {
			return alpacaError{0x408, "parked"}
		}
		s.rate = 0
		s.mount.Track(s.Now(), s.tracking)
		return nil
	case "tracking":
		s.tracking = strings.EqualFold(arg("Tracking"), "true")
		s.mount.Track(s.Now(), s.tracking)
		return nil
	case "unpark":
		s.Parked = false
		return nil
	}
	return alpacaError{0x400, name + " is not implemented"}
}

func (s *Server) connected(device, http string, arg func(string) string) (any, error) {
	if http == "PUT" {
		s.connect[device] = strings.EqualFold(arg("Connected"), "true")
		return nil, nil
	}
	return s.connect[device], nil
}

func (s *Server) camera(http, name string, arg func(string) string) (any, error) {
	if name == "connected" {
		return s.connected("camera", http, arg)
	}
	if !s.connect["camera"] {
		return nil, alpacaError{0x407, "not connected"}
	}
	c := s.Night.Spec().Camera
	if http == "PUT" {
		switch name {
		case "startexposure":
			return nil, s.expose()
		case "startx", "starty", "numx", "numy", "abortexposure":
			return nil, nil
		}
		return unknown(name)
	}
	switch name {
	case "name":
		return "Invented camera", nil
	case "cameraxsize":
		return c.W, nil
	case "cameraysize":
		return c.H, nil
	case "pixelsizex", "pixelsizey":
		return c.Pixel, nil
	case "maxbinx", "binx":
		return 1, nil
	case "exposuremin":
		return 0.001, nil
	case "exposuremax":
		return 3600.0, nil
	case "sensortype":
		return 0, nil
	case "maxadu":
		return 65535, nil
	case "imageready":
		if s.Idle != nil && s.Now().Before(s.ends) {
			s.Idle(s.ends.Sub(s.Now()))
		}
		return len(s.shot) > 0 && !s.Now().Before(s.ends), nil
	case "lastexposurestarttime":
		return s.start.UTC().Format("2006-01-02T15:04:05.000"), nil
	}
	return unknown(name)
}

// expose takes the photograph, whose length is the night's. Drawing it takes a
// while, and the mount stands meanwhile: nobody turns it before the picture came.
func (s *Server) expose() error {
	if s.rate != 0 {
		return alpacaError{0x40B, "the mount moves"}
	}
	s.start = s.Now()
	s.ends = s.start.Add(s.Night.Spec().Camera.Exposure)
	if _, err := s.mount.Truth(s.start); err != nil {
		return err
	}
	s.shot = make(chan *night.Shot, 1)
	go func(m *night.Mount, start time.Time, to chan<- *night.Shot) {
		shot, _ := m.Shoot(start)
		to <- shot
	}(s.mount, s.start, s.shot)
	return nil
}

// take returns the picture of the last exposure and leaves it there.
func take(shots chan *night.Shot) *night.Shot {
	if shots == nil {
		return nil
	}
	shot := <-shots
	shots <- shot
	return shot
}

func (s *Server) reply(w http.ResponseWriter, r *http.Request, v any, err error) {
	s.mu.Lock()
	s.serial++
	a := map[string]any{"ServerTransactionID": s.serial, "ErrorNumber": 0, "ErrorMessage": ""}
	s.mu.Unlock()
	if n, e := strconv.Atoi(r.Form.Get("ClientTransactionID")); e == nil {
		a["ClientTransactionID"] = n
	}
	if v != nil {
		a["Value"] = v
	}
	if err != nil {
		a["ErrorNumber"], a["ErrorMessage"] = 0x500, err.Error()
		if e, ok := err.(alpacaError); ok {
			a["ErrorNumber"] = e.number
		}
	}
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(a)
}

// image sends the picture: columns one after the other.
func (s *Server) image(w http.ResponseWriter, r *http.Request, shot *night.Shot) {
	if shot == nil {
		s.reply(w, r, nil, alpacaError{0x40B, "no picture"})
		return
	}
	im := shot.Image
	value := func(x, y int) uint16 {
		if im.U8 != nil {
			return uint16(im.U8[y*im.W+x])
		}
		return im.U16[y*im.W+x]
	}
	if s.JSONOnly || !strings.Contains(r.Header.Get("Accept"), "application/imagebytes") {
		w.Header().Set("Content-Type", "application/json")
		fmt.Fprint(w, `{"Type":2,"Rank":2,"ErrorNumber":0,"ErrorMessage":"","Value":[`)
		for x := range im.W {
			sep := "[["
			if x > 0 {
				sep = ",["
			}
			fmt.Fprint(w, strings.TrimPrefix(sep, "["))
			for y := range im.H {
				if y > 0 {
					fmt.Fprint(w, ",")
				}
				fmt.Fprint(w, value(x, y))
			}
			fmt.Fprint(w, "]")
		}
		fmt.Fprint(w, "]}")
		return
	}
	var b bytes.Buffer
	binary.Write(&b, binary.LittleEndian, []uint32{1, 0, 1, 1, 44, 2, 8, 2, uint32(im.W), uint32(im.H), 0})
	column := make([]uint16, im.H)
	for x := range im.W {
		for y := range column {
			column[y] = value(x, y)
		}
		binary.Write(&b, binary.LittleEndian, column)
	}
	w.Header().Set("Content-Type", "application/imagebytes")
	w.Write(b.Bytes())
}
