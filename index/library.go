package index

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"pintle/index/stars"
)

// Library is a set of bands in one folder. It opens a band the first time it
// is asked for, and builds it when it has to. It may be used by several
// goroutines.
type Library struct {
	Dir  string
	List *stars.List
	// Set is the bands of the list, nil for those of the embedded one; see
	// [Library.Bands].
	Set []Band
	// Now tells the time for a manifest.
	Now func() time.Time
	// Building, when set, is called before a band is built, with the reason
	// (ErrAbsent or ErrUnfit); the function it returns receives the share
	// done, 0 to 1, from several goroutines, and at last 1 or, after a
	// failure, a negative number.
	Building func(b Band, reason error) (progress func(share float64))

	// Room bounds the memory, in bytes, of what the bands have read and keep at hand,
	// but for some 100 MB of stars; 0 is 256 MB. A search that needs more reads again.
	Room int64

	turn   sync.Mutex     // one band is built at a time
	builds sync.WaitGroup // that Get began
	mu     sync.Mutex
	open   map[int]*Reader
	room   *room
}

// Bands returns the bands of the library, narrowest first.
func (l *Library) Bands() []Band {
	if l.Set == nil {
		return Bands()
	}
	return append([]Band(nil), l.Set...)
}

// Ready opens a band if it is built. The error wraps ErrAbsent or ErrUnfit
// when it must be built.
func (l *Library) Ready(b Band) (*Reader, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.ready(b)
}

func (l *Library) ready(b Band) (*Reader, error) {
	if r := l.open[b.Number]; r != nil {
		return r, nil
	}
	r, err := Open(l.Dir, b, l.List)
	if err != nil {
		return nil, err
	}
	if l.open == nil {
		l.open = make(map[int]*Reader)
		l.room = newRoom(cmp.Or(l.Room, roomBytes))
	}
	l.room.let(r)
	l.open[b.Number] = r
	return r, nil
}

// Get opens a band, which it builds first when it has to. When the context ends it
// returns at once; the build comes to its end by itself, which Close waits for.
func (l *Library) Get(ctx context.Context, b Band) (*Reader, error) {
	r, err := l.Ready(b)
	if err == nil || !errors.Is(err, ErrAbsent) && !errors.Is(err, ErrUnfit) {
		return r, err
	}
	built := make(chan error, 1)
	l.builds.Go(func() {
		l.turn.Lock()
		defer l.turn.Unlock()
		_, err := l.Ready(b) // someone else may have built it meanwhile
		if errors.Is(err, ErrAbsent) || errors.Is(err, ErrUnfit) {
			if reason := err; ctx.Err() == nil {
				err = l.build(ctx, b, reason)
			}
		}
		built <- err
	})
	select {
	case err = <-built:
	case <-ctx.Done():
		err = fmt.Errorf("building the index in %s: %w", l.Dir, ctx.Err())
	}
	if err != nil {
		return nil, err
	}
	return l.Ready(b)
}

// Rebuild builds a band whatever is there.
func (l *Library) Rebuild(ctx context.Context, b Band, reason error) error {
	l.turn.Lock()
	defer l.turn.Unlock()
	l.mu.Lock()
	if r := l.open[b.Number]; r != nil {
		r.Close()
		delete(l.open, b.Number)
	}
	l.mu.Unlock()
	return l.build(ctx, b, reason)
}

func (l *Library) build(ctx context.Context, b Band, reason error) error {
	progress := func(float64) {}
	if l.Building != nil {
		progress = l.Building(b, reason)
	}
	err := Build(ctx, l.Dir, b, l.List, l.Now(), progress)
	if err != nil {
		progress(-1)
		return fmt.Errorf("building the index in %s: %w", l.Dir, err)
	}
	progress(1)
	return nil
}

// Close closes the bands that were opened.
func (l *Library) Close() error {
	l.builds.Wait()
	l.mu.Lock()
	defer l.mu.Unlock()
	var err error
	for _, r := range l.open {
		err = errors.Join(err, r.Close())
	}
	l.open = nil
	return err
}

// Remove deletes a band from the folder. The caller makes sure it is closed.
func Remove(dir string, b Band) error { return os.RemoveAll(filepath.Join(dir, b.Name())) }
