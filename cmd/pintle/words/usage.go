package words

import (
	"errors"
	"fmt"
	"runtime"
	"runtime/debug"
	"strconv"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/spell"
)

// Mistyped is the error for a word that is none of those known; what names the
// kind of word. It says which was meant, when one is like it.
func Mistyped(what, word string, known []string, otherwise string) error {
	err := fmt.Errorf("there is no %s called %q", what, word)
	if near := spell.Nearest(word, known); near != "" {
		return advice.With(err, fmt.Sprintf("did you mean %s?", near))
	}
	return advice.With(err, otherwise)
}

// BadFlag is the error for the value of a flag that cannot be read; kind is the
// type of the value, usage says what the flag wants.
func BadFlag(name, value, kind, usage string, err error) error {
	wanted := map[string]string{
		"int": "is not a whole number", "float64": "is no number", "bool": "is neither true nor false",
		"duration": "is not a time with its unit, such as 90s or 2h",
	}[kind]
	switch {
	case errors.Is(err, strconv.ErrRange):
		err = fmt.Errorf("--%s %q is out of range", name, value)
	case wanted != "":
		err = fmt.Errorf("--%s %q %s", name, value, wanted)
	default:
		err = fmt.Errorf("--%s %q: %w", name, value, err)
	}
	return advice.With(err, usage)
}

// Release says which release the program is: version, revision, date.
func Release(release string) string {
	return fmt.Sprintf("pintle %s, %s %s/%s", release, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

// Version says which build of the program this is.
func Version(b *debug.BuildInfo, ok bool) string {
	if !ok {
		return fmt.Sprintf("pintle, built without a note of its version, %s %s/%s", runtime.Version(), runtime.GOOS, runtime.GOARCH)
	}
	set := map[string]string{}
	for _, s := range b.Settings {
		set[s.Key] = s.Value
	}
	s := "pintle " + b.Main.Version
	if b.Main.Version == "" || b.Main.Version == "(devel)" {
		s = "pintle, not a release"
	}
	if rev := set["vcs.revision"]; rev != "" {
		s += ", revision " + rev[:min(12, len(rev))]
		if t, err := time.Parse(time.RFC3339, set["vcs.time"]); err == nil {
			s += " of " + t.UTC().Format("2006-01-02")
		}
		if set["vcs.modified"] == "true" {
			s += " and changed since"
		}
	}
	return fmt.Sprintf("%s, %s %s/%s", s, b.GoVersion, runtime.GOOS, runtime.GOARCH)
}
