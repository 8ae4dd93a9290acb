package targets

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pintle/cmd/pintle/spell"
)

// plain takes a name down to what counts: small letters and digits, Messier as M,
// numbers without zeros before them.
func plain(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			b.WriteRune(r)
		}
	}
	p := b.String()
	if rest, ok := strings.CutPrefix(p, "messier"); ok {
		p = "m" + rest
	}
	if catalogue, number, ok := designation(p); ok && catalogue != "" {
		return catalogue + strconv.Itoa(number)
	}
	return p
}

// Find returns the target called name: "M42", "m 42", "Messier 42", "NGC 1976",
// "vega", "orion nebula", a name also with a letter wrong. The error names what was
// looked for and, where something is close, that.
func Find(name string) (Target, error) {
	want := plain(name)
	if want == "" {
		return Target{}, fmt.Errorf("no name given; an NGC, IC or Messier number such as M42, or a bright star such as Vega")
	}
	if t, ok := fewNames()[want]; ok {
		return t, nil
	}
	if t, ok := allNames()[want]; ok {
		return t, nil
	}
	if catalogue, number, ok := designation(want); ok {
		return Target{}, noNumber(name, catalogue, number)
	}
	near, slips := alike(want)
	// One wrong letter in a long word is a slip of the finger; in a short word it is
	// another object.
	if len(near) == 1 && slips == 1 && len(want) >= 5 {
		return near[0], nil
	}
	if len(near) == 0 {
		near = called(want)
	}
	if len(near) > 0 && len(want) >= 4 {
		return Target{}, didYouMean(name, near)
	}
	return Target{}, fmt.Errorf("no target called %q; Messier, NGC and IC numbers, common names and the brightest stars are known, anything else needs its coordinates", name)
}

// mostMeant is how many names an error offers.
const mostMeant = 3

func didYouMean(name string, near []Target) error {
	var titles []string
	for _, t := range near[:min(len(near), mostMeant)] {
		titles = append(titles, t.Title())
	}
	return fmt.Errorf("no target called %q; did you mean %s?", name, strings.Join(titles, ", or "))
}

// noNumber says why there is no such number, and what it may have been meant to be.
func noNumber(name, catalogue string, number int) error {
	switch end := last(catalogue); {
	case end != 0 && (number < 1 || number > end):
		return fmt.Errorf("no target called %q: the numbers of %s go from 1 to %d; anything else needs its coordinates", name, title(catalogue), end)
	case end != 0:
		return fmt.Errorf("no target called %q: that number of %s is not in the list here, since it is another's double, a star or lost; try its other number, or its coordinates", name, title(catalogue))
	}
	var near []Target
	for _, known := range []string{"m", "ngc", "ic"} {
		t, ok := allNames()[known+strconv.Itoa(number)]
		if ok && (catalogue == "" || spell.Edits(catalogue, known) <= 1 || known == "ngc" && spell.Edits(catalogue, known) <= 2) {
			near = append(near, t)
		}
	}
	if len(near) > 0 {
		return didYouMean(name, near)
	}
	return fmt.Errorf("no target called %q; Messier, NGC and IC numbers are known, anything else needs its coordinates", name)
}

// title is how a catalogue is called.
func title(catalogue string) string {
	if catalogue == "m" {
		return "Messier"
	}
	return strings.ToUpper(catalogue)
}

// longestName is more letters than any name has (a test makes sure of it).
const longestName = 40

// alike are the targets whose names differ from want by the fewest letters, two at
// most, and how many that are.
func alike(want string) (near []Target, slips int) {
	slips = 3
	if len(want) > longestName {
		return nil, slips
	}
	for _, t := range slices.Concat(All(), numbered()) {
		for _, n := range []string{plain(t.Name), plain(t.Also)} {
			if _, _, number := designation(n); number || n == "" {
				continue
			}
			if d := spell.Edits(want, n); d < slips {
				slips, near = d, []Target{t}
			} else if d == slips && d < 3 {
				near = append(near, t)
			}
		}
	}
	return near, slips
}

// called are the targets whose common name has want in it, those first in which it
// begins a word.
func called(want string) []Target {
	var begin, within []Target
	for _, t := range slices.Concat(All(), numbered()) {
		name := t.Name
		if t.Also != "" {
			name = t.Also
		} else if t.Type != "star" {
			continue
		}
		switch words := strings.Fields(name); {
		case slices.ContainsFunc(words, func(w string) bool { return strings.HasPrefix(plain(w), want) }), strings.HasPrefix(plain(name), want):
			begin = append(begin, t)
		case strings.Contains(plain(name), want):
			within = append(within, t)
		}
	}
	return append(begin, within...)
}

// Search returns up to most targets for what has been typed so far: the one of that
// name, those whose number begins so or whose name has it, else those that are
// spelt nearly so.
func Search(typed string, most int) []Target {
	want := plain(typed)
	if want == "" {
		return nil
	}
	out := numbersLike(want)
	if t, ok := allNames()[want]; ok {
		out = append([]Target{t}, out...)
	}
	if _, _, ok := designation(want); !ok {
		out = append(out, called(want)...)
		if len(out) == 0 && len(want) >= 4 {
			out, _ = alike(want)
		}
	}
	seen := map[string]bool{}
	out = slices.DeleteFunc(out, func(t Target) bool {
		twice := seen[t.Name]
		seen[t.Name] = true
		return twice
	})
	return out[:min(len(out), most)]
}

// numbersLike are the objects whose number begins with want; for digits alone those
// of that number in every catalogue.
func numbersLike(want string) (out []Target) {
	catalogue, _, ok := designation(want)
	switch {
	case ok && catalogue == "":
		for _, c := range []string{"m", "ngc", "ic"} {
			if t, ok := allNames()[c+want]; ok {
				out = append(out, t)
			}
		}
	case ok || last(want) != 0:
		for _, t := range slices.Concat(All(), numbered()) {
			if strings.HasPrefix(plain(t.Name), want) && t.Type != "star" {
				out = append(out, t)
			}
		}
	}
	return out
}
