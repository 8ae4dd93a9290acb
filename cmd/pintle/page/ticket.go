package page

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"net/http"
	"strings"
	"sync"
	"time"
)

// tickets open the page without its key, each once and soon. The command line that
// starts a browser can be seen by everyone on the computer; what stands there is
// void once the browser has used it.
type tickets struct {
	guard *guard
	now   func() time.Time
	link  string // of the page on this computer, with the key

	mu    sync.Mutex
	one   string // "" when there is none
	until time.Time
}

// ticketLasts is how long a browser may take to start (no source).
const ticketLasts = 2 * time.Minute

// Ticket returns an address that opens the page once, within two minutes. A
// further one makes that before it void.
func (s *Server) Ticket() string {
	t := s.tickets
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails
	t.mu.Lock()
	defer t.mu.Unlock()
	t.one, t.until = hex.EncodeToString(b[:]), t.now().Add(ticketLasts)
	return strings.TrimSuffix(t.link, t.guard.key+"/") + t.one + "/"
}

// wrap answers whoever comes with the ticket by the way to the page.
func (t *tickets) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet || !t.guard.fromHost(r) || !t.redeem(strings.Trim(r.URL.Path, "/")) {
			next.ServeHTTP(w, r)
			return
		}
		h := w.Header()
		h.Set("Cache-Control", "no-store")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Location", "/"+t.guard.key+"/")
		w.WriteHeader(http.StatusSeeOther)
	})
}

// redeem takes a ticket, when it is the one that is out.
func (t *tickets) redeem(one string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	a, b := sha256.Sum256([]byte(one)), sha256.Sum256([]byte(t.one))
	if t.one == "" || subtle.ConstantTimeCompare(a[:], b[:]) != 1 || t.now().After(t.until) {
		return false
	}
	t.one = ""
	return true
}
