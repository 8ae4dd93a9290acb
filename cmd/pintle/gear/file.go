package gear

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/whole"
)

// maxSize is the largest gear file that is read, bytes.
const maxSize = 1 << 16

// File is a gear file in memory, with the text it was read from.
type File struct {
	Path string
	Gear Gear
	text string
	had  bool // the file existed
}

// Load reads the file at path. A file that does not exist is an empty one.
// Errors about its contents are *Fault.
func Load(path string) (*File, error) {
	text, had, err := read(path)
	if err != nil {
		return nil, err
	}
	g, err := Parse(path, text)
	if err != nil {
		return nil, err
	}
	return &File{Path: path, Gear: g, text: text, had: had}, nil
}

func read(path string) (text string, had bool, err error) {
	st, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", false, nil
	}
	if err == nil && !st.Mode().IsRegular() { // opening a pipe would wait for ever
		return "", false, &Fault{Path: path, Reason: "is not a regular file", Hint: "move it away, then: pintle gear add site garden --lat 31.4S --lon 121.9E --elev 430"}
	}
	f, err := os.Open(path)
	if err != nil {
		return "", false, advice.With(err, "check that the file may be read")
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, maxSize+1))
	if err != nil {
		return "", false, err
	}
	if len(b) > maxSize {
		return "", false, &Fault{Path: path, Reason: fmt.Sprintf("larger than %d bytes", maxSize), Hint: "this does not look like a gear file"}
	}
	return strings.TrimPrefix(string(b), "\ufeff"), true, nil
}

// Change loads the file at path and does to it what do says, while no other run
// of the program changes it.
func Change(path string, do func(*File) error) (*File, error) {
	if err := makeFolder(path); err != nil {
		return nil, err
	}
	var f *File
	err := whole.Locked(path, func() (err error) {
		if f, err = Load(path); err != nil {
			return err
		}
		return do(f)
	})
	return f, err
}

// makeFolder makes the folder of the file when it is missing.
func makeFolder(path string) error {
	return advice.With(os.MkdirAll(filepath.Dir(path), 0o755), "check that the folder for settings can be written")
}

// Exists is true when the file was there when it was loaded.
func (f *File) Exists() bool { return f.had }

// Put adds a thing (a Site, Camera or Mount) under a name, or replaces it when
// replace is set, and saves the file.
func (f *File) Put(name string, thing any, replace bool) error {
	if err := CheckName(name); err != nil {
		return err
	}
	kind, bad := kindOf(thing)
	if bad != nil {
		return bad
	}
	var body bytes.Buffer
	enc := toml.NewEncoder(&body)
	enc.Indent = ""
	if err := enc.Encode(thing); err != nil {
		return fmt.Errorf("%s %q cannot be written: %w", kind, name, err)
	}
	text := joinText(f.text, "["+toml.Key{kind, name}.String()+"]\n"+body.String())
	if slices.Contains(f.Gear.Names(kind), name) {
		if !replace {
			return fault("", "choose another name, or replace it with --replace", "there is a %s called %q already", kind, name)
		}
		text = f.updateTable(kind, name, body.String())
	}
	return f.save(text, func(g *Gear) { g.set(name, thing) })
}

// kindOf returns the table a thing belongs into, and what is impossible about
// the thing.
func kindOf(thing any) (string, error) {
	var kind string
	var f *Fault
	switch x := thing.(type) {
	case Site:
		kind, f = KindSite, x.check()
	case Camera:
		kind, f = KindCamera, x.check()
	case Mount:
		kind, f = KindMount, x.check()
	default:
		panic(fmt.Sprintf("gear: no place for a %T", thing))
	}
	if f != nil {
		return kind, f
	}
	return kind, nil
}

func (g *Gear) set(name string, thing any) {
	switch x := thing.(type) {
	case Site:
		put(&g.Sites, name, x)
	case Camera:
		put(&g.Cameras, name, x)
	case Mount:
		put(&g.Mounts, name, x)
	}
}

// put copies the map, so that the one before stays as it is.
func put[T any](m *map[string]T, name string, x T) {
	c := maps.Clone(*m)
	if c == nil {
		c = map[string]T{}
	}
	c[name] = x
	*m = c
}

// SetDefault makes a thing the default of its kind and saves the file.
func (f *File) SetDefault(kind, name string) error {
	g := f.Gear
	d := map[string]*string{KindSite: &g.Default.Site, KindCamera: &g.Default.Camera, KindMount: &g.Default.Mount}[kind]
	if d == nil {
		return fault("", "site, camera or mount", "no kind %q", kind)
	}
	*d = name
	if bad, _ := g.defaultFault(); bad != nil {
		return bad
	}
	line := fmt.Sprintf("%s = %s\n", kind, Quote(name))
	text, ok := f.replaceLine([]string{"default", kind}, line)
	if !ok {
		if n := lineOf(f.text, []string{"default"}); n > 0 {
			text = insertAfter(f.text, n, line)
		} else {
			text = joinText(f.text, "[default]\n"+line)
		}
	}
	return f.save(text, func(h *Gear) { h.Default = g.Default })
}

// SetTolerance sets the tolerance and saves the file.
func (f *File) SetTolerance(t Tolerance) error {
	if bad := t.check(); bad != nil {
		return bad
	}
	line := "tolerance = " + t.String() + "\n"
	text, ok := f.replaceLine([]string{"tolerance"}, line)
	if !ok { // before the first table
		head := 0
		lines := strings.SplitAfter(f.text, "\n")
		for head < len(lines) && strings.HasPrefix(lines[head], "#") {
			head++
		}
		rest := strings.Join(lines[head:], "")
		if strings.HasPrefix(rest, "[") {
			rest = "\n" + rest
		}
		text = strings.Join(lines[:head], "") + line + rest
	}
	return f.save(text, func(g *Gear) { g.Tolerance = t })
}

// Quote writes a TOML string.
func Quote(s string) string {
	var b bytes.Buffer
	if err := toml.NewEncoder(&b).Encode(map[string]string{"x": s}); err != nil {
		return fmt.Sprintf("%q", s)
	}
	return strings.TrimSpace(strings.TrimPrefix(b.String(), "x = "))
}

// save writes text when it means what the gear with the change means; nothing
// is written that the program could not read back.
func (f *File) save(text string, change func(*Gear)) error {
	want := f.Gear
	change(&want)
	got, err := Parse(f.Path, text)
	if err != nil || !reflect.DeepEqual(tidy(got), tidy(want)) {
		return &Fault{Path: f.Path, Reason: "is written in a way that cannot be changed safely by the program",
			Hint: "change it with a text editor; nothing was written"}
	}
	now, had, err := read(f.Path)
	if err != nil {
		return err
	}
	if now != f.text || had != f.had {
		return &Fault{Path: f.Path, Reason: "was changed by someone else meanwhile", Hint: "run the command again; nothing was written"}
	}
	if err := makeFolder(f.Path); err != nil {
		return err
	}
	write := func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	}
	if err := whole.Write(f.Path, whole.How{Replace: true}, write); err != nil {
		return err
	}
	f.Gear, f.text, f.had = got, text, true
	return nil
}

// tidy makes empty maps and missing ones alike.
func tidy(g Gear) Gear {
	if len(g.Sites) == 0 {
		g.Sites = nil
	}
	if len(g.Cameras) == 0 {
		g.Cameras = nil
	}
	if len(g.Mounts) == 0 {
		g.Mounts = nil
	}
	return g
}
