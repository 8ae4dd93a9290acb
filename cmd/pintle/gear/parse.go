package gear

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/BurntSushi/toml"

	"pintle/cmd/pintle/spell"
	"pintle/index/written"
)

// UnmarshalTOML takes "auto" or a number of arcmin.
func (t *Tolerance) UnmarshalTOML(v any) error {
	switch x := v.(type) {
	case string:
		if x == "auto" {
			*t = Tolerance{Auto: true}
			return nil
		}
		v, err := written.Tolerance.Convert(x)
		if err != nil {
			return fmt.Errorf(`%w, or "auto"`, err)
		}
		*t = Tolerance{Arcmin: v}
		return nil
	case int64:
		*t = Tolerance{Arcmin: float64(x)}
		return nil
	case float64:
		*t = Tolerance{Arcmin: x}
		return nil
	}
	return fmt.Errorf(`%#v is neither "auto" nor a number of arcmin`, v)
}

// String is the value as it is written in the file.
func (t Tolerance) String() string {
	if t.Auto {
		return `"auto"`
	}
	return fmt.Sprintf("%g", t.Arcmin)
}

// The kinds of things, as they are called in the file.
const (
	KindSite   = "site"
	KindCamera = "camera"
	KindMount  = "mount"
)

// keys lists what each table may hold, for hints.
var keys = map[string][]string{
	"":         {"tolerance", "default", KindSite, KindCamera, KindMount},
	"default":  {KindSite, KindCamera, KindMount},
	KindSite:   {"lat", "lon", "elev", "blocks"},
	KindCamera: {"focal_mm", "pixel_um", "width_px", "height_px", "exposure_s", "trail_px", "guided", "corner_deg", "at"},
	KindMount: {"alt_arcmin_per_turn", "alt_clockwise", "alt_min_deg", "alt_max_deg", "alt_divisions",
		"az_arcmin_per_turn", "az_clockwise", "az_range_deg", "az_divisions", "scatter_arcsec", "at"},
}

// Parse reads the text of a gear file; path serves the error, always a *Fault
// with the line of what is wrong.
func Parse(path, text string) (Gear, error) {
	at := func(f *Fault, key ...string) error {
		f.Path, f.Line, f.Key = path, lineOf(text, key), toml.Key(key).String()
		return f
	}
	plain, bad, key := plainNumbers(text)
	if bad != nil {
		return Gear{}, at(bad, key...)
	}
	var g Gear
	md, err := toml.Decode(plain, &g)
	if err != nil {
		return Gear{}, syntaxFault(path, text, err, plain != text)
	}
	if un := md.Undecoded(); len(un) > 0 {
		return Gear{}, at(unknown(un[0]), un[0]...)
	}
	for _, k := range md.Keys() {
		// The decoder takes a key in any case, which the program, when it
		// changes the file, does not look for.
		word := k[len(k)-1]
		if len(k) == 2 && k[0] != "default" {
			word = k[0]
		}
		if word != strings.ToLower(word) {
			return Gear{}, at(unknown(k), k...)
		}
		if len(k) == 2 && k[0] != "default" {
			if f := (*Fault)(nil); errors.As(CheckName(k[1]), &f) {
				return Gear{}, at(f, k...)
			}
		}
	}
	if f, key := g.fault(md); f != nil {
		return Gear{}, at(f, key...)
	}
	return g, nil
}

// fault returns the first thing that is impossible, and the key it stands at.
// Names are tried in order, so that the same file gives the same error.
func (g Gear) fault(md toml.MetaData) (*Fault, []string) {
	if f := g.Tolerance.check(); f != nil {
		return f, []string{"tolerance"}
	}
	for _, n := range names(g.Sites) {
		for _, need := range []string{"lat", "lon"} {
			if !md.IsDefined(KindSite, n, need) {
				return fault("", "a site needs lat and lon in degrees", "%s is missing", need), []string{KindSite, n}
			}
		}
		if f := g.Sites[n].check(); f != nil {
			return f, []string{KindSite, n, f.Key}
		}
	}
	for _, n := range names(g.Cameras) {
		if f := g.Cameras[n].check(); f != nil {
			return f, []string{KindCamera, n, f.Key}
		}
	}
	for _, n := range names(g.Mounts) {
		if f := g.Mounts[n].check(); f != nil {
			return f, []string{KindMount, n, f.Key}
		}
	}
	return g.defaultFault()
}

func (g Gear) defaultFault() (*Fault, []string) {
	for _, d := range []struct {
		kind, name string
		have       []string
	}{
		{KindSite, g.Default.Site, names(g.Sites)},
		{KindCamera, g.Default.Camera, names(g.Cameras)},
		{KindMount, g.Default.Mount, names(g.Mounts)},
	} {
		if d.name != "" && !slices.Contains(d.have, d.name) {
			return noSuch(d.kind, d.name, d.have), []string{"default", d.kind}
		}
	}
	return nil, nil
}

func noSuch(kind, name string, have []string) *Fault {
	hint := fmt.Sprintf("the file has no %s at all yet", kind)
	if len(have) > 0 {
		hint = fmt.Sprintf("there is: %s", strings.Join(have, ", "))
	}
	return fault("", hint, "no %s called %q", kind, name)
}

// unknown explains a key that means nothing.
func unknown(k toml.Key) *Fault {
	table := ""
	if len(k) > 1 {
		table = k[0]
	}
	last := k[len(k)-1]
	known := keys[table]
	hint := "known here: " + strings.Join(known, ", ")
	if w := spell.Nearest(last, known); w != "" {
		hint = fmt.Sprintf("did you mean %s?", w)
	}
	return fault("", hint, "unknown key")
}

// mistyped is how the TOML library words a value of the wrong type.
var mistyped = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^toml: line (\d+) \(last key "(.*)"\): (?:incompatible types: TOML value has type (\w+); destination has type (\w+)|(.*))$`)
})

// plainType names the library's types in plain words.
var plainType = map[string]string{"string": "text in quotes", "float": "a number", "integer": "a whole number", "int": "a whole number", "bool": "true or false"}

// syntaxFault explains an error of the TOML library; its lines are no good when
// the text was rewritten.
func syntaxFault(path, text string, err error, rewritten bool) error {
	f := &Fault{Path: path, Reason: strings.TrimPrefix(err.Error(), "toml: "),
		Hint: "one `name = value` a line; words in double quotes, numbers without"}
	var pe toml.ParseError
	if errors.As(err, &pe) {
		f.Line, f.Key, f.Reason = pe.Position.Line, pe.LastKey, pe.Message
	} else if m := mistyped().FindStringSubmatch(err.Error()); m != nil {
		f.Line, _ = strconv.Atoi(m[1])
		f.Key, f.Reason = m[2], m[5]
		if m[3] != "" {
			f.Reason = fmt.Sprintf("%s where %s belongs", cmp.Or(plainType[m[3]], m[3]), cmp.Or(plainType[m[4]], m[4]))
		}
	}
	if rewritten {
		f.Line = 0
	}
	if f.Line == 0 && f.Key != "" {
		f.Line = lineOf(text, strings.Split(f.Key, "."))
	}
	return f
}

// lineOf returns the line, from 1, on which key is first defined; 0 when it is
// not found. The start of a TOML text up to a line's end is TOML itself, unless
// it ends inside a value: so the first start that knows the key ends with it.
func lineOf(text string, key []string) int {
	if len(key) == 0 {
		return 0
	}
	last := key[len(key)-1]
	end, tries, open := 0, 0, false
	for n, line := range strings.SplitAfter(text, "\n") {
		end += len(line)
		if !open && !strings.Contains(line, last) {
			continue
		}
		if tries++; tries > maxTries {
			break
		}
		var table map[string]any
		md, err := toml.Decode(text[:end], &table)
		if err == nil && md.IsDefined(key...) {
			return n + 1
		}
		open = err != nil
	}
	return 0
}

// maxTries bounds the search for a line in a hostile file.
const maxTries = 500

func names[T any](m map[string]T) []string { return slices.Sorted(maps.Keys(m)) }

// Names returns the names of the things of one kind, in order.
func (g Gear) Names(kind string) []string {
	switch kind {
	case KindSite:
		return names(g.Sites)
	case KindCamera:
		return names(g.Cameras)
	case KindMount:
		return names(g.Mounts)
	}
	return nil
}
