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
	s := Shown{Stars: len(field.Stars), Sky: field.Blown}
	if full := float64(f.Image.Saturation); full > 0 {
		s.Sky = max(s.Sky, field.Background/full)
	} else if f.Image.U16 != nil {
		s.Sky = max(s.Sky, field.Background/65535)
	}
	for _, st := range field.Stars {
		if st.Flags&detect.Saturated != 0 {
			s.Burnt++
		}
	}
	return s, nil
}
