package axis

import (
	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/index/sphere"
)

// Aim is where the camera looked in one frame, and how it sits on the
// mount. The angle between optical and declination axis is not among it: it
// needs a turn in declination to be seen.
type Aim struct {
	Frame int // index of the sighting, the latest one used
	Place *place.Place
	Seen  sphere.Local // middle of the frame, refracted
	ICRS  sphere.Sky   // the same, catalogue direction at the epoch of date
	// RA and Dec are the apparent place of date: true equator and equinox,
	// topocentric, without refraction.
	RA, Dec sphere.Angle
	// FromAxis is the angle between the middle of the frame and the end of the
	// axis that lies toward the elevated pole. MountDec is what an exact
	// declination circle shows, north positive; MountHA what an exact hour circle
	// does, counted from the vertical plane through the axis, west positive.
	FromAxis, MountDec, MountHA sphere.Angle
	// Up is the position angle of the frame's upward direction (decreasing row),
	// from the mount's north through east.
	Up sphere.Angle
}

// Aim returns the pointing of the latest frame used, from the fit of all
// frames to one rotation.
func (r *Result) Aim(sightings []Sighting) Aim {
	i := r.last.frame
	s, att := &sightings[i], r.Frames[i].LocalFromCam
	x, y := float64(r.w-1)/2, float64(r.h-1)/2
	seen := sphere.LocalVec(att.Apply(r.Lens.Cam(x, y).Vec()))
	above := sphere.LocalVec(att.Apply(r.Lens.Cam(x, y-1).Vec()))
	p := Aim{Frame: i, Place: s.Place, Seen: seen, ICRS: s.Place.Catalogue(seen), FromAxis: seen.Sep(r.Axis)}
	p.RA, p.Dec = s.Place.Apparent(p.ICRS)
	own := drive.NewFrame(r.Axis, s.Place.South())
	p.MountHA, p.MountDec = own.Read(seen)
	p.MountHA = p.MountHA.Wrap()
	ha, dec := own.Read(above)
	p.Up = sphere.SkyAt(-p.MountHA, p.MountDec).Toward(sphere.SkyAt(-ha, dec)).Turn()
	return p
}
