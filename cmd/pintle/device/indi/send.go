package indi

import (
	"fmt"
	"html"
	"slices"
	"strconv"
	"strings"
)

// sendable is everything that is ever set at a device. No goto, sync, park, site
// or time is among it: TELESCOPE_PARK only ever with UNPARK.
var sendable = map[string][]string{
	"CONNECTION":             {"CONNECT"},
	"TELESCOPE_MOTION_WE":    {"MOTION_WEST", "MOTION_EAST"},
	"TELESCOPE_MOTION_NS":    {"MOTION_NORTH", "MOTION_SOUTH"}, // only to switch both off
	"TELESCOPE_ABORT_MOTION": {"ABORT"},
	"TELESCOPE_SLEW_RATE":    nil, // any of its elements
	"TELESCOPE_TRACK_STATE":  {"TRACK_ON", "TRACK_OFF"},
	"TELESCOPE_PARK":         {"UNPARK"},
	"CCD_EXPOSURE":           {"CCD_EXPOSURE_VALUE"},
	"CCD_ABORT_EXPOSURE":     {"ABORT"},
	"CCD_BINNING":            {"HOR_BIN", "VER_BIN"},
	"CCD_GAIN":               {"GAIN"},
	"CCD_CONTROLS":           {"Gain"},
	"CCD_FRAME_TYPE":         {"FRAME_LIGHT"},
	"CCD_COMPRESSION":        {"INDI_DISABLED", "CCD_RAW"},
	"UPLOAD_MODE":            {"UPLOAD_CLIENT"},
}

// newVector is an order to a device.
type newVector struct {
	device, name string
	kind         string // Switch or Number
	values       []pair
	starts       bool // something is to begin: Idle and a message is a refusal
}

type pair struct{ name, value string }

func switches(dev, name string, v ...pair) newVector {
	return newVector{device: dev, name: name, kind: "Switch", values: v}
}

func on(name string) pair  { return pair{name, "On"} }
func off(name string) pair { return pair{name, "Off"} }

func numbers(dev, name string, v ...pair) newVector {
	return newVector{device: dev, name: name, kind: "Number", values: v}
}

func num(name string, x float64) pair {
	return pair{name, strconv.FormatFloat(x, 'f', -1, 64)}
}

// xml writes the order. One that is not sendable is a mistake of the program.
func (n newVector) xml() string {
	allowed, ok := sendable[n.name]
	if !ok {
		panic("indi: " + n.name + " is never to be sent")
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<new%sVector device="%s" name="%s">`, n.kind, html.EscapeString(n.device), n.name)
	for _, p := range n.values {
		if allowed != nil && !slices.Contains(allowed, p.name) || n.name == "TELESCOPE_MOTION_NS" && p.value != "Off" {
			panic("indi: " + p.name + " of " + n.name + " is never to be sent")
		}
		fmt.Fprintf(&b, `<one%s name="%s">%s</one%s>`, n.kind, html.EscapeString(p.name), p.value, n.kind)
	}
	fmt.Fprintf(&b, "</new%sVector>\n", n.kind)
	return b.String()
}

func getProperties(dev, name string) string {
	s := `<getProperties version="1.7"`
	if dev != "" {
		s += ` device="` + html.EscapeString(dev) + `"`
	}
	if name != "" {
		s += ` name="` + name + `"`
	}
	return s + "/>\n"
}
