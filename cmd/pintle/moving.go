package main

import (
	"io"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// What the files that still print for themselves know by its old name. Each
// name goes with the last file that uses it, this file with the last name.

// moving is what app held before it had a terminal.
type moving struct {
	out, err io.Writer
	large    bool
}

func hint(err error, what string) error { return advice.With(err, what) }

func (a *app) bold(s string) string { return string(a.Bold(s)) }

func (a *app) fail(err error) { a.Fail(err) }

func (a *app) print(v any) error { return a.JSON(v) }

func (a *app) readError(path string, err error) error { return words.Unread(path, err) }

var (
	isTerminal = terminal.IsTerminal
	errWords   = words.Sigma
	plusMinus  = words.PlusMinus
	latLon     = words.LatLon
	bearing    = words.Bearing
	wind       = words.Wind
	known      = words.Known
)

const halfTurn = 180 * sphere.Degree

func (a *app) skipped(path string, damage []journal.Damage) { a.Skipped(path, damage) }

func (h home) where() string { return words.Where(h.name, h.site) }

// autoTolerance is the polar error that the camera's usual exposure allows
// whatever the target.
func autoTolerance(g gear.Gear, camera string) (arcmin float64, source string, ok bool, err error) {
	arcmin, name, err := g.AutoTolerance(camera)
	return arcmin, "camera " + name, err == nil, err
}
