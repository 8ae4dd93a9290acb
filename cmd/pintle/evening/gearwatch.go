package evening

import (
	"context"
	"os"
	"time"
)

// gearLook is how often the gear file is looked at: what a terminal tells it must stand
// on the page before somebody walks from one to the other (no source).
var gearLook = 2 * time.Second

// stamp is when and how large a file was written; the zero value is none.
type stamp struct {
	at   time.Time
	size int64
}

func stampOf(path string) (s stamp) {
	if fi, err := os.Stat(path); err == nil {
		s = stamp{fi.ModTime(), fi.Size()}
	}
	return s
}

// watchGear has the session made anew when another run of the program, or an editor,
// changed the gear file; while camera and mount are at work, afterwards.
func (e *Evening) watchGear(ctx context.Context) {
	var asked stamp // what the session is being made anew for
	tick := time.NewTicker(gearLook)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		e.mu.Lock()
		known := e.gear
		e.mu.Unlock()
		if now := stampOf(e.c.Gear); now != known && now != asked && e.still() == nil {
			asked = now
			e.renew()
		}
	}
}
