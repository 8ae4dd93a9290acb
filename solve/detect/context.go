package detect

import (
	"context"

	"pintle/solve/frame"
)

// FindContext is Find that returns the cause of the end of ctx as soon as it ends.
// The search that was begun then comes to its end by itself, unheard: it takes
// some seconds for the largest pictures, whose pixels must not be changed until.
func FindContext(ctx context.Context, im *frame.Image, o Options) (*Field, error) {
	if ctx.Done() == nil {
		return Find(im, o)
	}
	type result struct {
		f   *Field
		err error
	}
	done := make(chan result, 1)
	own := *im // the caller may drop the pixels from its own
	go func() {
		f, err := Find(&own, o)
		done <- result{f, err}
	}()
	select {
	case r := <-done:
		return r.f, r.err
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}
