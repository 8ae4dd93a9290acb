package indi

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// vector is a property of a device as it was last told.
type vector struct {
	device, name string
	kind         string // Text, Number, Switch, Light, BLOB
	state        string // Idle, Ok, Busy, Alert
	elements     []element
	arrived      time.Time // by our clock
	news         int       // counts set messages; 0: only defined so far
}

type element struct {
	name, label string
	value       string
	min, max    float64 // of numbers; both 0 when not told
}

func (v *vector) element(name string) *element {
	if v == nil {
		return nil
	}
	for i := range v.elements {
		if v.elements[i].name == name {
			return &v.elements[i]
		}
	}
	return nil
}

// on reports whether a switch is on.
func (v *vector) on(name string) bool {
	e := v.element(name)
	return e != nil && e.value == "On"
}

// number returns the value of a number; ok is false when there is none.
func (v *vector) number(name string) (x float64, ok bool) {
	e := v.element(name)
	if e == nil {
		return 0, false
	}
	x, err := parseNumber(e.value)
	return x, err == nil
}

// parseNumber takes a decimal number, or one in sixtieths as the protocol allows:
// "-3:30:36", "-3 30 36".
func parseNumber(s string) (float64, error) {
	parts := strings.FieldsFunc(s, func(c rune) bool { return c == ':' || c == ' ' || c == ';' })
	if len(parts) == 0 || len(parts) > 3 {
		return 0, fmt.Errorf("%.40q is no number", s)
	}
	sum, unit := 0.0, 1.0
	for i, p := range parts {
		x, err := strconv.ParseFloat(p, 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || i > 0 && !(x >= 0 && x < 61) {
			return 0, fmt.Errorf("%.40q is no number", s)
		}
		sum += math.Abs(x) * unit
		unit /= 60
	}
	if strings.HasPrefix(parts[0], "-") {
		sum = -sum
	}
	return sum, nil
}

// define makes a vector of a def message.
func define(m *message, now time.Time) *vector {
	v := &vector{
		device: m.attr.get("device"), name: m.attr.get("name"), state: m.attr.get("state"), arrived: now,
		kind: strings.TrimSuffix(strings.TrimPrefix(m.tag, "def"), "Vector"),
	}
	for _, it := range m.items {
		e := element{name: it.attr.get("name"), label: it.attr.get("label"), value: it.text}
		e.limits(it.attr)
		v.elements = append(v.elements, e)
	}
	return v
}

func (e *element) limits(a attrs) {
	if s := a.get("min"); s != "" {
		e.min, _ = parseNumber(s)
	}
	if s := a.get("max"); s != "" {
		e.max, _ = parseNumber(s)
	}
}

// update takes in a set message.
func (v *vector) update(m *message, now time.Time) {
	if s := m.attr.get("state"); s != "" {
		v.state = s
	}
	v.arrived = now
	v.news++
	for _, it := range m.items {
		if e := v.element(it.attr.get("name")); e != nil {
			e.value = it.text
			e.limits(it.attr)
		}
	}
}
