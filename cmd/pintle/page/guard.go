package page

import (
	"crypto/sha256"
	"crypto/subtle"
	"io"
	"log"
	"net"
	"net/http"
	"net/netip"
	"strings"

	"pintle/cmd/pintle/words"
)

// silent drops what net/http would log: it quotes addresses, and they hold the
// key.
var silent = log.New(io.Discard, "", 0)

// policy lets the page use its own files and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; manifest-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard decides who gets in. Whoever does not, gets the same 403 whatever was
// wrong with the key.
type guard struct {
	key    string
	port   string
	phone  bool
	bodies bool // requests of the API may have one, of a length that is told
}

func (g *guard) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Cache-Control", "no-store")
		if host, _ := cutPort(r.Host); host == "localhost" || loopback(host) {
			h.Set("Cross-Origin-Opener-Policy", "same-origin") // browsers complain of it elsewhere, over plain http
		}
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		key, rest, slash := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
		// All of it is looked at, whatever the first of it says, so that the time
		// taken tells nothing.
		ok := g.fits(key)
		ok = g.fromHost(r) && ok
		ok = g.sameOrigin(r) && ok
		ok = (r.ContentLength == 0 || g.body(r, rest)) && ok
		ok = (r.Method == http.MethodGet || r.Method == http.MethodHead || r.Method == http.MethodPost) && ok
		if !ok || !slash {
			refuse(w, r)
			return
		}
		if !admitted(r) {
			h.Set("Connection", "close")
			http.Error(w, "too many connections", http.StatusServiceUnavailable)
			return
		}
		r.URL.Path, r.URL.RawPath = "/"+rest, ""
		next.ServeHTTP(w, r)
	})
}

// body is true when a request may have a body. Each of the API bounds its own.
func (g *guard) body(r *http.Request, rest string) bool {
	return g.bodies && r.Method == http.MethodPost && r.ContentLength > 0 && strings.HasPrefix("/"+rest, apiPath)
}

// refuse ends the connection with an empty 403. Only who asked by a name is told
// more, with the right key as without.
func refuse(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Connection", "close")
	host, _ := cutPort(r.Host)
	_, err := netip.ParseAddr(host)
	named := host != "" && host != "localhost" && err != nil
	if named {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	}
	w.WriteHeader(http.StatusForbidden)
	if named {
		_, _ = io.WriteString(w, words.PageByName+"\n")
	}
}

// fits compares a key in constant time, whatever its length.
func (g *guard) fits(key string) bool {
	a, b := sha256.Sum256([]byte(key)), sha256.Sum256([]byte(g.key))
	return subtle.ConstantTimeCompare(a[:], b[:]) == 1
}

// fromHost is true when the address was asked for by number, or as localhost. A
// name could be anyone's, bound to this computer's number for the purpose.
func (g *guard) fromHost(r *http.Request) bool {
	host, port := cutPort(r.Host)
	if port != g.port {
		return false
	}
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && (ip.IsLoopback() || g.phone && !ip.IsUnspecified())
}

func loopback(host string) bool {
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

func cutPort(s string) (host, port string) {
	host, port, err := net.SplitHostPort(s)
	if err != nil {
		return strings.Trim(s, "[]"), "80"
	}
	return host, port
}

// sameOrigin is true when the request does not come from another site's page. An
// action must show that it comes from this one.
func (g *guard) sameOrigin(r *http.Request) bool {
	origin := r.Header.Get("Origin")
	site := r.Header.Get("Sec-Fetch-Site")
	own := origin == "http://"+r.Host
	if r.Method == http.MethodPost {
		return own && (site == "" || site == "same-origin")
	}
	// A typed address and a QR code come from no site at all; one that was sent in
	// a message comes from where it was read, and opens as a page of its own.
	opened := r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
	return (origin == "" || own) && (site == "" || site == "same-origin" || site == "none" || opened)
}
