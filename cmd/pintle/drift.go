package main

import (
	"errors"
	"time"

	"github.com/spf13/cobra"

	"pintle/axis"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

// driftCheck is everything the drift verb prints.
type driftCheck struct {
	m      *measurement
	watch  *axis.Watch
	offset axis.Offset
	reason string
	// The measurement it is compared with; nil when there is none.
	other   *journal.Record
	alt, az sphere.Angle // axis here minus there, on the sky
	sigma   float64
}

func (a *app) driftCommand() *cobra.Command {
	var f axisFlags
	var path string
	c := &cobra.Command{
		Use:     "drift FRAME FRAME [FRAME...]",
		Short:   "check the axis by the drift of stars, tracking without guiding",
		Long:    textDriftLong,
		Example: textDriftExample,
		Args:    atLeast(2, "name two or more photographs of the same patch of sky, taken some minutes apart while tracking without guiding"),
		RunE: func(cmd *cobra.Command, args []string) error {
			d, err := a.checkDrift(cmd, &f, args)
			if err != nil {
				return err
			}
			if d.watch != nil {
				if err := a.compare(d, path); err != nil {
					return err
				}
			}
			if f.asJSON {
				err = a.driftJSON(d)
			} else {
				a.showDrift(d)
			}
			if err == nil && d.watch == nil {
				return errNoAnswer
			}
			return err
		},
	}
	f.add(c)
	c.Flags().StringVar(&path, "journal", "", "the journal `file` with the measurement to compare with (default: the user's)")
	return c
}

// checkDrift does the work of the drift verb.
func (a *app) checkDrift(cmd *cobra.Command, f *axisFlags, paths []string) (*driftCheck, error) {
	m, err := a.recognise(cmd.Context(), f, paths)
	if err != nil {
		return nil, err
	}
	d := &driftCheck{m: m}
	sightings, reason, err := m.sightings()
	if err != nil || reason != "" {
		d.reason = reason
		return d, err
	}
	d.watch, err = axis.WatchDrift(sightings)
	var weak *axis.WeakError
	switch {
	case errors.As(err, &weak), errors.Is(err, axis.ErrNoWatch):
		d.reason = err.Error()
		return d, nil
	case err != nil:
		return nil, err
	}
	p := sightings[0].Place
	pole := p.RefractedPole()
	if m.pole == axis.True {
		pole = p.TruePole()
	}
	d.offset = d.watch.OffsetFrom(pole)
	return d, nil
}

// compare looks for the last measurement of the same evening at the same site.
func (a *app) compare(d *driftCheck, path string) error {
	if path == "" {
		var err error
		if path, err = a.journalPath(); err != nil {
			return err
		}
	}
	records, damage, err := journal.Read(path)
	if err != nil {
		return hint(err, "check --journal")
	}
	a.skipped(path, damage)
	first := d.m.shots[0].frame.Time.Mid
	for i := len(records) - 1; i >= 0; i-- {
		r := records[i]
		if age := first.Sub(r.Time); r.Kind != journal.Sighting && near(r.Site, d.m.site) && age.Abs() < 12*time.Hour {
			d.other = &r
			axisThere := sphere.LocalAt(sphere.Angle(r.Axis.Az)*sphere.Degree, sphere.Angle(r.Axis.Alt)*sphere.Degree)
			alt, az := arcmin(r.Sigma.Alt), arcmin(r.Sigma.AzSky)
			d.alt, d.az, d.sigma = d.watch.Agreement(axisThere, [2][2]float64{{float64(alt * alt), 0}, {0, float64(az * az)}})
			return nil
		}
	}
	return nil
}

type rateJSON struct {
	PerHour float64 `json:"arcsec_per_hour"`
	Sigma   float64 `json:"sigma"`
}

func rate(r axis.Rate) *rateJSON {
	return &rateJSON{r.PerHour.Arcseconds(), r.Err.Arcseconds()}
}

func (a *app) driftJSON(d *driftCheck) error {
	type againstJSON struct {
		Time  string  `json:"time"`
		Alt   float64 `json:"alt_arcmin"`
		AzSky float64 `json:"az_sky_arcmin"`
		Sigma float64 `json:"sigma"`
	}
	type out struct {
		Axis    *directionJSON `json:"axis"`
		Pole    *poleJSON      `json:"pole"`
		Offset  *partsJSON     `json:"offset_arcmin"`
		Sigma   *partsJSON     `json:"sigma_arcmin"`
		Dec     *rateJSON      `json:"dec_drift"`
		RA      *rateJSON      `json:"ra_drift"`
		Field   *rateJSON      `json:"field_rotation"`
		Span    float64        `json:"span_s"`
		Against *againstJSON   `json:"against"`
		Reason  string         `json:"reason"`
	}
	o := out{Reason: d.reason}
	if w := d.watch; w != nil {
		o.Axis, o.Pole = ref(direction(w.Axis)), &poleJSON{poleName(d.m.pole), direction(d.offset.Pole)}
		o.Offset, o.Sigma = parts(d.offset.Parts), parts(d.offset.Err)
		o.Dec, o.RA, o.Field, o.Span = rate(w.Dec), rate(w.RA), rate(w.Field), w.Span.Seconds()
		if d.other != nil {
			o.Against = &againstJSON{d.other.Time.Format(time.RFC3339), d.alt.Arcminutes(), d.az.Arcminutes(), d.sigma}
		}
	}
	return a.print(o)
}
