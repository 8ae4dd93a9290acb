// Package alpaca speaks to cameras and mounts by the Alpaca device interface:
// HTTP with JSON answers, found by a broadcast on UDP port 32227. It changes
// nothing but by the calls listed in changing.
package alpaca

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
	"unicode"

	"pintle/cmd/pintle/device"
)

const (
	callTime = 1500 * time.Millisecond // for an ordinary call
	maxReply = 1 << 20                 // bytes of an ordinary answer
)

// changing are the calls that change something. No goto, sync, park, site or
// time is among them.
var changing = []string{
	"connected", "moveaxis", "abortslew", "tracking", "unpark",
	"startexposure", "abortexposure", "binx", "biny", "numx", "numy", "startx", "starty", "gain",
}

// Error is what a device answers when it does not do what it was asked.
type Error struct {
	Number  int
	Message string
}

// Numbers of errors (the Alpaca standard's own list).
const (
	notImplemented = 0x400
	invalidValue   = 0x401
	valueNotSet    = 0x402
	notConnected   = 0x407
	whileParked    = 0x408
	invalidNow     = 0x40B
)

func (e *Error) Error() string {
	what := map[int]string{notImplemented: "not implemented", invalidValue: "invalid value", valueNotSet: "value not set",
		notConnected: "not connected", whileParked: "parked", invalidNow: "not possible now"}[e.Number]
	if what == "" {
		what = fmt.Sprintf("error 0x%X", e.Number)
	}
	if e.Message == "" {
		return what
	}
	return what + ": " + e.Message
}

// endpoint is one device at a server.
type endpoint struct {
	host string // with port
	kind string // camera or telescope
	n    int
	now  func() time.Time

	http   *http.Client
	client uint32
	serial atomic.Uint32
}

func newEndpoint(host, kind string, n int, now func() time.Time) *endpoint {
	return &endpoint{
		host: host, kind: kind, n: n, now: now, client: 1 + rand.Uint32N(65535),
		http: &http.Client{
			Transport:     &http.Transport{MaxIdleConnsPerHost: 2, DisableCompression: true}, // no proxy: the device is near
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		},
	}
}

func (e *endpoint) url(method string) string {
	return "http://" + e.host + "/api/v1/" + e.kind + "/" + strconv.Itoa(e.n) + "/" + method
}

// ids adds what every call carries.
func (e *endpoint) ids(v url.Values) url.Values {
	if v == nil {
		v = url.Values{}
	}
	v.Set("ClientID", strconv.Itoa(int(e.client)))
	v.Set("ClientTransactionID", strconv.Itoa(int(e.serial.Add(1))))
	return v
}

// get reads a property into out.
func (e *endpoint) get(ctx context.Context, method string, query url.Values, out any) error {
	ctx, cancel := context.WithTimeout(ctx, callTime)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, e.url(method)+"?"+e.ids(query).Encode(), nil)
	if err != nil {
		return err
	}
	return e.call(r, method, out)
}

// put makes a call that changes something.
func (e *endpoint) put(ctx context.Context, method string, form url.Values) error {
	if !slices.Contains(changing, method) {
		panic("alpaca: " + method + " is never to be called")
	}
	ctx, cancel := context.WithTimeout(ctx, callTime)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPut, e.url(method), strings.NewReader(e.ids(form).Encode()))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return e.call(r, method, nil)
}

// call sends a request and takes the answer apart. Status 200 may carry an error.
func (e *endpoint) call(r *http.Request, method string, out any) error {
	resp, err := e.http.Do(r)
	if err != nil {
		return e.unreachable(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, maxReply+1))
	if err != nil {
		return e.unreachable(err)
	}
	if resp.StatusCode != http.StatusOK {
		return &device.Fault{Kind: device.Refused, Text: fmt.Sprintf("%s at %s answers %s with status %d", e.kind, e.host, method, resp.StatusCode),
			Try: "is this the address of an Alpaca device?", Err: fmt.Errorf("%q", clean(string(body), 200))}
	}
	var a struct {
		Value        json.RawMessage
		ErrorNumber  int
		ErrorMessage string
	}
	if len(body) > maxReply || json.Unmarshal(body, &a) != nil {
		return e.garbled(method)
	}
	if a.ErrorNumber != 0 {
		return &Error{a.ErrorNumber, clean(a.ErrorMessage, 200)}
	}
	if out != nil && (len(a.Value) == 0 || json.Unmarshal(a.Value, out) != nil) {
		return e.garbled(method)
	}
	return nil
}

func (e *endpoint) unreachable(err error) error {
	return &device.Fault{Kind: device.LinkLost, Text: "no answer from " + e.kind + " at " + e.host, Try: "look at its power, cable and network", Err: err}
}

func (e *endpoint) garbled(method string) error {
	return device.NewFault(device.Refused, "is this the address of an Alpaca device?", "%s at %s gives no valid answer to %s", e.kind, e.host, method)
}

// connect has the server connect to the device.
func (e *endpoint) connect(ctx context.Context) error {
	var on bool
	if err := e.get(ctx, "connected", nil, &on); err != nil || on {
		return err
	}
	// Old drivers answer only when they have connected, which takes a while.
	for range 5 {
		err := e.put(ctx, "connected", url.Values{"Connected": {"True"}})
		if err == nil || device.KindOf(err) != device.LinkLost || ctx.Err() != nil {
			return err
		}
		if e.get(ctx, "connected", nil, &on) == nil && on {
			return nil
		}
	}
	return device.NewFault(device.Gone, "look at the device's own server", "%s at %s does not connect to its hardware", e.kind, e.host)
}

// optional reads a property that a device need not have; ok says that it has.
func optional[T any](ctx context.Context, e *endpoint, method string) (v T, ok bool) {
	err := e.get(ctx, method, nil, &v)
	return v, err == nil
}

// clean makes text from the network fit for a terminal.
func clean(s string, most int) string {
	n := 0
	return strings.Map(func(c rune) rune {
		if n++; n > most {
			return -1
		}
		if !unicode.IsPrint(c) || c == unicode.ReplacementChar {
			return '?'
		}
		return c
	}, s)
}

func isContent(resp *http.Response, want string) bool {
	t, _, err := mime.ParseMediaType(resp.Header.Get("Content-Type"))
	return err == nil && strings.EqualFold(t, want)
}
