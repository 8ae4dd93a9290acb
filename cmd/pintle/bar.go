package main

import (
	"fmt"
	"strings"
	"sync"
)

// bar draws the share of a long work done, in place.
func (a *app) bar() func(share float64) {
	const width = 40
	var mu sync.Mutex
	drawn := -1
	return func(share float64) {
		mu.Lock()
		defer mu.Unlock()
		if share < 0 {
			fmt.Fprint(a.err, "\r\x1b[K")
			return
		}
		n := int(share * width)
		if n <= drawn {
			return
		}
		drawn = n
		fmt.Fprintf(a.err, "\r  %s%s %3.0f %%", strings.Repeat("━", n), strings.Repeat("·", width-n), 100*share)
		if n == width {
			fmt.Fprint(a.err, "\r\x1b[K")
		}
	}
}
