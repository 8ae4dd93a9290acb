package device

import (
	"context"
	"fmt"
	"io"
	"time"
)

// Camera takes photographs. A camera is used by one goroutine at a time.
type Camera interface {
	Name() string
	About() CameraInfo
	// Expose takes one photograph and writes the file, as the camera delivers
	// it, to what create returns. create is called once, when the format is
	// known. An error leaves what was written incomplete.
	Expose(ctx context.Context, e Exposure, create Create) (Taken, error)
	Close() error
}

// Create returns where a file goes. format is its suffix, such as ".fits", start
// is when the exposure started, by our clock.
type Create func(format string, start time.Time) (io.Writer, error)

// CameraInfo is what a camera says of itself. Zero stands for not known.
type CameraInfo struct {
	Width, Height     int     // pixels, not binned
	Pixel             float64 // micrometres
	Shortest, Longest time.Duration
	MaxBinning        int
	HasGain           bool
	MinGain, MaxGain  float64
	Gains             []string // when gain is an index into names
	Mosaic            bool
	Driver            string // the driver's own name for it
}

// SetExposures notes the shortest and the longest exposure as a driver tells them,
// in seconds: those below 0 are not known, none is longer than a day.
func (c *CameraInfo) SetExposures(shortest, longest float64) {
	span := func(s float64) time.Duration {
		return time.Duration(min(max(s, 0), 86400) * float64(time.Second))
	}
	c.Shortest, c.Longest = span(shortest), span(longest)
}

// Exposure is what is asked of a camera.
type Exposure struct {
	Time    time.Duration
	Gain    *float64 // nil leaves it as it is
	Binning int      // 0 leaves it as it is
}

// Taken tells of a photograph that was delivered.
type Taken struct {
	Start time.Time // of the exposure, by our clock, when it was asked for
	Bytes int64
}

// Check returns an error when e is outside what the camera can do.
func (c CameraInfo) Check(e Exposure) error {
	switch {
	case e.Time <= 0:
		return NewFault(Refused, "give a time above 0, such as 2s", "exposure %v is not above 0", e.Time)
	case c.Shortest > 0 && e.Time < c.Shortest:
		return NewFault(Refused, "expose longer", "exposure %v is shorter than the camera's shortest, %v", e.Time, c.Shortest)
	case c.Longest > 0 && e.Time > c.Longest:
		return NewFault(Refused, "expose shorter", "exposure %v is longer than the camera's longest, %v", e.Time, c.Longest)
	case e.Binning < 0 || c.MaxBinning > 0 && e.Binning > c.MaxBinning:
		return NewFault(Refused, "leave the binning out", "binning %d is outside 1 to %d", e.Binning, c.MaxBinning)
	}
	return c.checkGain(e.Gain)
}

func (c CameraInfo) checkGain(g *float64) error {
	switch {
	case g == nil:
		return nil
	case len(c.Gains) > 0:
		if i := int(*g); i < 0 || i >= len(c.Gains) || float64(i) != *g {
			return NewFault(Refused, fmt.Sprintf("this camera counts its gains: 0 is %q", c.Gains[0]), "gain %g is no number from 0 to %d", *g, len(c.Gains)-1)
		}
	case !c.HasGain:
		return NewFault(Refused, "leave the gain out", "gain %g was asked of a camera that has none to set", *g)
	case !(*g >= c.MinGain && *g <= c.MaxGain):
		return NewFault(Refused, "choose one between", "gain %g is outside %g to %g", *g, c.MinGain, c.MaxGain)
	}
	return nil
}
