package terminal

import (
	"pintle/axis"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// Axis prints a measurement made at once: what makes it doubtful first, then the
// moves and the verdict, then what it rests on.
func (t *Terminal) Axis(st *session.State) {
	t.line("")
	if st.Answer == nil {
		t.refused(words.Refusal(st.Refusal))
	} else {
		t.doubts(st)
		t.moves(st)
		t.line("   %s", words.OffBy(st))
	}
	t.line("")
	t.frames(st)
	t.setting(st)
	t.remarks(st)
}

// doubts stand above the arrows.
func (t *Terminal) doubts(st *session.State) {
	if len(st.Doubts) == 0 {
		return
	}
	for i, w := range words.Notes(st.Doubts) {
		head := t.Bold("DOUBTFUL")
		if i > 0 {
			head = "        "
		}
		for k, row := range words.Wrap(w, t.Columns()-13) {
			if k > 0 {
				head = "        "
			}
			t.line("  %s  %s", head, row)
		}
	}
	t.line("")
}

// moves prints what the hands must do: signs, in large on a terminal, and one
// sentence for each adjuster.
func (t *Terminal) moves(st *session.State) {
	size := t.signs(bigMove(st.Moves[0].Move), bigMove(st.Moves[1].Move))
	for _, m := range st.Moves {
		if size.wide > 0 {
			t.large(big(bigMove(m.Move), size))
		}
		t.line("   %s  %s", t.Bold(words.Sign(m.Direction)), t.Bold(words.Sentence(words.Hand(m))))
	}
	t.line("      (%s)", words.Viewpoint(st))
}

// refused says why there is no answer, broken between words where a terminal would
// break within them.
func (t *Terminal) refused(reason string) {
	rows := []string{reason}
	if t.Large {
		rows = words.Wrap(reason, max(t.Columns()-14, 20))
	}
	head := t.Bold("NO ANSWER")
	for _, row := range rows {
		t.line("  %-9s  %s", head, row)
		head = ""
	}
}

// signs returns the size of the signs of texts, zero where they are none to read.
func (t *Terminal) signs(texts ...string) dot {
	if !t.Large {
		return dot{}
	}
	w, h := t.Size()
	return fitting(w, h, texts...)
}

// fitting is the usual size of large signs, or a smaller one where the texts are
// wider than a screen; none where it is so low that they would push the sentences
// out of sight.
func fitting(w, h int, texts ...string) dot {
	size := usualDot
	for _, text := range texts {
		for size.wide > 0 && wide(text, size)+3 > w {
			size = size.smaller()
		}
	}
	if h < 4*bigRows {
		return dot{}
	}
	return size
}

// large prints rows of large signs.
func (t *Terminal) large(rows []string) {
	for _, r := range rows {
		t.line("   %s", t.Bold(r))
	}
}

// frames lists the frames and what became of each.
func (t *Terminal) frames(st *session.State) {
	var paths []string
	for _, f := range st.Frames {
		paths = append(paths, f.Path)
	}
	names := words.Apart(paths)
	width := 0
	for _, n := range names {
		width = max(width, words.Places(words.Short(n, longestName)))
	}
	for i, f := range st.Frames {
		name := words.Pad(names[i], width)
		sol := f.Solution
		switch {
		case sol == nil || f.Miss != nil:
			t.line("   %s  %s", name, words.Miss(f))
			continue
		}
		ra, dec := sol.Centre().RADec()
		where := words.HM(ra) + " " + words.DM(dec)
		fit := st.Used(f)
		switch {
		case fit == nil:
			t.line("   %s  %s  %s  %.2f\"", name, where, words.Stars(len(sol.Matches)), sol.RMS.Arcseconds())
		case fit.Used:
			t.line("   %s  %s  turn %+7.2f°  %s  %.2f\"", name, where, fit.Turn.Degrees(), words.Stars(fit.Inliers), fit.RMS.Arcseconds())
		default:
			t.line("   %s  %s  turn %+7.2f°  %s  %.2f\"  left out", name, where, fit.Turn.Degrees(), words.Stars(fit.Inliers), fit.RMS.Arcseconds())
		}
	}
}

// longestName is how many places a frame's name may take in a table (no source,
// chosen to leave room for its numbers in 80 columns).
const longestName = 28

// setting prints what the answer, or the want of one, was reckoned with.
func (t *Terminal) setting(st *session.State) {
	s := &st.Setting
	if a := st.Answer; a != nil {
		az, alt := a.Axis.AzAlt()
		paz, palt := a.Offset.Pole.AzAlt()
		t.line("   axis  azimuth %9.4f°  altitude %8.4f°", az.Degrees(), alt.Degrees())
		t.line("   pole  azimuth %9.4f°  altitude %8.4f°  (%s)", paz.Degrees(), palt.Degrees(), words.Pole(s))
	} else {
		t.line("   pole  %s", words.Pole(s))
	}
	t.line("   site  %s", words.Site(s))
	t.line("   air   %s", words.Air(s))
	t.line("   time  %s", words.Span(st.Frames, s))
}

// remarks prints the notes.
func (t *Terminal) remarks(st *session.State) {
	notes := words.Notes(st.Notes)
	if st.Answer == nil {
		notes = append(words.Notes(st.Doubts), notes...)
	}
	for _, w := range notes {
		head := "note"
		for _, row := range words.Wrap(w, t.Columns()-9) {
			t.line("   %-4s  %s", head, row)
			head = ""
		}
	}
}

// More prints what --more asks for.
func (t *Terminal) More(st *session.State) {
	if st.Answer == nil || st.Answer.Result == nil {
		return
	}
	r, in := st.Answer.Result, st.Answer.Sightings
	p := r.Aim(in)
	ra, dec := p.ICRS.RADec()
	az, alt := p.Seen.AzAlt()
	t.line("\n   pointing of %s, middle of the frame, to synchronise a mount with", in[p.Frame].Name)
	t.line("     ICRS (J2000)  RA %s  Dec %s", words.HMS(ra), words.DMS(dec))
	t.line("     of date       RA %s  Dec %s  (apparent place, no refraction)", words.HMS(p.RA), words.DMS(p.Dec))
	t.line("     seen at       azimuth %.4f°  altitude %.4f°  at %s", az.Degrees(), alt.Degrees(), words.Clock(p.Place.Time(), st.Setting.Zone))
	t.line("\n   camera on the mount")
	t.line("     %.3f° from the axis: declination %+.3f° by a true circle, hour angle %+.3f°", p.FromAxis.Degrees(), p.MountDec.Degrees(), p.MountHA.Degrees())
	t.line("     up in the frame is at %.2f° from the mount's north through east", p.Up.Degrees())
	t.line("     by how much it is off square to the declination axis shows only when declination is turned")
	t.rotation(r, len(in))
	by := st.Answer.Offset.By
	if w := words.Manner(&st.Setting); w != "" {
		t.line("     %s", w)
	}
	t.line("     the error of %s is made of: stars %s, mount and air %s, refraction %s",
		words.Sigma(st.Answer.Offset.Err.Total), words.Sigma(by.Stars.Total), words.Sigma(by.Mount.Total), words.Sigma(by.Refraction.Total))
}

// rotation says how well the frames fit one rotation.
func (t *Terminal) rotation(r *axis.Result, frames int) {
	t.line("\n   the frames about one rotation")
	for i := range r.Frames {
		f := &r.Frames[i]
		if !f.Used {
			t.line("     %s  left out", f.Name)
			continue
		}
		t.line("     %s  turn %+9.4f° ± %.2f\"  stars scatter by %.2f px, by %.2f px beyond their stated errors", f.Name, f.Turn.Degrees(), f.TurnErr.Arcseconds(), f.RMSPixels, f.Floor)
	}
	if frames == 2 {
		t.line("     two frames fit any rotation: nothing to check")
		return
	}
	t.line("     frames scatter by about %.2f\" beyond what their stars explain; sum of squares %.1f, about %d when all is well", r.Tilt.Arcseconds(), r.Misfit, r.MisfitFree)
}
