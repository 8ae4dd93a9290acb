package gear

import (
	"strings"

	"github.com/BurntSushi/toml"

	"pintle/index/sphere"
	"pintle/index/written"
)

// inWords reads the numbers that may stand as text with a unit or a hemisphere,
// such as lat = "31°24'S" and elev = "1400ft": of each kind of thing, by key.
var inWords = map[string]map[string]func(string) (float64, error){
	KindSite: {
		"lat": inDegrees(written.Latitude), "lon": inDegrees(written.Longitude), "elev": written.Elevation.Convert,
	},
	KindCamera: {
		"focal_mm": written.Focal.Convert, "pixel_um": written.Pixel.Convert, "exposure_s": written.Exposure.Convert,
		"trail_px":   written.Pixels("allowed trail", 0.01, 1000, true).Convert,
		"corner_deg": written.Span("corner distance", 0.001, 90, true).Convert,
	},
	KindMount: {
		"alt_arcmin_per_turn": written.PerTurn.Convert, "az_arcmin_per_turn": written.PerTurn.Convert,
		"alt_min_deg":  written.Span("lowest altitude", 0, 90, true).Convert,
		"alt_max_deg":  written.Span("highest altitude", 0, 90, true).Convert,
		"az_range_deg": written.Span("azimuth range", 0.1, 360, true).Convert,
	},
}

func inDegrees(read func(string) (sphere.Angle, error)) func(string) (float64, error) {
	return func(s string) (float64, error) {
		a, err := read(s)
		return a.Degrees(), err
	}
}

// plainNumbers returns the text of a gear file with the numbers that stand there
// in words written as numbers; what cannot be read as TOML comes back as it is.
// bad is a number that cannot be read, at key.
func plainNumbers(text string) (plain string, bad *Fault, key []string) {
	var all map[string]any
	if _, err := toml.Decode(text, &all); err != nil {
		return text, nil, nil
	}
	changed := false
	for _, kind := range []string{KindSite, KindCamera, KindMount} {
		things, _ := all[kind].(map[string]any)
		for _, name := range names(things) {
			thing, _ := things[name].(map[string]any)
			for _, k := range keys[kind] {
				s, text := thing[k].(string)
				read := inWords[kind][k]
				if !text || read == nil {
					continue
				}
				v, err := read(s)
				if err != nil {
					return "", fault("", "a number, or text such as \"1400ft\" or \"31°24'S\"", "%v", err), []string{kind, name, k}
				}
				thing[k], changed = v, true
			}
		}
	}
	if !changed {
		return text, nil, nil
	}
	var b strings.Builder
	if err := toml.NewEncoder(&b).Encode(all); err != nil {
		return text, nil, nil
	}
	return b.String(), nil, nil
}
