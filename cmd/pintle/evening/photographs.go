package evening

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/whole"
	"pintle/cmd/pintle/words"
)

// Photograph is a file that was handed over, and what became of it.
type Photograph struct {
	Name     string    `json:"name"`
	Size     int64     `json:"size"`
	Modified time.Time `json:"modified"` // what the sender's file says
	Sum      string    `json:"sum"`      // SHA-256
	State    State     `json:"state"`
	// TakenBy is the camera that the program commanded, Turns how the commanded mount
	// turned RA between the photograph before and this one.
	TakenBy string         `json:"taken_by,omitempty"`
	Turns   []journal.Turn `json:"turns,omitempty"`
	Brief   string         `json:"brief,omitempty"`  // why it is Aside or Out, in a few words
	Reason  string         `json:"reason,omitempty"` // the same with all details
	Hint    string         `json:"hint,omitempty"`   // what to try, of Out

	// What its file says, once it was looked at.
	Time     time.Time `json:"time,omitzero"`   // middle of the exposure
	Clock    string    `json:"clock,omitempty"` // the same by the person's clock, with its zone; not kept
	Doubtful string    `json:"doubtful,omitempty"`
	Exposure float64   `json:"exposure_s,omitempty"`
	Format   string    `json:"format,omitempty"`
	Wide     int       `json:"wide,omitempty"` // pixels
	High     int       `json:"high,omitempty"`
	Spots    int       `json:"spots,omitempty"`    // found on it
	Pictured bool      `json:"pictured,omitempty"` // there is a small picture of it

	// What was recognised.
	Stars int     `json:"stars,omitempty"`
	RA    float64 `json:"ra_deg,omitempty"` // of its middle, ICRS
	Dec   float64 `json:"dec_deg,omitempty"`
	Field string  `json:"field,omitempty"`     // width x height in degrees
	Diag  float64 `json:"diagonal,omitempty"`  // degrees
	Words string  `json:"words,omitempty"`     // the same in a sentence
	Scale float64 `json:"scale_rad,omitempty"` // a pixel's angle at the middle
	// Blocked is what it shows of what blocks the sky; Answered, whether the person has
	// taken that over or declined it.
	Blocked  []Stretch `json:"blocked,omitempty"`
	Answered bool      `json:"answered,omitempty"`

	atOnce bool // is measured as soon as it was looked at
}

// State is what became of a photograph.
type State string

// The states.
const (
	New    State = "new"    // not looked at yet
	Ready  State = "ready"  // may be measured
	Aside  State = "aside"  // takes no part, for the Reason given, and needs none of the person's doing
	Queued State = "queued" // is to be measured
	In     State = "in"     // recognised, and measured with
	Out    State = "out"    // not recognised, or it does not fit, for the Reason given
)

// Limits of what may be handed over (no source; chosen for large raw files of a
// long evening, and a small disk).
const (
	mostBytes       = 512 << 20 // of one photograph
	mostFolder      = 20 << 30  // of all
	mostPhotographs = 500
	mostAtOnce      = 3 // uploads; others wait
)

// Failures that a face may want to tell apart.
var (
	ErrFull    = errors.New("no room for it")
	ErrTooLong = errors.New("too large")
	ErrUnknown = errors.New("there is no such thing")
)

// Add takes a photograph over: name is what the sender calls it, size what it
// says it has, modified when it was written. A photograph that is there already
// is not kept twice.
func (e *Evening) Add(ctx context.Context, name string, size int64, modified time.Time, r io.Reader) (*Photograph, error) {
	return e.add(ctx, name, size, modified, r, "")
}

// add is Add for a photograph that a camera took.
func (e *Evening) add(ctx context.Context, name string, size int64, modified time.Time, r io.Reader, camera string) (*Photograph, error) {
	if size > mostBytes {
		return nil, advice.With(fmt.Errorf("%w: %s has %d bytes, the limit is %d", ErrTooLong, words.Short(name, 60), size, int64(mostBytes)), "photograph in a smaller format, or measure it with \"pintle axis\"")
	}
	if size <= 0 {
		return nil, advice.With(fmt.Errorf("%s is empty", words.Short(name, 60)), "choose the photograph again")
	}
	select {
	case e.slots <- struct{}{}:
		defer func() { <-e.slots }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	name, err := e.reserve(name, size)
	if err != nil {
		return nil, err
	}
	defer e.release(name, size)
	sum, err := e.write(name, size, r)
	if err != nil {
		return nil, err
	}
	e.command.took(name, camera)
	return e.enter(&Photograph{Name: name, Size: size, Modified: e.sensible(modified), Sum: sum, State: New, TakenBy: camera})
}

// write writes the file of a photograph.
func (e *Evening) write(name string, size int64, r io.Reader) (sum string, err error) {
	h := sha256.New()
	err = whole.Write(e.path(name), whole.How{}, func(w io.Writer) error {
		n, err := io.Copy(io.MultiWriter(w, h), io.LimitReader(r, size+1))
		if err == nil && n != size {
			err = advice.With(fmt.Errorf("%d of %d bytes of %s arrived", n, size, name), "send it again")
		}
		return err
	})
	return hex.EncodeToString(h.Sum(nil)), full(err)
}

// enter puts a written photograph on the list, or takes its file away again when
// it is there already.
func (e *Evening) enter(p *Photograph) (*Photograph, error) {
	e.mu.Lock()
	for _, o := range e.kept.Photographs {
		if o.Sum == p.Sum {
			e.mu.Unlock()
			os.Remove(e.path(p.Name))
			again := *o
			return &again, nil
		}
	}
	e.mu.Unlock()
	_ = os.Chtimes(e.path(p.Name), time.Time{}, p.Modified)
	made := *p // once it is on the list it may be looked at, beside us
	err := e.change(func(k *kept) error { k.Photographs = append(k.Photographs, p); return nil }, func() { e.look(p) })
	if err != nil {
		os.Remove(e.path(p.Name))
		return nil, err
	}
	return &made, nil
}

// reserve gives a name to a photograph that is to be written, one that nothing in
// the folder has.
func (e *Evening) reserve(name string, size int64) (string, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if err := e.roomFor(size); err != nil {
		return "", err
	}
	stem, ext := harmless(name)
	try := stem + ext
	for i := 2; e.named(try); i++ {
		try = fmt.Sprintf("%s (%d)%s", stem, i, ext)
	}
	e.taken[try] = true
	e.room += size
	return try, nil
}

// roomFor refuses a photograph that is one too many; mu is held.
func (e *Evening) roomFor(size int64) error {
	all := size
	for _, p := range e.kept.Photographs {
		all += p.Size
	}
	switch {
	case len(e.kept.Photographs)+len(e.taken) >= mostPhotographs:
		return advice.With(fmt.Errorf("%w: %d photographs are here, the limit is %d", ErrFull, len(e.kept.Photographs), mostPhotographs), "forget some that are not needed")
	case all+e.room > mostFolder:
		return advice.With(fmt.Errorf("%w: the photographs of this evening would take %d MB, the limit is %d MB", ErrFull, (all+e.room)>>20, mostFolder>>20), "forget some that are not needed")
	}
	return nil
}

// named is true when a name is taken; systems that do not tell capitals apart
// are thought of.
func (e *Evening) named(name string) bool {
	same := func(o string) bool { return strings.EqualFold(o, name) }
	for o := range e.taken {
		if same(o) {
			return true
		}
	}
	if _, err := os.Lstat(e.path(name)); err == nil {
		return true
	}
	return slices.ContainsFunc(e.kept.Photographs, func(p *Photograph) bool { return same(p.Name) })
}

func (e *Evening) release(name string, size int64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	delete(e.taken, name)
	e.room -= size
}

// path is where a photograph lies. Names come from harmless, and are looked up on
// the list.
func (e *Evening) path(name string) string { return filepath.Join(e.c.Folder, photosName, name) }

// mostName bounds the stem of a file's name, letters.
const mostName = 60

// reserved names mean devices on some systems, whatever follows them.
var reserved = strings.Fields("con prn aux nul com1 com2 com3 com4 com5 com6 com7 com8 com9 lpt1 lpt2 lpt3 lpt4 lpt5 lpt6 lpt7 lpt8 lpt9")

// harmless makes a file's name of what somebody sent: no folder, no hidden file,
// nothing that a system or a shell takes for something else.
func harmless(name string) (stem, ext string) {
	if i := strings.LastIndexAny(name, `/\`); i >= 0 {
		name = name[i+1:]
	}
	plain := func(r rune) rune {
		if r < unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r)) || strings.ContainsRune("-_.", r) {
			return r
		}
		return '_'
	}
	name = strings.Map(plain, strings.ToValidUTF8(name, "_"))
	ext = filepath.Ext(name)
	stem = strings.Trim(strings.TrimSuffix(name, ext), "._")
	if len(ext) > 6 || len(ext) < 2 {
		stem, ext = strings.Trim(stem+strings.ReplaceAll(ext, ".", "_"), "._"), ""
	}
	if len(stem) > mostName {
		stem = stem[:mostName]
	}
	first, _, _ := strings.Cut(strings.ToLower(stem), ".")
	if stem == "" || slices.Contains(reserved, first) {
		stem = "photograph" + stem
	}
	return stem, ext
}

// sensible bounds a time that somebody stated.
func (e *Evening) sensible(t time.Time) time.Time {
	now := e.c.Now()
	if t.Year() < 1990 || t.After(now.Add(time.Minute)) {
		return now
	}
	return t
}

// find returns the photograph on the list.
func (k *kept) find(name string) (*Photograph, error) {
	for _, p := range k.Photographs {
		if p.Name == name {
			return p, nil
		}
	}
	return nil, advice.With(fmt.Errorf("%w: no photograph is called %s", ErrUnknown, words.Short(name, 60)), "load the page anew")
}

// Forget takes a photograph off the list and deletes its file. What was measured
// with it stands.
func (e *Evening) Forget(name string) error {
	err := e.change(func(k *kept) error {
		p, err := k.find(name)
		if err != nil {
			return err
		}
		if p.State == Queued {
			return advice.With(fmt.Errorf("%s is being measured", p.Name), "wait until it is done")
		}
		k.Photographs = slices.DeleteFunc(k.Photographs, func(o *Photograph) bool { return o == p })
		return nil
	})
	if err != nil {
		return err
	}
	for _, path := range []string{e.path(name), e.picture(name, ".jpg"), e.picture(name, ".json")} {
		if rm := os.Remove(path); rm != nil && !errors.Is(rm, os.ErrNotExist) {
			err = errors.Join(err, rm)
		}
	}
	return err
}

// picture is where something about a photograph's picture lies.
func (e *Evening) picture(name, ext string) string {
	return filepath.Join(e.c.Folder, picsName, name+ext)
}

// Measure has the photographs named measured, in the order of their exposures;
// anew begins a new measurement, in which they all may take part.
func (e *Evening) Measure(names []string, anew bool) error {
	if err := e.still(); anew && err != nil {
		return err
	}
	if anew && len(names) < 2 {
		return advice.With(fmt.Errorf("%s chosen, at least 2 are needed", words.Count(len(names), "photograph")), "choose two or three between which the mount was turned about its RA axis")
	}
	var chosen []*Photograph
	err := e.change(func(k *kept) error {
		for _, n := range names {
			p, err := k.find(n)
			if err != nil {
				return err
			}
			switch {
			case p.State == Ready, anew && (p.State == In || p.State == Out):
				chosen = append(chosen, p)
			case p.State == Queued:
			default:
				return advice.With(fmt.Errorf("%s cannot be measured now: %s", p.Name, cmp.Or(p.Brief, string(p.State))), "leave it out, or wait until it has been looked at")
			}
		}
		for _, p := range chosen {
			p.becomes(Queued, nil)
		}
		if anew {
			k.fresh(e.c.Now())
		}
		return nil
	})
	if err != nil {
		return err
	}
	slices.SortStableFunc(chosen, func(a, b *Photograph) int { return byTime(a, b) })
	if anew {
		e.renew()
	}
	e.mu.Lock()
	e.takes = append(e.takes, chosen...)
	e.mu.Unlock()
	e.stir()
	return nil
}

// byTime orders photographs by their exposures, those without a time by their
// files.
func byTime(a, b *Photograph) int {
	at := func(p *Photograph) time.Time {
		if p.Time.IsZero() {
			return p.Modified
		}
		return p.Time
	}
	return cmp.Or(at(a).Compare(at(b)), cmp.Compare(a.Name, b.Name))
}

// offered are the newest three that may be measured.
func offered(all []*Photograph) []string {
	var ready []*Photograph
	for _, p := range all {
		if p.State == Ready {
			ready = append(ready, p)
		}
	}
	slices.SortStableFunc(ready, byTime)
	out := []string{}
	for _, p := range ready[max(0, len(ready)-3):] {
		out = append(out, p.Name)
	}
	return out
}

func quote(s string) string { return fmt.Sprintf("%.40q", s) }

func unknown(kind, name string, known []string) error {
	return advice.With(fmt.Errorf("no %s called %s in the gear file", kind, quote(name)), words.Known(known, "tell it on the first page, by day"))
}
