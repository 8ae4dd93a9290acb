package shoot

import (
	"context"

	"pintle/solve/detect"
	"pintle/solve/frame"
)

// Look returns what a photograph shows, for Next.
func Look(ctx context.Context, path string) (Shown, error) {
	f, err := frame.Read(ctx, path, frame.Options{})
	if err != nil {
		return Shown{}, err
	}
	field, err := detect.FindContext(ctx, &f.Image, detect.Options{})
	if err != nil {
		return Shown{}, err
	}
	return Shows(field), nil
}

// Shows is Look for a photograph whose stars have been found.
func Shows(field *detect.Field) Shown {
	s := Shown{Stars: len(field.Stars), Sky: field.Blown}
	if field.Full > 0 {
		s.Sky = max(s.Sky, field.Background/field.Full)
	}
	for _, st := range field.Stars {
		if st.Flags&detect.Saturated != 0 {
			s.Burnt++
		}
	}
	return s
}
