// Package journal keeps every measurement and every adjustment in a text file
// that only grows: one JSON object a line, each complete in itself and closed
// by a checksum. What a crash or a bad disk does to one line costs that line
// and no other.
package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"
)

// version is the version of the line format that is written. Lines of later
// versions are reported and skipped.
const version = 1

// The kinds of record.
const (
	Measurement = "measurement" // the axis, from frames at several RA turns
	Adjustment  = "adjustment"  // the axis as carried along while adjusters are turned
	Sighting    = "sighting"    // a frame of a measurement that has no answer yet: no axis, no offset
)

// Record is one line. Angles have their unit in the name; directions are
// azimuth from north through east and altitude.
type Record struct {
	V         int             `json:"v"`
	Kind      string          `json:"kind"`
	Time      time.Time       `json:"time"`              // of the last frame, UTC
	Session   string          `json:"session,omitempty"` // ties the records of one run together
	Site      Site            `json:"site"`
	Frames    []Frame         `json:"frames,omitempty"`
	Axis      Direction       `json:"axis"`
	Pole      Pole            `json:"pole"`
	Offset    Offset          `json:"offset_arcmin"` // axis minus pole
	Sigma     Offset          `json:"sigma_arcmin"`  // standard errors of it
	Made      *Made           `json:"sigma_made_of_arcmin,omitempty"`
	Mount     string          `json:"mount,omitempty"`          // of the gear file
	Scatter   float64         `json:"scatter_arcsec,omitempty"` // of the frames about one rotation, per axis, where it shows; of an adjustment all since the measurement
	Tolerance float64         `json:"tolerance_arcmin"`
	Air       Air             `json:"air"`
	Moved     *Moved          `json:"moved_arcmin,omitempty"` // what an adjustment turned, since the record before
	Turns     []Turn          `json:"turns,omitempty"`        // of RA that a device made, up to here
	Warnings  []string        `json:"warnings,omitempty"`
	Note      string          `json:"note,omitempty"`
	State     json.RawMessage `json:"state,omitempty"` // what a program needs to go on from here
}

// Site is where the tripod stood.
type Site struct {
	Name string  `json:"name,omitempty"`
	Lat  float64 `json:"lat_deg"`
	Lon  float64 `json:"lon_deg"` // east positive
	Elev float64 `json:"elev_m"`
}

// Frame is one photograph that a record rests on.
type Frame struct {
	Name  string    `json:"frame"`
	By    string    `json:"taken_by,omitempty"` // the camera that the program commanded
	Time  time.Time `json:"time"`
	RA    float64   `json:"ra_deg"` // ICRS, centre of the frame
	Dec   float64   `json:"dec_deg"`
	Turn  float64   `json:"turn_deg"`
	Stars int       `json:"stars_matched"`
	RMS   float64   `json:"rms_arcsec"`
	// Missed frames took no part, for the Reason given.
	Missed bool   `json:"missed,omitempty"`
	Reason string `json:"reason,omitempty"`
}

// Turn is a turn of RA that a device made. Angles are along its direction.
type Turn struct {
	Asked     float64  `json:"asked_deg"`
	Reported  float64  `json:"reported_deg"`
	Measured  *float64 `json:"measured_deg"` // by the frames before and after; null when not known
	Direction string   `json:"direction"`    // east or west, as the telescope moves
	Rate      float64  `json:"rate_deg_s"`
	Seconds   float64  `json:"seconds"`
	StoppedBy string   `json:"stopped_by"` // angle, time, limit, user or fault
}

// Direction is a direction at the site.
type Direction struct {
	Az  float64 `json:"az_deg"`
	Alt float64 `json:"alt_deg"`
}

// Pole is the pole aimed at: true, refracted, or King's.
type Pole struct {
	Kind string `json:"kind"`
	Direction
}

// Offset has the parts of a small angle: in altitude, in azimuth as the
// adjuster turns and as it counts on the sky, and in all.
type Offset struct {
	Alt    float64 `json:"alt"`
	AzKnob float64 `json:"az_knob"`
	AzSky  float64 `json:"az_sky"`
	Total  float64 `json:"total"`
}

// Made is what the standard error of the total is made of; the squares add up to
// about its own.
type Made struct {
	Stars      float64 `json:"stars"`
	Mount      float64 `json:"mount_and_air"`
	Refraction float64 `json:"refraction"`
}

// Moved is by how much the adjusters turned.
type Moved struct {
	Alt    float64 `json:"alt"`
	AzKnob float64 `json:"az_knob"`
}

// Air is the weather that refraction was reckoned with.
type Air struct {
	Pressure float64 `json:"pressure_hpa"`
	Temp     float64 `json:"temp_c"`
}

// Within is true when the offset is not larger than the tolerance.
func (r Record) Within() bool { return r.Offset.Total <= r.Tolerance }

// check returns what makes a record useless to a reader.
func (r Record) check() error {
	switch {
	case r.Kind != Measurement && r.Kind != Adjustment && r.Kind != Sighting:
		return fmt.Errorf("kind %q is neither %q, %q nor %q", r.Kind, Measurement, Adjustment, Sighting)
	case r.Time.Year() < 1980 || r.Time.Year() > 2200:
		return fmt.Errorf("time %s is outside 1980 to 2200", r.Time.Format(time.RFC3339))
	case !(math.Abs(r.Site.Lat) <= 90):
		return fmt.Errorf("latitude %g is outside -90 to 90", r.Site.Lat)
	case !(math.Abs(r.Site.Lon) <= 360):
		return fmt.Errorf("longitude %g is outside -360 to 360", r.Site.Lon)
	case r.Offset.Total < 0:
		return fmt.Errorf("total offset %g is negative", r.Offset.Total)
	}
	return nil
}

var (
	castagnoli = crc32.MakeTable(crc32.Castagnoli)
	sumMark    = []byte(`,"sum":"`)
)

// sumLen is the length of the checksum's member and the closing brace.
const sumLen = len(`,"sum":"01234567"}`)

func crc(b []byte) uint32 { return crc32.Checksum(b, castagnoli) }

// encode returns the record's line with its end. The checksum is the CRC-32C
// of everything before its own member.
func encode(r Record) ([]byte, error) {
	r.V = version
	r.Time = r.Time.UTC()
	if err := r.check(); err != nil {
		return nil, err
	}
	b, err := json.Marshal(r)
	if err != nil {
		return nil, err
	}
	b = b[:len(b)-1]
	b = fmt.Appendf(b, `%s%08x"}`, sumMark, crc(b))
	if len(b) >= maxLine {
		return nil, fmt.Errorf("record of %d bytes is longer than %d", len(b), maxLine)
	}
	return append(b, '\n'), nil
}

// Reasons for which a line is skipped.
var (
	errTorn    = errors.New("torn: the line does not end as it should")
	errSum     = errors.New("damaged: the checksum does not fit")
	errVersion = errors.New("written by a later version of the program")
)

// decode is the inverse of encode, for a line without its end.
func decode(line []byte) (Record, error) {
	n := len(line) - sumLen
	if n < 1 || !bytes.HasPrefix(line[n:], sumMark) || !bytes.HasSuffix(line, []byte(`"}`)) {
		return Record{}, errTorn
	}
	if fmt.Sprintf("%08x", crc(line[:n])) != string(line[n+len(sumMark):len(line)-2]) {
		return Record{}, errSum
	}
	var r Record
	if err := json.Unmarshal(line, &r); err != nil {
		var v struct{ V int }
		if json.Unmarshal(line, &v) == nil && v.V > version {
			return Record{}, errVersion
		}
		return Record{}, fmt.Errorf("not a record: %w", err)
	}
	if r.V > version {
		return Record{}, errVersion
	}
	if err := r.check(); err != nil {
		return Record{}, fmt.Errorf("not a record: %w", err)
	}
	return r, nil
}
