package detect

import (
	"context"
	"errors"
	"testing"

	"pintle/solve/frame"
)

func TestFindHearsTheContext(t *testing.T) {
	im := &frame.Image{W: 64, H: 64, U8: make([]uint8, 64*64)}
	ctx, cancel := context.WithCancel(context.Background())
	if f, err := FindContext(ctx, im, Options{}); err != nil || f.W != 64 {
		t.Errorf("%v, %v", f, err)
	}
	why := errors.New("enough")
	ended, end := context.WithCancelCause(context.Background())
	end(why)
	large := &frame.Image{W: 4000, H: 4000, U16: make([]uint16, 4000*4000)}
	if _, err := FindContext(ended, large, Options{}); !errors.Is(err, why) {
		t.Errorf("%v, want the cause of the end", err)
	}
	cancel()
}
