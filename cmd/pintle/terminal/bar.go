package terminal

import (
	"fmt"
	"strings"
	"sync"
)

// Working names a long work and returns what draws its progress; a share below
// 0 wipes it.
func (t *Terminal) Working(what string) func(share float64) {
	t.note("%s", what)
	return t.Bar()
}

// clear wipes a bar (EL of ECMA-48).
const clear = "\r\x1b[K"

// Bar returns what draws the share of a long work done, in place; nothing is
// drawn where it cannot be wiped.
func (t *Terminal) Bar() func(share float64) {
	if !t.Progress {
		return func(float64) {}
	}
	const width = 40
	var mu sync.Mutex
	drawn := -1
	return func(share float64) {
		mu.Lock()
		defer mu.Unlock()
		n := int(share * width)
		switch {
		case share < 0:
			t.err.steer(clear)
		case n > drawn:
			drawn = n
			t.err.steer(fmt.Sprintf("\r  %s%s %3.0f %%", strings.Repeat("━", n), strings.Repeat("·", width-n), 100*share))
			if n == width {
				t.err.steer(clear)
			}
		}
	}
}
