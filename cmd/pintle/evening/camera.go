package evening

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"

	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/whole"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// camera is the session's camera: photographs that have been looked at are not
// read again.
type camera Evening

// Read returns a photograph as it was read.
func (c *camera) Read(ctx context.Context, path string) (*session.Frame, error) {
	e := (*Evening)(c)
	name := filepath.Base(path)
	f, ok := e.cache[name]
	if !ok {
		var err error
		if f, err = e.open(ctx, path); err != nil {
			return nil, err
		}
	}
	fresh := *f
	return &fresh, nil
}

// Recognise finds its stars in the sky.
func (c *camera) Recognise(ctx context.Context, f *session.Frame) error {
	return c.c.Photos.Recognise(ctx, f)
}

// mostCached bounds how many photographs are remembered; without their pixels
// each takes some 100 kB.
const mostCached = 100

// open reads a photograph, makes its picture and remembers it.
func (e *Evening) open(ctx context.Context, path string) (*session.Frame, error) {
	e.c.Photos.Draw = true
	f, err := e.c.Photos.Read(ctx, path)
	if err != nil {
		return nil, err
	}
	if f.Picture != nil {
		grey := f.Picture()
		f.Picture = func() []byte { return grey }
	}
	if len(e.cache) >= mostCached {
		clear(e.cache)
	}
	e.cache[filepath.Base(path)] = f
	return f, nil
}

// read looks at a photograph: what its file says, its spots, its picture.
func (e *Evening) read(ctx context.Context, p *Photograph) {
	e.busy("looking at " + p.Name)
	defer e.busy("")
	f, err := e.open(ctx, e.path(p.Name))
	if ctx.Err() != nil {
		return
	}
	if err != nil {
		e.fail(err)
		return
	}
	pictured := e.draw(p.Name, f)
	e.note(p, func(p *Photograph) {
		p.Pictured = pictured
		if p.State == New { // on the list twice, it may be measured by now
			p.said(f)
			e.shots()
		}
	})
	e.mu.Lock()
	queued := (e.kept.Following || p.atOnce) && p.State == Ready
	if queued {
		p.State = Queued
		e.takes = append(e.takes, p)
	}
	e.mu.Unlock()
	if !queued {
		e.unproven(p, f)
	}
	e.stir()
}

// said takes over what a file says.
func (p *Photograph) said(f *session.Frame) {
	p.becomes(Ready, nil)
	p.Time = f.Time().UTC()
	if r := f.Read; r != nil {
		p.Format, p.Exposure, p.Doubtful = r.Format, r.Exposure.Seconds(), ""
		if r.Time.Doubtful {
			p.Doubtful = words.Short(r.Time.Source, 200)
		}
	}
	if f.Field != nil {
		p.Wide, p.High, p.Spots = f.Field.W, f.Field.H, len(f.Field.Stars)
	}
	if f.Miss != nil {
		p.becomes(Aside, f)
	}
}

// becomes takes over what became of a photograph; f is its frame where that takes no
// part, which is for a reason, else nil.
func (p *Photograph) becomes(s State, f *session.Frame) {
	p.State, p.Brief, p.Reason, p.Hint = s, "", "", ""
	if f != nil {
		p.Brief, p.Reason = words.MissBrief(f), words.Miss(f)
	}
}

// aside sets a photograph aside for a reason that is no fault of its frame.
func (p *Photograph) aside(why string) { p.State, p.Brief, p.Reason, p.Hint = Aside, why, why, "" }

// shots sets aside what is on the list twice: the same pixels, or the raw file and
// the JPEG of one press of the button. What was measured already stays.
func (e *Evening) shots() {
	byName := map[string]*Photograph{}
	var frames []*session.Frame
	for _, p := range e.kept.Photographs {
		f, ok := e.cache[p.Name]
		if !ok || f.Miss != nil || p.State == New {
			continue
		}
		x := *f
		frames, byName[p.Name] = append(frames, &x), p
	}
	session.SameShots(frames)
	done := func(p *Photograph) bool { return p.State == In || p.State == Out || p.State == Queued }
	for _, f := range frames {
		p := byName[f.Name]
		switch {
		case f.Miss == nil:
		case !done(p):
			p.becomes(Aside, f)
		default:
			if o := byName[f.Miss.Other]; o != nil && !done(o) {
				o.aside("the same shot as " + p.Name)
			}
		}
	}
}

// take measures a photograph.
func (e *Evening) take(ctx context.Context, p *Photograph) {
	e.busy("recognising " + p.Name)
	defer e.busy("")
	seen := e.c.Now()
	e.rests(p)
	t, err := e.run.Session.Take(ctx, e.path(p.Name), p.Modified, true)
	switch {
	case ctx.Err() != nil:
		return // it is looked at again by the next run
	case err != nil:
		e.note(p, func(p *Photograph) { p.State = Ready })
		e.fail(err)
		return
	}
	st := e.run.State()
	if t == session.Ignored {
		e.note(p, func(p *Photograph) { p.aside("it was measured before") })
		return
	}
	if st.Last != nil {
		st.Last.Elapsed = e.c.Now().Sub(seen)
	}
	e.stand(st)
	e.mu.Lock()
	e.trouble = nil
	e.mu.Unlock()
	e.present(true)
	if f := st.Last; f != nil {
		e.recognised(p, f)
		if e.c.Picture != nil && f.Picture != nil {
			if grey := f.Picture(); grey != nil {
				e.c.Picture(grey)
				e.present(false)
			}
		}
	}
}

// recognised takes over what became of a photograph.
func (e *Evening) recognised(p *Photograph, f *session.Frame) {
	e.mark(p.Name, f)
	blocked := learn(f)
	e.note(p, func(p *Photograph) {
		p.becomes(In, nil)
		p.Answered = p.Answered && slices.Equal(p.Blocked, blocked)
		p.Blocked = blocked
		if f.Miss != nil {
			p.becomes(Out, f)
			if f.Miss.Kind == session.Unsolved && f.Field != nil {
				p.Hint = words.WhyUnsolved(len(f.Field.Stars), f.Field.Elongation, f.Field.FWHM, f.Field.Hollow, f.Field.Flat)
			}
		}
		s := f.Solution
		if s == nil {
			return
		}
		ra, dec := s.Centre().RADec()
		w, h := float64(s.W-1), float64(s.H-1)
		across := s.Lens.Cam(0, h/2).Sep(s.Lens.Cam(w, h/2))
		down := s.Lens.Cam(w/2, 0).Sep(s.Lens.Cam(w/2, h))
		p.Stars, p.RA, p.Dec, p.Diag = len(s.Matches), ra.Degrees(), dec.Degrees(), s.Diagonal().Degrees()
		p.Field = fmt.Sprintf("%.3gx%.3g", across.Degrees(), down.Degrees())
		p.Scale = 1 / s.Lens.F
		p.Words = words.Recognised(len(s.Matches), ra, dec, across, down)
	})
}

// busy says what is being worked on, "" nothing.
func (e *Evening) busy(what string) {
	e.mu.Lock()
	e.working = what
	e.mu.Unlock()
	e.tell()
}

// Marks is what is drawn on a photograph's picture: places in pixels of the
// photograph.
type Marks struct {
	Wide  int          `json:"wide"`
	High  int          `json:"high"`
	Known [][2]float64 `json:"known"` // recognised, the brightest of them
	Spots [][2]float64 `json:"spots"` // found, but not recognised
}

// mostMarks is how many spots of each kind are marked.
const mostMarks = 80

// mark keeps which spots of a photograph were recognised.
func (e *Evening) mark(name string, f *session.Frame) {
	if f.Field == nil {
		return
	}
	m := Marks{Wide: f.Field.W, High: f.Field.H, Known: [][2]float64{}, Spots: [][2]float64{}}
	known := map[int]bool{}
	if f.Solution != nil {
		for _, x := range f.Solution.Matches {
			known[x.Detected] = true
		}
	}
	round := func(x float64) float64 { return math.Round(x*10) / 10 }
	for i, s := range f.Field.Stars {
		list := &m.Spots
		if known[i] {
			list = &m.Known
		}
		if len(*list) < mostMarks {
			*list = append(*list, [2]float64{round(s.X), round(s.Y)})
		}
	}
	b, err := json.Marshal(m)
	if err == nil {
		err = e.keepPicture(name, ".json", b)
	}
	if err != nil {
		e.fail(err)
	}
}

// draw keeps a small picture of a photograph, and marks what was found on it.
func (e *Evening) draw(name string, f *session.Frame) bool {
	e.mark(name, f)
	if f.Picture == nil {
		return false
	}
	im, err := png.Decode(bytes.NewReader(f.Picture()))
	if err != nil {
		return false
	}
	b, err := small(im)
	if err == nil {
		err = e.keepPicture(name, ".jpg", b)
	}
	if err != nil {
		e.fail(err)
	}
	return err == nil
}

// mostPicture bounds a picture, bytes.
const mostPicture = 100_000

// small is a picture as a JPEG of no more bytes than a phone should fetch: in poorer
// quality where that must be, and then half as wide.
func small(im image.Image) ([]byte, error) {
	var b bytes.Buffer
	for {
		for q := 75; q >= 15; q -= 15 {
			b.Reset()
			if err := jpeg.Encode(&b, im, &jpeg.Options{Quality: q}); err != nil || b.Len() <= mostPicture {
				return b.Bytes(), err
			}
		}
		im = halved(im)
	}
}

// halved is a grey picture half as wide.
func halved(im image.Image) image.Image {
	r := im.Bounds()
	out := image.NewGray(image.Rect(0, 0, max(1, r.Dx()/2), max(1, r.Dy()/2)))
	for y := range out.Rect.Max.Y {
		for x := range out.Rect.Max.X {
			out.Set(x, y, im.At(r.Min.X+2*x, r.Min.Y+2*y))
		}
	}
	return out
}

func (e *Evening) keepPicture(name, ext string, b []byte) error {
	return whole.Write(e.picture(name, ext), whole.How{Replace: true}, func(w io.Writer) error {
		_, err := w.Write(b)
		return err
	})
}

// Picture returns the small picture of a photograph, a JPEG, and MarksOf what is
// marked on it.
func (e *Evening) Picture(name string) ([]byte, error) { return e.kind(name, ".jpg") }

// MarksOf returns a photograph's Marks as JSON.
func (e *Evening) MarksOf(name string) ([]byte, error) { return e.kind(name, ".json") }

func (e *Evening) kind(name, ext string) ([]byte, error) {
	e.mu.Lock()
	_, err := e.kept.find(name)
	e.mu.Unlock()
	if err != nil {
		return nil, err
	}
	b, err := os.ReadFile(e.picture(name, ext))
	if err != nil {
		return nil, fmt.Errorf("%w: no picture of %s", ErrUnknown, name)
	}
	return b, nil
}

// fieldSeen is the field of the camera as the newest recognised photograph shows
// it; ok is false while there is none.
func (e *Evening) fieldSeen() (field string, scale sphere.Angle, ok bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	var best *Photograph
	for _, p := range e.kept.Photographs {
		if p.Field != "" && (best == nil || byTime(best, p) < 0) {
			best = p
		}
	}
	if best == nil {
		return "", 0, false
	}
	return best.Field, sphere.Angle(best.Scale), true
}
