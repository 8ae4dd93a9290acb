package alpaca

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"pintle/cmd/pintle/device/fake"
)

// official is the interface's own document, as far as pintle uses it.
type official struct{ doc map[string]any }

func readOfficial(t *testing.T) official {
	t.Helper()
	b, err := os.ReadFile("testdata/AlpacaDeviceAPI_v1.parts.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var o official
	if err := yaml.Unmarshal(b, &o.doc); err != nil {
		t.Fatal(err)
	}
	return o
}

func dig(v any, keys ...string) any {
	for _, k := range keys {
		m, _ := v.(map[string]any)
		v = m[k]
	}
	return v
}

// resolve follows references.
func (o official) resolve(v any) any {
	for {
		ref, ok := dig(v, "$ref").(string)
		if !ok {
			return v
		}
		v = dig(o.doc, strings.Split(strings.TrimPrefix(ref, "#/"), "/")...)
	}
}

// param is what the document says of one value.
type param struct {
	kind     string
	min, max *float64
	required bool
}

// values returns the parameters of a call by name.
func (o official) values(c fake.Call) (map[string]param, error) {
	op := dig(o.doc, "paths", "/"+c.Device+"/{device_number}/"+c.Name, strings.ToLower(c.HTTP))
	if op == nil {
		op = dig(o.doc, "paths", "/{device_type}/{device_number}/"+c.Name, strings.ToLower(c.HTTP))
	}
	if op == nil {
		return nil, fmt.Errorf("%s %s of a %s is not in the document", c.HTTP, c.Name, c.Device)
	}
	list := map[string]param{}
	for _, p := range asList(dig(op, "parameters")) {
		p = o.resolve(p)
		if dig(p, "in") == "query" {
			required, _ := dig(p, "required").(bool)
			list[dig(p, "name").(string)] = o.param(dig(p, "schema"), required)
		}
	}
	body := o.resolve(dig(op, "requestBody"))
	o.schema(dig(body, "content", "application/x-www-form-urlencoded", "schema"), list)
	return list, nil
}

// schema collects the properties of a schema and of those that it is made of.
func (o official) schema(s any, list map[string]param) {
	s = o.resolve(s)
	for _, part := range asList(dig(s, "allOf")) {
		o.schema(part, list)
	}
	props, _ := dig(s, "properties").(map[string]any)
	for name, p := range props {
		list[name] = o.param(p, false)
	}
	for _, r := range asList(dig(s, "required")) {
		p := list[r.(string)]
		p.required = true
		list[r.(string)] = p
	}
}

func (o official) param(s any, required bool) param {
	s = o.resolve(s)
	p := param{required: required}
	p.kind, _ = dig(s, "type").(string)
	bound := func(k string) *float64 {
		switch x := dig(s, k).(type) {
		case int:
			f := float64(x)
			return &f
		case float64:
			return &x
		}
		return nil
	}
	p.min, p.max = bound("minimum"), bound("maximum")
	return p
}

func asList(v any) []any {
	l, _ := v.([]any)
	return l
}

// check returns what is wrong with a call by the document.
func (o official) check(c fake.Call) error {
	list, err := o.values(c)
	if err != nil {
		return err
	}
	for name, p := range list {
		if p.required && len(c.Values[name]) == 0 {
			return fmt.Errorf("%s %s: %s is missing", c.HTTP, c.Name, name)
		}
	}
	for name, v := range c.Values {
		p, ok := list[name]
		if !ok || len(v) != 1 {
			return fmt.Errorf("%s %s: %s=%q is not in the document", c.HTTP, c.Name, name, v)
		}
		if err := p.check(v[0]); err != nil {
			return fmt.Errorf("%s %s: %s: %w", c.HTTP, c.Name, name, err)
		}
	}
	return nil
}

func (p param) check(v string) error {
	var x float64
	var err error
	switch p.kind {
	case "integer":
		var n int64
		n, err = strconv.ParseInt(v, 10, 64)
		x = float64(n)
	case "number":
		x, err = strconv.ParseFloat(v, 64)
	case "boolean":
		if v != "True" && v != "False" {
			err = fmt.Errorf("%q is no boolean", v)
		}
	}
	if err == nil && (p.min != nil && x < *p.min || p.max != nil && x > *p.max) {
		err = fmt.Errorf("%s is outside the limits", v)
	}
	return err
}

// The check itself: it must refuse what is wrong.
func TestOfficialRefuses(t *testing.T) {
	o := readOfficial(t)
	ids := func(kv ...string) map[string][]string {
		m := map[string][]string{"ClientID": {"7"}, "ClientTransactionID": {"1"}}
		for i := 0; i < len(kv); i += 2 {
			m[kv[i]] = []string{kv[i+1]}
		}
		return m
	}
	good := fake.Call{HTTP: "PUT", Device: "telescope", Name: "moveaxis", Values: ids("Axis", "0", "Rate", "-1.5")}
	if err := o.check(good); err != nil {
		t.Error(err)
	}
	for _, c := range []fake.Call{
		{HTTP: "PUT", Device: "telescope", Name: "moveaxis", Values: ids("Axis", "0")},
		{HTTP: "PUT", Device: "telescope", Name: "moveaxis", Values: ids("axis", "0", "Rate", "1")},
		{HTTP: "PUT", Device: "telescope", Name: "moveaxis", Values: ids("Axis", "0", "Rate", "fast")},
		{HTTP: "PUT", Device: "telescope", Name: "moveaxis", Values: ids("Axis", "0", "Rate", "1", "Speed", "1")},
		{HTTP: "GET", Device: "telescope", Name: "moveaxis", Values: ids()},
		{HTTP: "GET", Device: "telescope", Name: "canmoveaxis", Values: ids()},
		{HTTP: "PUT", Device: "camera", Name: "startexposure", Values: ids("Duration", "1", "Light", "yes")},
		{HTTP: "GET", Device: "camera", Name: "imageReady", Values: ids()},
	} {
		if o.check(c) == nil {
			t.Errorf("%+v passed", c)
		}
	}
}
