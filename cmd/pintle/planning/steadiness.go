package planning

import (
	"time"

	"pintle/axis/unrest"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

// Steadiness is what is known of how a mount's frames scatter, and of which mount.
type Steadiness struct {
	Mount string
	unrest.Manner
}

// SteadinessOf is what the gear file tells of a mount, else what evenings before t in the
// journal at path show, as a measurement takes it. Mount "" stands for the usual one. Of
// a journal that is not there or cannot be read nothing is learnt.
func SteadinessOf(g gear.Gear, mount, path string, t time.Time) (k Steadiness) {
	name, m, ok := gear.Pick(g.Mounts, mount, g.Default.Mount)
	if !ok {
		return k
	}
	k.Mount, k.Scatter = name, sphere.Angle(m.Scatter)*sphere.Arcsecond
	if m.Scatter > 0 || path == "" {
		return k
	}
	records, _, err := journal.Read(path)
	if err != nil {
		return k
	}
	arcsec, evenings := journal.Scatter(records, name, t)
	k.Scatter, k.Evenings = sphere.Angle(arcsec)*sphere.Arcsecond, evenings
	return k
}

// Wobble is how well frames hold still: what is known, or what is usual.
func (k Steadiness) Wobble() sphere.Angle {
	if k.Scatter > 0 {
		return k.Scatter
	}
	return unrest.Usual
}
