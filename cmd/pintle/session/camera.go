package session

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"pintle/index/optics"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

// Camera is where frames come from: it reads a file, and recognises its stars.
// What is wrong with one file ends up in the Frame; an error is one that every
// further frame would meet too, or the end of the context.
type Camera interface {
	Read(ctx context.Context, path string) (*Frame, error)
	Recognise(ctx context.Context, f *Frame) error
}

// ErrNotWhole is among what is wrong with a file that is not complete yet, or
// will never be.
var ErrNotWhole = errors.New("not whole")

// unknown is what is wrong with a file of no kind that is read. It may be one that is
// still being written, and counts as that, but does not say so.
type unknown struct{ error }

func (u unknown) Is(target error) bool { return target == ErrNotWhole }
func (u unknown) Unwrap() error        { return u.error }

// Photographs is the Camera of files that a real camera wrote.
type Photographs struct {
	Solver  *solve.Solver
	Options frame.Options
	Now     func() time.Time
	Draw    bool // pictures of frames are wanted
	// Lenses remembers what lens each camera had, as a hint; nil remembers nothing.
	Lenses Lenses

	mu   sync.Mutex
	last *solve.Solution
}

// Lenses is the lenses that cameras had on other nights, by what their files call them
// and the size of their frames, px.
type Lenses interface {
	Usual(camera string, w, h int) *optics.Lens
	Learn(camera string, w, h int, l optics.Lens) error
}

// surely is how many stars a frame must show for its lens to be remembered (no source).
const surely = 12

// hint is what is known of a frame beforehand.
func (c *Photographs) hint(f *Frame) solve.Hint {
	c.mu.Lock()
	defer c.mu.Unlock()
	h := solve.Hint{Scale: f.Read.Optics.Scale, Near: c.last, At: f.Look.At, Within: f.Look.Within}
	if c.Lenses != nil && c.last == nil {
		if l := c.Lenses.Usual(f.Read.Camera, f.Field.W, f.Field.H); l != nil {
			h.Usual = &solve.Solution{Lens: *l, W: f.Field.W, H: f.Field.H}
		}
	}
	return h
}

// learn takes over what a frame taught.
func (c *Photographs) learn(f *Frame) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.last = f.Solution
	if c.Lenses != nil && len(f.Solution.Matches) >= surely {
		// What is not remembered costs a little time another night.
		_ = c.Lenses.Learn(f.Read.Camera, f.Field.W, f.Field.H, f.Solution.Lens)
	}
}

// Read reads a file and finds its stars.
func (c *Photographs) Read(ctx context.Context, path string) (*Frame, error) {
	start := c.Now()
	f := &Frame{Path: path, Name: filepath.Base(path), Seen: start}
	r, err := frame.Read(ctx, path, c.Options)
	if err == nil {
		f.Read, f.Notes = r, r.Notes
		err = f.findStars(ctx)
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	switch {
	case errors.Is(err, frame.ErrFormat):
		f.miss(Miss{Kind: NoPicture, Err: unknown{err}})
	case errors.Is(err, frame.ErrDamaged):
		f.miss(Miss{Kind: Unreadable, Err: fmt.Errorf("%w: %w", ErrNotWhole, err)})
	case err != nil:
		f.miss(Miss{Kind: Unreadable, Err: err})
	case r.Time.Err != nil:
		f.miss(Miss{Kind: BadTime, Err: r.Time.Err})
	case r.Time.Mid.IsZero():
		f.miss(Miss{Kind: NoTime})
	}
	if r != nil {
		if c.Draw && r.Stars == nil && f.Field != nil {
			kept := r.Image
			f.Picture = func() []byte { return picture(&kept) }
		}
		r.Image.U8, r.Image.U16, r.Image.F32 = nil, nil, nil
	}
	f.Elapsed = c.Now().Sub(start)
	return f, nil
}

// findStars fills in the field.
func (f *Frame) findStars(ctx context.Context) (err error) {
	if f.Read.Stars != nil {
		f.Field = listed(f.Read)
		return nil
	}
	f.Field, err = detect.FindContext(ctx, &f.Read.Image, detect.Options{})
	return err
}

// listError is the error assumed of places in a star list that does not state
// any, px (no source, chosen as that of a plain centroid of a faint star).
const listError = 0.3

// listed makes a field of a frame that was given as a star list.
func listed(f *frame.Frame) *detect.Field {
	d := &detect.Field{W: f.Image.W, H: f.Image.H, Found: len(f.Stars)}
	for _, s := range f.Stars {
		d.Stars = append(d.Stars, detect.Star{X: s.X, Y: s.Y, ErrX: listError, ErrY: listError, Flux: s.Flux, Elongation: 1})
	}
	slices.SortStableFunc(d.Stars, func(a, b detect.Star) int { return cmp.Compare(b.Flux, a.Flux) })
	return d
}

// Recognise finds the stars of a frame in the sky, with the last frame that was
// recognised as a hint. It may be called while it runs.
func (c *Photographs) Recognise(ctx context.Context, f *Frame) error {
	if f.Field == nil {
		return nil
	}
	start := c.Now()
	o := solve.Options{Epoch: epochOf(f.Time(), start), Build: true, Hint: c.hint(f), Effort: f.Look.Effort, Hold: f.Look.Hold}
	sol, err := c.Solver.Solve(ctx, f.Field, o)
	f.Elapsed += c.Now().Sub(start)
	var un *solve.Unsolved
	switch {
	case errors.As(err, &un):
		f.miss(Miss{Kind: Unsolved, Err: un})
		return nil
	case err != nil:
		return err
	}
	f.Solution = sol
	c.learn(f)
	return nil
}

// epochOf returns the Julian year of a time; the year of the program's clock
// when the frame does not know its own.
func epochOf(t, now time.Time) float64 {
	if t.IsZero() {
		t = now
	}
	return stars.JulianYear(t)
}

// gone reports whether a file is not there, or no longer.
func (f *Frame) gone() bool { return f.Miss != nil && errors.Is(f.Miss.Err, fs.ErrNotExist) }
