package verb

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"pintle/axis"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

func (a *app) driftCommand() *cobra.Command {
	var f flags.Sight
	var j flags.Journal
	var asJSON bool
	c := &cobra.Command{
		Use:     "drift FRAME|FOLDER...",
		Short:   "check the axis by the drift of stars, tracking without guiding",
		Long:    words.DriftLong,
		Example: words.DriftExample,
		Args:    some("name two or more photographs of the same patch of sky, taken some minutes apart while tracking without guiding"),
		RunE: func(cmd *cobra.Command, args []string) error {
			d, st, err := a.checkDrift(cmd.Context(), &f, &j, args)
			if err != nil {
				return err
			}
			if asJSON {
				err = a.DriftJSON(d, &st)
			} else {
				a.Drift(d, &st)
			}
			if err == nil && d.Watch == nil {
				return errNoAnswer
			}
			return err
		},
	}
	f.Add(c.Flags())
	f.AddAim(c.Flags())
	j.Add(c.Flags())
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}

// checkDrift recognises the frames, fits the drift of their stars, and compares
// the axis that it tells of with the evening's measurement.
func (a *app) checkDrift(ctx context.Context, f *flags.Sight, j *flags.Journal, paths []string) (*terminal.DriftCheck, session.State, error) {
	s, _, closeIndex, err := a.begin(f, nil)
	if err != nil {
		return nil, session.State{}, err
	}
	defer closeIndex()
	if paths, err = photographs(paths); err == nil {
		err = words.PlainError(s.Gather(ctx, paths))
	}
	if err != nil {
		return nil, session.State{}, err
	}
	d, err := watchDrift(s)
	if err == nil && d.Watch != nil {
		err = a.compareDrift(d, s, j)
	}
	return d, s.State(), err
}

// watchDrift fits the drift.
func watchDrift(s *session.Session) (*terminal.DriftCheck, error) {
	d := &terminal.DriftCheck{}
	sightings, refusal := s.Together()
	if refusal != nil {
		d.Reason = words.Refusal(refusal)
		return d, nil
	}
	var err error
	d.Watch, err = axis.WatchDrift(sightings)
	if why, ok := words.Reason(err); ok {
		d.Reason = why
		return d, nil
	}
	if err != nil {
		return nil, err
	}
	d.Offset = d.Watch.OffsetFrom(s.Setting().PoleAt(sightings[0].Place))
	return d, nil
}

// compareDrift looks for the last measurement of the same evening at the same
// site.
func (a *app) compareDrift(d *terminal.DriftCheck, s *session.Session, j *flags.Journal) error {
	path, err := a.journal(*j)
	if err != nil {
		return err
	}
	records, damage, err := journal.Read(path)
	if err != nil {
		return advice.With(err, "check --journal")
	}
	a.Skipped(path, damage)
	d.Other = journal.LastNear(records, s.Setting().Site.Lat.Degrees(), s.Setting().Site.Lon.Degrees(), s.Frames()[0].Time(), 12*time.Hour)
	if r := d.Other; r != nil {
		there := sphere.LocalAt(sphere.Angle(r.Axis.Az)*sphere.Degree, sphere.Angle(r.Axis.Alt)*sphere.Degree)
		alt, az := arcmin(r.Sigma.Alt), arcmin(r.Sigma.AzSky)
		d.Alt, d.Az, d.Sigma = d.Watch.Agreement(there, [2][2]float64{{float64(alt * alt), 0}, {0, float64(az * az)}})
	}
	return nil
}
