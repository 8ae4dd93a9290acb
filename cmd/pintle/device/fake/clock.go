package fake

import (
	"context"
	"sync"
	"time"
)

// Clock is the time of an invented night, which passes only when someone waits.
type Clock struct {
	mu  sync.Mutex
	now time.Time
}

// NewClock returns a clock that shows a time.
func NewClock(now time.Time) *Clock { return &Clock{now: now} }

// Now returns what it shows.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Pass moves it on; never back.
func (c *Clock) Pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(max(0, d))
}

// Wait lets the time pass at once.
func (c *Clock) Wait(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	c.Pass(d)
	return nil
}
