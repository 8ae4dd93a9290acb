package session

import (
	"context"
	"sync"
)

// gate holds work up while it is shut. Its zero value is open.
type gate struct {
	mu   sync.Mutex
	open chan struct{} // closed when the gate opens; nil while it is open
}

// shut shuts the gate, or opens it.
func (g *gate) shut(is bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	switch {
	case is && g.open == nil:
		g.open = make(chan struct{})
	case !is && g.open != nil:
		close(g.open)
		g.open = nil
	}
}

// pass waits until the gate is open, or the context ends.
func (g *gate) pass(ctx context.Context) {
	g.mu.Lock()
	open := g.open
	g.mu.Unlock()
	if open == nil {
		return
	}
	select {
	case <-open:
	case <-ctx.Done():
	}
}
