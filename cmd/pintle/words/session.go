package words

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strings"
	"time"

	"pintle/axis"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/watch"
	"pintle/index/sphere"
)

// join puts remarks together.
func join(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, "; ")
}

// Sentence starts with a capital and ends with a full stop.
func Sentence(s string) string {
	if s == "" {
		return ""
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// What to do next.
const (
	nextPhotograph = "Photograph any patch of clear sky."
	nextTurn       = "Turn RA by 30° or more, touch nothing else, and photograph again."
	nextTurnMore   = "Turn RA further the same way and photograph again."
	nextThird      = "Turn RA once more the same way and photograph: a third frame proves the first two."
	nextDone       = "Done: within the tolerance. Lock both adjusters gently and look at one more frame."
	nextAgain      = "Begin a new measurement (n): photograph, turn RA, photograph."
	nextWait       = "Wait for a frame that can be used."
)

// Next says what to do next.
func Next(st *session.State) string {
	if h := st.Hands; h != nil {
		if s := nextByHands(st.Next.Kind, h); s != "" {
			return s
		}
	}
	switch st.Next.Kind {
	case session.Photograph:
		return nextPhotograph
	case session.TurnRA:
		return nextTurn
	case session.TurnRAMore:
		return nextTurnMore
	case session.ThirdFrame:
		return nextThird
	case session.AllDone:
		return nextDone
	case session.MeasureFresh:
		return nextAgain
	case session.WaitSolved:
		return nextWait + " " + Sentence(MissBrief(st.Last))
	case session.SaySite:
		return "Say where the mount stands: " + advice.Of(unsettled(st.Asks)) + "."
	case session.MendInput:
		return Sentence(Refusal(st.Refusal))
	}
	return Sentence(Hand(st.Moves[st.Next.Move]) + ", then wait for a frame")
}

// Old says that figures are not of the last frame, "" when they are.
func Old(st *session.State, age time.Duration) string {
	const stale = 45 * time.Second // no source: no camera in use is slower
	switch {
	case st.Answer == nil:
		return ""
	case st.Old:
		return "OLD: of " + st.Answer.From
	case age > stale:
		return fmt.Sprintf("OLD: no frame for %.0f s", age.Seconds())
	}
	return ""
}

// OffBy says how far off the axis is, and how that stands to the tolerance.
func OffBy(st *session.State) string {
	o := st.Answer.Offset
	verdict := "NOT YET within"
	if st.Within {
		verdict = "WITHIN"
	}
	return fmt.Sprintf("off by %s ± %s   %s the tolerance of %s%s", Arcminutes(o.Total), Sigma(o.Err.Total), verdict, Allowed(st.Setting.Tolerance), source(st.Setting.ToleranceSource))
}

// Allowed writes a tolerance with no more digits than it needs.
func Allowed(t sphere.Angle) string {
	m := t.Arcminutes()
	digits := 2 - int(math.Floor(math.Log10(math.Max(m, 1e-3))))
	p := math.Pow(10, float64(max(0, digits)))
	return fmt.Sprintf("%g'", math.Round(m*p)/p)
}

// source says in brackets where a part of the setting comes from, "" for what is
// usual.
func source(s session.Source) string {
	if w := SourceOf(s); w != "" && s.Kind != session.Assumed {
		return " (" + w + ")"
	}
	return ""
}

// SourceOf says where a part of the setting comes from.
func SourceOf(s session.Source) string {
	switch s.Kind {
	case session.FromPerson:
		return "as told"
	case session.FromHeader:
		return s.Text + " of " + s.Name
	case session.FromGear:
		if s.Name == "" {
			return "gear file"
		}
		return "gear file, " + s.Name
	case session.FromCamera:
		return "camera " + s.Name
	case session.Partly:
		return "partly told"
	case session.Assumed:
		return "usual"
	case session.NoAir:
		return "no refraction"
	case session.FromEarlier:
		return "as before"
	}
	return ""
}

// Site says where the mount stands, and who says so.
func Site(s *session.Setting) string {
	if !s.Settled {
		return "not known"
	}
	return Where(s.SiteName, s.Site) + " (" + SourceOf(s.SiteSource) + ")"
}

// Pole says which pole is aimed at.
func Pole(s *session.Setting) string {
	if !s.Settled {
		return "not known"
	}
	end := "NORTH"
	if s.South() {
		end = "SOUTH"
	}
	switch {
	case s.King != nil:
		return end + ", King's for " + s.King.Target.Title()
	case s.Pole == axis.True:
		return end + ", true"
	}
	return end + ", refracted"
}

// Air says what the air is taken to be.
func Air(s *session.Setting) string {
	if !s.Settled {
		return "not known"
	}
	if s.AirSource.Kind == session.NoAir {
		return "no refraction"
	}
	name := SourceOf(s.AirSource)
	if s.AirSource.Kind == session.Assumed {
		name = "standard air"
	}
	return fmt.Sprintf("%.0f hPa, %.0f °C (%s)", s.Air.Pressure, s.Air.Temp, name)
}

// Times says where the frames' times come from.
func Times(s *session.Setting) string {
	switch {
	case s.OneTime:
		return "as told, one for all"
	case s.Times == "":
		return "not known"
	}
	return s.Times
}

// Span says from when to when the frames are that take part, in the person's
// zone, and where their times come from.
func Span(frames []*session.Frame, s *session.Setting) string {
	var first, last time.Time
	for _, f := range frames {
		if t := f.Time(); f.In() {
			if first.IsZero() || t.Before(first) {
				first = t
			}
			if t.After(last) {
				last = t
			}
		}
	}
	if first.IsZero() {
		return Times(s)
	}
	return fmt.Sprintf("%s to %s (%s)", first.In(s.Zone).Format("2 January 2006 15:04:05"), Clock(last, s.Zone), Times(s))
}

// Standing is the line that stands on every screen: site, pole and time, each
// with its source.
func Standing(s *session.Setting) string {
	return fmt.Sprintf("site %s · pole %s · time %s", Site(s), Pole(s), Times(s))
}

// Clock writes a time in the zone of the person, which is named.
func Clock(t time.Time, zone *time.Location) string {
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone).Format("15:04:05 MST")
}

// Earlier names a run that can be gone on with.
func Earlier(x *session.Earlier) string {
	when := x.At.Local().Format("15:04")
	if !x.Measured {
		return "the measurement begun, last frame of " + when
	}
	return fmt.Sprintf("the run that stood at %s at %s", Arcminutes(x.Total), when)
}

// Miss says why a frame takes no part.
func Miss(f *session.Frame) string {
	m := f.Miss
	switch m.Kind {
	case session.Unreadable:
		if errors.Is(m.Err, session.ErrNotWhole) {
			return "the file is damaged, or was not finished"
		}
		return strings.TrimPrefix(m.Err.Error(), f.Path+": ")
	case session.NoPicture:
		return "no photograph"
	case session.Unsolved:
		if why, ok := Reason(m.Err); ok {
			return "not solved: " + why + searched(m.Err)
		}
		return "not solved: " + m.Err.Error()
	case session.NoTime:
		return "the file does not say when it was taken"
	case session.SamePicture:
		return "the same picture as " + m.Other
	case session.SameShot:
		return "the same shot as " + m.Other
	case session.OtherSite:
		return fmt.Sprintf("its header states a site %s from that of %s", SmallAngle(m.Apart), m.Other)
	case session.NoSite:
		return "nobody says where it was taken"
	case session.OtherNight:
		return fmt.Sprintf("of another evening: taken %s from %s", span(m.Gap), m.Other)
	case session.OldTime:
		return fmt.Sprintf("set aside: its time lies %s before that of %s, which came first", span(m.Gap), m.Other)
	case session.FarTime:
		return fmt.Sprintf("set aside: its time lies %s after that of %s", span(m.Gap), m.Other)
	}
	if why, ok := Reason(m.Err); ok { // Misfit
		return why
	}
	if m.Err != nil { // BadTime, BadSite, Misfit
		return m.Err.Error()
	}
	return "left out"
}

// span writes a difference of times.
func span(d time.Duration) string {
	switch d = d.Abs(); {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 48*time.Hour:
		return fmt.Sprintf("%.1f hours", d.Hours())
	}
	return fmt.Sprintf("%.0f days", d.Hours()/24)
}

// Refusal says why there is no answer.
func Refusal(r *session.Refusal) string {
	switch r.Kind {
	case session.TooFew:
		return fmt.Sprintf("%d of %s can be used, 2 are needed", r.Count, Count(r.Of, "frame"))
	case session.WeakGeometry:
		return tooWeak(r.Weak)
	case session.OtherPole:
		return fmt.Sprintf("%s states a site at latitude %s, the site in use (%s) lies in the other hemisphere: one of them has the wrong sign; check --lat, or say --header-wrong", r.Frame, Latitude(r.Angle), SourceOf(r.Source))
	case session.StarsRefuse:
		return doubtWords(r.Doubt)
	case session.DeviceScatter:
		return fmt.Sprintf("%s. Nobody saw what the motor did, so nothing is answered: look for what slips, pulls or bends, and measure anew", r.Warning)
	case session.FrameNeeded:
		return fmt.Sprintf("%s takes no part: %v", r.Frame, r.Err)
	}
	return r.Err.Error()
}

// Latitude writes a latitude with its hemisphere.
func Latitude(a sphere.Angle) string {
	if a < 0 {
		return fmt.Sprintf("%.2f° S", -a.Degrees())
	}
	return fmt.Sprintf("%.2f° N", a.Degrees())
}

// doubtWords says what of site and time cannot be, and what would fit.
func doubtWords(d *axis.SiteDoubt) string {
	var out []string
	for i, c := range d.Unseen {
		if i == 2 {
			out = append(out, fmt.Sprintf("and so on for %d more", len(d.Unseen)-2))
			break
		}
		out = append(out, contradiction(&c, session.Source{}))
	}
	if len(d.Unseen) == 0 {
		out = append(out, fmt.Sprintf("the stars do not fit the site and the time (odds of e^%.0f against)", d.LogOdds))
	}
	return strings.Join(out, "; ") + ". " + fits(d.Fits)
}

// fits names the mistakes that would explain it.
func fits(as []axis.Alternative) string {
	if len(as) == 0 {
		return "The time, its zone, or the site is wrong; check --time-zone, --at, --lat and --lon"
	}
	var ways []string
	for i, a := range as {
		if i == 3 {
			break
		}
		ways = append(ways, mistake(&a))
	}
	return "It would fit if " + strings.Join(ways, ", or if ")
}

func mistake(a *axis.Alternative) string {
	switch a.Mistake {
	case axis.LatitudeSign:
		return "the latitude were " + Latitude(a.Site.Lat)
	case axis.LongitudeSign:
		return "the longitude were " + longitude(a.Site.Lon)
	case axis.BothSigns:
		return "the site were " + Latitude(a.Site.Lat) + " " + longitude(a.Site.Lon)
	case axis.ClockZone:
		return "the times were of the site's zone, " + hours(a.Shift) + " (see --time-zone)"
	}
	if a.Least != a.Most {
		return fmt.Sprintf("the clock were wrong: the times %s to %s, or the site %s", hours(a.Least), hours(a.Most), further(a.Least, a.Most))
	}
	return "the clock were wrong: the times " + hours(a.Shift) + ", or the site " + further(a.Shift, a.Shift)
}

// further is by how much further east or west a site has the same sky as a clock that is
// wrong: 15 degrees an hour, and times too early are those of a place further east.
func further(least, most time.Duration) string {
	near, far := 15*math.Abs(least.Hours()), 15*math.Abs(most.Hours())
	way := "east"
	if least < 0 {
		near, far, way = far, near, "west"
	}
	if near == far {
		return fmt.Sprintf("%.0f° further %s", near, way)
	}
	return fmt.Sprintf("%.0f° to %.0f° further %s", near, far, way)
}

func longitude(a sphere.Angle) string {
	if a = a.Wrap(); a < 0 {
		return fmt.Sprintf("%.2f° W", -a.Degrees())
	}
	return fmt.Sprintf("%.2f° E", a.Degrees())
}

func hours(d time.Duration) string {
	if d < 0 {
		return fmt.Sprintf("%g h earlier", -d.Hours())
	}
	return fmt.Sprintf("%g h later", d.Hours())
}

// contradiction says what cannot all be true.
func contradiction(c *axis.Contradiction, from session.Source) string {
	name := func(i int) string { return c.Names[i] }
	switch c.Kind {
	case axis.BelowHorizon:
		return fmt.Sprintf("by its time and site, %s would have looked %.0f° below the horizon", name(0), -c.Angle.Degrees())
	case axis.StarsBelow:
		return fmt.Sprintf("by its time and site, stars of %s stood %.0f° below the horizon", name(0), -c.Angle.Degrees())
	case axis.InDaylight:
		return fmt.Sprintf("by its time and site, %s was taken with the Sun at altitude %.0f°", name(0), c.Angle.Degrees())
	case axis.ClockJumped:
		return fmt.Sprintf("%s and %s lie %s apart: are they of one measurement, or did the clock step?", name(0), name(1), span(c.Gap))
	case axis.ClockStood:
		return fmt.Sprintf("%s and %s have the same time, yet the mount turned by %.1f° between them: the clock stood still, or the time is not the camera's", name(0), name(1), c.Angle.Degrees())
	case axis.OneTimeTold:
		return fmt.Sprintf("%s and %s are told one time, and the mount turned by %.1f° between them: whatever the sky turned meanwhile, by 15\" a second, makes the answer wrong; give each frame its own time", name(0), name(1), c.Angle.Degrees())
	case axis.SitesDiffer:
		return fmt.Sprintf("the headers of %s and %s state sites %s apart", name(0), name(1), SmallAngle(c.Angle))
	case axis.SiteDiffers:
		return fmt.Sprintf("the header of %s states a site %s from the one in use (%s)", name(0), SmallAngle(c.Angle), SourceOf(from))
	case axis.ZoneFar:
		return fmt.Sprintf("the clock of %s keeps a time zone %s from that of the longitude: are the longitude's sign and the camera's zone right?", name(0), span(c.Gap))
	}
	return "a contradiction"
}

// Note says a note.
func Note(n session.Note) string {
	switch n.Kind {
	case session.FitWarning:
		return warning(n.Warning)
	case session.NearZenith:
		return "the pole stands within 10 degrees of the zenith: azimuth means little here, go by the total"
	case session.Contradicts:
		return contradiction(n.Contradiction, n.Source)
	case session.SiteMirrored:
		return mirrored(n)
	case session.TimeGuessed:
		return fmt.Sprintf("the time of %s is uncertain (%s): check it, or give --time-zone", n.Frame, n.Text)
	case session.ClockFar:
		return clockFar(n.Frame, n.Gap)
	case session.WrittenLate:
		return fmt.Sprintf("%s was written %s after its own time: if it came straight from the camera, the camera's clock is slow", n.Frame, span(n.Gap))
	case session.ExposuresOverlap:
		return fmt.Sprintf("the exposures of %s and %s overlap by %s: their times or exposures are wrong (see --exposure)", n.Other, n.Frame, span(n.Gap))
	case session.Unsure:
		return fmt.Sprintf("uncertain by %s, more than the tolerance: take more frames, or turn further between them", Sigma(n.Angle))
	case session.MeasureAnew:
		return followAdvice(n.Advice)
	case session.Touched:
		return touched(n.Seen)
	case session.OfFile:
		return n.Frame + ": " + n.Text
	case session.OtherFits:
		return doubtWords(n.Doubt)
	case session.NotKept:
		return fmt.Sprintf("the journal could not be written: %v", n.Err)
	case session.GearLeftOut:
		return fmt.Sprintf("the gear file is left out: %v", n.Err)
	case session.ClockMoved:
		return fmt.Sprintf("the camera's clock moved by %s between %s and %s: the measurement begins anew from here", span(n.Gap), n.Other, n.Frame)
	case session.Begun:
		return "new measurement"
	case session.Resumed:
		return "resumed"
	case session.NotResumed:
		return fmt.Sprintf("the earlier run cannot be gone on with: %v", n.Err)
	case session.FolderGone:
		return "the folder is gone; waiting for it to return"
	case session.FolderBack:
		return "the folder is back"
	case session.AgainSeen:
		return fmt.Sprintf("%s: the same picture as one before (%s)", n.Frame, n.Other)
	case session.BuildingIndex:
		return fmt.Sprintf("building the star index for patterns of %.1f° to %.1f°, once: this may take a minute", n.Share[0].Degrees(), n.Share[1].Degrees())
	case session.LongSearch:
		return longSearch
	case session.LooksFar:
		return Foreign(n.Frame) + " is not where it must be: looking in the whole sky until the next frame comes"
	case session.PassedOver:
		return passedOver(n.Frames)
	case session.FolderTooDeep:
		return fmt.Sprintf("%s and what else lies more than %d folders deep is not looked at: name a folder nearer to the frames", Foreign(n.Text), watch.MostDeep)
	case session.FolderTooMany:
		return fmt.Sprintf("%s and what else comes after the first %d folders is not looked at: name a folder with fewer below it", Foreign(n.Text), watch.MostFolders)
	case session.StarsShow:
		return starsShow(n.Finding)
	case session.NotDone:
		return "not done: " + PlainError(n.Err).Error()
	}
	return ""
}

// mirrored says that a sign of the site may be wrong.
func mirrored(n session.Note) string {
	sign := "latitude"
	switch {
	case n.Lat && n.Lon:
		sign = "latitude and longitude"
	case n.Lon:
		sign = "longitude"
	}
	return fmt.Sprintf("the site in use (%s) is that of %s in the gear file but for the sign of its %s: is it right?", SourceOf(n.Source), n.Other, sign)
}

// clockFar says that a frame cannot be of this night by the computer's clock.
func clockFar(frame string, gap time.Duration) string {
	if gap > 0 {
		return fmt.Sprintf("%s lies %s ahead of now by its own time: is the camera's clock right, and this computer's?", frame, span(gap))
	}
	return fmt.Sprintf("%s is %s old by its own time: is the camera's clock right?", frame, span(gap))
}

// passedOver names frames that newer ones overtook.
func passedOver(names []string) string {
	const most = 3
	if more := len(names) - most; more > 0 {
		return fmt.Sprintf("passed over for newer frames: %s and %d more", strings.Join(names[:most], ", "), more)
	}
	return "passed over for a newer frame: " + strings.Join(names, ", ")
}

// longSearch tells that the solver's last search has begun.
const longSearch = "no known pattern fits: looking through all stars of the sky"

// Notes says several notes, each with its words once.
func Notes(ns []session.Note) (out []string) {
	said := map[string]bool{}
	for _, n := range ns {
		if w := Note(n); w != "" && !said[w] {
			said[w] = true
			out = append(out, w)
		}
	}
	return out
}

// Record is how doubts and notes read in the journal.
func Record(st session.State) []string { return append(Notes(st.Doubts), Notes(st.Notes)...) }

// unsettled words what of the setting cannot be settled, with what to try.
func unsettled(u *session.Unsettled) error {
	say := func(try, format string, args ...any) error { return advice.With(fmt.Errorf(format, args...), try) }
	switch u.Kind {
	case session.WhereUnknown:
		return say("give --lat, --lon and --elev, such as --lat 31.4S --lon 121.9E --elev 430m, or tell it once: pintle gear add site NAME --lat 31.4S --lon 121.9E", "the frames do not say where they were taken")
	case session.SiteUnread:
		return say("give --lat, --lon and --elev, such as --lat 31.4S --lon 121.9E --elev 430m, or a site of the gear file with --site", "%s: %w", u.Name, u.Err)
	case session.SitesDiffer:
		return say("leave one of them out, or give the site with --lat and --lon", "%s and %s state sites %s apart", u.Name, u.Other, SmallAngle(u.Apart))
	case session.TwoPlaces:
		return say("give the one or the others", "--site %s and --lat or --lon are both given", u.Name)
	case session.NoSuchSite:
		return say(Known(u.Known, "pintle gear add site NAME --lat 31.4S --lon 121.9E"), "no site called %q in the gear file", u.Name)
	case session.NoSuchMount:
		return say(Known(u.Known, "pintle gear add mount NAME --alt-per-turn 60"), "no mount called %q in the gear file", u.Name)
	case session.ToleranceOutOfRange:
		return say("1 suits most portable set-ups", "tolerance of %g arcmin is out of range 0.01 to %g", u.Value, u.Limit)
	case session.BadPlace:
		return say("check --lat, --lon and --elev", "%w", u.Err)
	case session.BadAir:
		return say("check --pressure, --temp and --humidity", "%w", u.Err)
	case session.NoTarget:
		return say("name it with --target, such as --target M42", "--pole king, but for which target?")
	case session.NeverUp:
		return say("choose another night, another target, or a lower --min-alt", "%s does not stand %.0f° high in a dark sky that night", u.Name, u.Limit)
	case session.KingFails:
		return say("raise --min-alt", "%w", u.Err)
	}
	return u.Err
}

// PlainError words what sessions refuse to start with.
func PlainError(err error) error {
	var un *session.Unsettled
	var bad *session.Fault
	var never *planning.Impossible
	switch {
	case errors.As(err, &never):
		return impossible(never)
	case errors.As(err, &un):
		return unsettled(un)
	case errors.As(err, &bad):
		return fault(bad.Frame)
	}
	return err
}

// fault words a file without which there is nothing to do.
func fault(f *session.Frame) error {
	m := f.Miss
	switch m.Kind {
	case session.Unreadable, session.NoPicture:
		err := m.Err
		if errors.Is(err, fs.ErrNotExist) {
			return advice.With(err, "check the name of the file")
		}
		return unread(f.Path, err)
	case session.NoTime:
		return advice.With(fmt.Errorf("%s does not say when it was taken", f.Path), "give one time for all frames with --at, such as --at 2026-11-27T10:30:00Z, or --at 21:30")
	case session.BadTime:
		return advice.With(fmt.Errorf("%s: %w", f.Path, m.Err), "give one time for all frames with --at")
	case session.SamePicture:
		return advice.With(fmt.Errorf("%s and %s are the same picture", m.Other, f.Path), "give each frame once; two or more taken with RA turned between them are needed")
	}
	return advice.With(fmt.Errorf("%s: %s", f.Path, Miss(f)), "leave it out, and give two or more others")
}

// Simulation marks what was not photographed.
const Simulation = "SIMULATION"

// Together puts all doubts and notes into one line.
func Together(st *session.State) string { return join(Record(*st)...) }

// AskPlace asks for a place at the keyboard; wrong says what was wrong with it.
func AskPlace(typed, wrong string) string {
	if wrong != "" {
		wrong = "   " + wrong
	}
	return "Latitude and longitude, then Enter (Esc: leave it): " + typed + "_" + wrong
}
