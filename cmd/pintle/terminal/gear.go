package terminal

import (
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/words"
)

// Gear shows what the gear file knows.
func (t *Terminal) Gear(f *gear.File) {
	t.line("gear file  %s", f.Path)
	if !f.Exists() {
		t.line("")
		t.line("There is none yet. Begin with a site:")
		t.line("  %s", words.FirstSite)
		return
	}
	g := f.Gear
	switch {
	case g.Tolerance.Auto:
		t.line("tolerance  from camera and exposure%s", words.AutoTolerance(g))
	case g.Tolerance.Arcmin > 0:
		t.line("tolerance  %g'", g.Tolerance.Arcmin)
	}
	for _, n := range g.Names(gear.KindSite) {
		s := g.Sites[n]
		t.thing("site", n, words.Default(n, g.Default.Site, len(g.Sites)))
		t.line("    %s", words.LatLon(s.Place()))
		if s.Blind != "" {
			t.line("    what blocks the sky: %s", s.Blind)
		}
	}
	for _, n := range g.Names(gear.KindCamera) {
		t.thing("camera", n, words.Default(n, g.Default.Camera, len(g.Cameras)))
		t.lines("    ", words.CameraLines(g.Cameras[n]))
	}
	for _, n := range g.Names(gear.KindMount) {
		t.thing("mount", n, words.Default(n, g.Default.Mount, len(g.Mounts)))
		t.lines("    ", words.MountLines(g.Mounts[n]))
	}
}

func (t *Terminal) thing(kind, name, mark string) { t.line("%s%s", t.Bold(kind+" "+name), mark) }

// Saved says that a thing is in the gear file.
func (t *Terminal) Saved(f *gear.File, kind, name string) {
	t.line("%s %s is in %s", kind, name, f.Path)
}

// MadeDefault says what is used when nothing is named.
func (t *Terminal) MadeDefault(kind, name string) {
	t.line("%s %s is used when no other is named", kind, name)
}

// ToleranceSet says what the tolerance is now.
func (t *Terminal) ToleranceSet(g gear.Gear) {
	if g.Tolerance.Auto {
		t.line("the tolerance comes from camera and exposure%s", words.AutoTolerance(g))
		return
	}
	t.line("the tolerance is %g'", g.Tolerance.Arcmin)
}

// GearGood says that the gear file is good, and what it does not tell yet.
func (t *Terminal) GearGood(f *gear.File, missing error, try string) {
	g := f.Gear
	t.line("%s is good: %s, %s, %s", f.Path, words.Count(len(g.Sites), "site"), words.Count(len(g.Cameras), "camera"), words.Count(len(g.Mounts), "mount"))
	if missing != nil {
		t.line("note: %v", missing)
		t.line("  try: %s", try)
	}
}

// Learned says what one turn of an adjuster does, and what was seen to move
// between the two photographs.
func (t *Terminal) Learned(which string, p gear.Pitch, m gear.Turned) {
	amount, rest := words.Pitch(p)
	t.line("\n   %s  %s %s\n", which, t.Bold(amount), rest)
	t.line("   between the two photographs: altitude %s, azimuth %s, RA %+.2f°",
		words.PlusMinus(m.Alt, m.SigAlt), words.PlusMinus(m.Az, m.SigAz), m.RA.Degrees())
	if s := words.PitchDoubt(p); s != "" {
		t.line("   note  %s", s)
	}
}
