package page

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"
	"sync"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/session"
)

// controls say who may change something: one browser at a time. Others look on,
// and may take the controls, which the first one then sees. Who they are is a
// cookie that means nothing else.
type controls struct {
	now func() time.Time

	mu   sync.Mutex
	mine string         // "" nobody
	seen time.Time      // when who has them last asked for something
	here map[string]int // open streams of each
	told func()         // of a change
}

// leave is for how long nobody else gets the controls of a browser that was closed
// (no source, chosen for a phone that sleeps a moment).
const leave = 20 * time.Second

const cookieName = "pintle-viewer"

// errNotMine says that another one is at the controls.
var errNotMine = errors.New("another screen is at the controls")

func newControls(now func() time.Time, told func()) *controls {
	return &controls{now: now, here: map[string]int{}, told: told}
}

// wrap knows each viewer again, and counts the streams that are open.
func (c *controls) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		id := viewerOf(r)
		if id == "" && (r.URL.Path == "/" || r.URL.Path == adjustPath) {
			var b [16]byte
			_, _ = rand.Read(b[:]) // never fails
			id = hex.EncodeToString(b[:])
			http.SetCookie(w, &http.Cookie{Name: cookieName, Value: id, Path: "/", HttpOnly: true, SameSite: http.SameSiteLaxMode})
		}
		// Who consents to a turn has the controls already: one and the same person
		// reads the question and stands beside the mount.
		if r.URL.Path == "/do/"+string(session.Agree) && !c.has(id) {
			http.Error(w, "take the controls first: the question is for who stands beside the mount", http.StatusConflict)
			return
		}
		// Who looks on may stop a mount that moves, if nothing else.
		if r.Method == http.MethodPost && strings.HasPrefix(r.URL.Path, "/do/") && r.URL.Path != "/do/"+string(session.Stop) {
			if err := c.mineOf(id); err != nil {
				http.Error(w, err.Error(), http.StatusConflict)
				return
			}
		}
		if r.URL.Path == "/events" && id != "" {
			c.enter(id, 1)
			defer c.enter(id, -1)
		}
		next.ServeHTTP(w, r)
	})
}

// viewerOf is who asks, "" when that is not known.
func viewerOf(r *http.Request) string {
	k, err := r.Cookie(cookieName)
	if err != nil || len(k.Value) != 32 {
		return ""
	}
	return k.Value
}

func (c *controls) enter(id string, n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.here[id] += n; c.here[id] <= 0 {
		delete(c.here, id)
	}
	if id == c.mine {
		c.seen = c.now()
	}
}

// free reports whether nobody has the controls, or who had them left.
func (c *controls) free() bool {
	return c.mine == "" || c.here[c.mine] == 0 && c.now().Sub(c.seen) > leave
}

// mineOf gives the controls to who asks when they are free, and refuses when
// another one has them.
func (c *controls) mineOf(id string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if id == c.mine || c.free() {
		c.mine, c.seen = id, c.now()
		return nil
	}
	return advice.With(errNotMine, "look on, or take the controls")
}

// has reports whether who asks has the controls now.
func (c *controls) has(id string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return id != "" && id == c.mine
}

// refuse refuses who asks while another one has the controls.
func (c *controls) refuse(r *http.Request) error { return c.mineOf(viewerOf(r)) }

// take gives the controls to who asks.
func (c *controls) take(r *http.Request) {
	c.mu.Lock()
	c.mine, c.seen = viewerOf(r), c.now()
	c.mu.Unlock()
	c.told()
}

// who says who has the controls: "you", "other" or "free".
func (c *controls) who(r *http.Request) string {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch id := viewerOf(r); {
	case c.free():
		return "free"
	case id == c.mine:
		return "you"
	}
	return "other"
}
