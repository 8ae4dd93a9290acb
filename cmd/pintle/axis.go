package main

import (
	"context"
	"errors"
	"fmt"
	"math"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/gear"
	"pintle/index/sphere"
	"pintle/solve"
	"pintle/solve/frame"
)

// measurement is everything the answer to "where is the axis" is printed from.
type measurement struct {
	shots           []*shot
	fitted          []int           // place of each shot in the fit, -1 when not in it
	fitFrames       []axis.Sighting // those in the fit
	site            place.Site
	siteSource      string
	air             place.Air
	airSource       string
	pole            axis.PoleKind
	tolerance       float64   // arcmin
	toleranceSource string    // "" when given, or the usual one
	king            *kingPole // the pole aimed at, when it is King's
	gear            gear.Gear
	siteName        string // in the gear file
	mount           gear.Mount
	result          *axis.Result
	offset          axis.Offset
	reason          string // why there is no result
	oneTime         bool   // the user gave one time for all frames
}

// within reports whether the axis is within the tolerance.
func (m *measurement) within() bool {
	return m.result != nil && m.offset.Total.Arcminutes() <= m.tolerance
}

// axisFlags are the flags of everything that measures an axis.
type axisFlags struct {
	idx       indexFlags
	frames    frameFlags
	site      siteFlags
	pole      string
	tolerance float64
	auto      bool // the tolerance comes from the gear's camera
	camera    string
	target    targetFlags // for King's pole
	kings     bool        // the verb knows King's pole
	asJSON    bool
	fs        *pflag.FlagSet
}

func (f *axisFlags) add(c *cobra.Command) {
	fs := c.Flags()
	f.site.add(fs)
	f.frames.add(fs)
	f.idx.add(fs)
	f.fs = fs
	fs.StringVar(&f.pole, "pole", "refracted", "the pole to align to: refracted, true, or king for the least drift of a --target")
	f.addTolerance(fs)
	f.target.add(fs)
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object")
}

func (f *axisFlags) poleKind() (axis.PoleKind, error) {
	switch f.pole {
	case "refracted":
		return axis.Refracted, nil
	case "true":
		return axis.True, nil
	case poleKing:
		if !f.kings {
			return 0, hint(fmt.Errorf("--pole king is not for this verb"), "\"pintle axis\" knows it; here refracted or true")
		}
		return axis.Refracted, nil // replaced once the site is known
	}
	return 0, hint(fmt.Errorf("--pole %q is not known", f.pole), "refracted, where the axis belongs for ordinary use, or true, or king")
}

func (f *axisFlags) check() error {
	if !(f.tolerance > 0 && f.tolerance <= 600) {
		return hint(fmt.Errorf("--tolerance %g arcmin is out of range 0 to 600", f.tolerance), "1 suits most portable set-ups")
	}
	return nil
}

func (a *app) axisCommand() *cobra.Command {
	var f axisFlags
	var keep keepFlags
	var more bool
	c := &cobra.Command{
		Use:     "axis FRAME FRAME [FRAME...]",
		Short:   "measure the mount's axis from photographs taken while RA was turned",
		Long:    textAxisLong,
		Example: textAxisExample,
		Args:    atLeast(2, "name two or more photographs between which the mount was turned about its RA axis"),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := a.measure(cmd.Context(), &f, args)
			if err != nil {
				return err
			}
			if m.mount, err = keep.adjusters(m.gear); err != nil {
				return err
			}
			keep.remember(a, m)
			if f.asJSON {
				err = a.axisJSON(m)
			} else {
				a.showAxis(m)
				if more {
					a.showMore(m)
				}
			}
			if err == nil && m.result == nil {
				return errNoAnswer
			}
			return err
		},
	}
	f.add(c)
	f.kings = true
	c.Flags().BoolVar(&more, "more", false, textMoreUsage)
	keep.add(c.Flags())
	return c
}

// measure does the work of the axis verb.
func (a *app) measure(ctx context.Context, f *axisFlags, paths []string) (*measurement, error) {
	m, err := a.recognise(ctx, f, paths)
	if err != nil {
		return nil, err
	}
	return m, m.fit()
}

// recognise reads the frames, settles where they were taken, and finds their
// stars in the sky.
func (a *app) recognise(ctx context.Context, f *axisFlags, paths []string) (*measurement, error) {
	m := &measurement{tolerance: f.tolerance}
	var err error
	if m.pole, err = f.poleKind(); err != nil {
		return nil, err
	}
	if err := f.check(); err != nil {
		return nil, err
	}
	opt, err := f.frames.options()
	if err != nil {
		return nil, err
	}
	m.oneTime = !opt.At.IsZero()
	if err := a.readAll(ctx, m, paths, opt); err != nil {
		return nil, err
	}
	if err := a.locateAtHome(m, &f.site); err != nil {
		return nil, err
	}
	if err := a.settle(m, f); err != nil {
		return nil, err
	}
	solver, closeIndex, err := a.solver(&f.idx)
	if err != nil {
		return nil, err
	}
	defer closeIndex()
	return m, m.solveAll(ctx, a, solver)
}

// readAll reads every frame and finds its stars.
func (a *app) readAll(ctx context.Context, m *measurement, paths []string, opt frame.Options) error {
	seen := map[uint64]string{}
	for _, p := range paths {
		s, err := readShot(ctx, p, opt)
		if err != nil {
			return a.readError(p, err)
		}
		if s.frame.Time.Err != nil {
			return hint(fmt.Errorf("%s: %w", p, s.frame.Time.Err), "give one time for all frames with --at")
		}
		if s.frame.Time.Mid.IsZero() {
			return hint(fmt.Errorf("%s does not say when it was taken", p), "give one time for all frames with --at, such as --at 2026-11-27T10:30:00Z")
		}
		if first, twice := seen[s.frame.Hash]; twice {
			return hint(fmt.Errorf("%s and %s are the same picture", first, p), "give each frame once; two or more taken with RA turned between them are needed")
		}
		seen[s.frame.Hash] = p
		m.shots = append(m.shots, s)
	}
	return nil
}

// locate settles site and air.
func (m *measurement) locate(f *siteFlags) (err error) {
	frames := make([]*frame.Frame, len(m.shots))
	for i, s := range m.shots {
		frames[i] = s.frame
	}
	if m.site, m.siteSource, err = f.site(frames); err != nil {
		return err
	}
	m.air, m.airSource, err = f.air(m.site)
	return err
}

// solveAll recognises the frames, each with the help of the last.
func (m *measurement) solveAll(ctx context.Context, a *app, solver *solve.Solver) error {
	var last *solve.Solution
	for _, s := range m.shots {
		start := a.now()
		if err := s.solve(ctx, solver, last, epochOf(s.frame.Time.Mid, start)); err != nil {
			return err
		}
		s.took = a.now().Sub(start)
		if s.sol != nil {
			last = s.sol
		}
	}
	return nil
}

// fit fits the axis to the frames that were recognised.
func (m *measurement) fit() error {
	var sightings []axis.Sighting
	m.fitted = make([]int, len(m.shots))
	for i := range m.fitted {
		m.fitted[i] = -1
	}
	for i, s := range m.shots {
		if s.sol == nil {
			continue
		}
		p, err := place.At(s.frame.Time.Mid, m.site, m.air)
		if err != nil {
			return hint(fmt.Errorf("%s: %w", s.name(), err), "check the frame's time, or give one with --at")
		}
		if _, alt := p.Observed(s.sol.Centre()).AzAlt(); alt < -0.5*sphere.Degree {
			m.reason = belowHorizon(s.name(), alt)
			return nil
		}
		m.fitted[i] = len(sightings)
		sightings = append(sightings, s.sighting(p))
	}
	if len(sightings) < 2 {
		m.reason = fmt.Sprintf("%d of %d frames solved, 2 are needed", len(sightings), len(m.shots))
		return nil
	}
	m.fitFrames = sightings
	r, err := axis.Fit(sightings)
	var weak *axis.WeakError
	if errors.As(err, &weak) {
		m.reason = weak.Error()
		return nil
	}
	if err != nil {
		return err
	}
	m.result = r
	m.offset = r.Offset(m.pole)
	if m.king != nil {
		m.offset = m.king.offset(r)
	}
	if math.IsNaN(float64(m.offset.Total)) {
		return fmt.Errorf("the fit gave no number for the offset: this is a fault of the program")
	}
	return nil
}
