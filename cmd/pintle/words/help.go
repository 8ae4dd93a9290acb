package words

// Topic is a page of help that belongs to no verb.
type Topic struct{ Name, Short, Text string }

// Topics are written for someone at the mount at night: short, most likely
// cause first.
var Topics = []Topic{
	{"first-time", "the first evening, from tripod to exposure", topicFirst},
	{"not-solved", "a photograph is not recognised", topicNotSolved},
	{"wrong-way", "the error grows when you turn as told", topicWrongWay},
	{"notes", "what the notes under an answer mean and what to do", topicNotes},
	{"south", "the southern hemisphere", topicSouth},
	{"equator", "within some 15 degrees of the equator", topicEquator},
	{"wedge", "alt-azimuth forks on a wedge", topicWedge},
}

// HelpShort is the verb in a line.
const HelpShort = "explain a verb or a topic"

const CompletionShort = "print a script that makes the shell complete verbs and flags"

const ManShort = "write manual pages into a folder"

const ManExample = "  pintle man ~/.local/share/man/man1"

const ManLong = `Writes a manual page for the program, for each verb and for each help topic,
for the reader of manuals that Unix-like systems have. A folder called man1
within its search path makes "man pintle-axis" work.`

const topicFirst = `The first evening

 1. At home, once: "pintle demo" shows what an answer looks like, "pintle index
    build" makes everything ready so that no wait comes in the field, and
    "pintle gear" keeps site, camera and mount.
 2. By day: level the tripod, centre the azimuth adjuster, and face the mount as
    "pintle rough" says. Within 10 degrees is enough to go on.
 3. Fit camera and counterweights as for the night. Balance. Clamp declination,
    focus and camera; from now on only RA may turn.
 4. Any clear patch of sky, 20 degrees high or more; the pole need not be seen.
    "pintle plan" says where the measurement is best. Photograph, a few seconds.
 5. Turn RA by 30 degrees, photograph; again 30 degrees, photograph.
 6. pintle axis one.fits two.fits three.fits
 7. Turn the two adjusters by what it says, the larger amount first.
    "pintle live FOLDER" follows you while you turn.
 8. Measure once more from new photographs. Clamp the adjusters softly: clamping
    moves the axis too.

"pintle limit" says when to stop. One arcminute serves most portable set-ups.
`

const topicNotSolved = `A photograph is not recognised

The line "not solved" gives the reason. In the order in which to look:

 - Few stars. Focus first. Then expose longer (5 to 10 s), raise the gain, or
   leave the brightest patch of city sky. Twenty round stars are plenty.
 - Long stars. Something shakes, or the exposure is too long for a mount that
   does not track. Wait 5 s after touching it.
 - Cloud, dew, a cap, a twig. Look at the photograph itself.
 - The field. Frames of 0.6 to 180 degrees across the diagonal are served. A
   narrower one has too few stars: look towards the Milky Way, or give a deeper
   catalogue once with "pintle index build --stars FILE".
 - Processed pictures. Stacks, crops with text in them, stars removed or
   sharpened: give the photographs as the camera wrote them.
 - The index. "pintle index info" shows whether the part for your field is
   built, "pintle index check" whether it is sound.

One frame of four not solved does no harm: the others are measured.
`

const topicWrongWay = `The error grows when you turn as told

 - Which bolt? The altitude move tilts the axis, the azimuth move turns the whole
   head about the vertical. Turn one only, a little, and measure again.
 - Clockwise is as seen from above, looking down on the mount, in either
   hemisphere. It is the way the head turns, not the bolt.
 - A bolt has no sense of its own: on one mount clockwise raises, on another it
   lowers. "pintle gear learn" finds it out from one photograph before and one
   after a full turn; then turns and sense are printed too.
 - Two bolts against each other: slacken one before turning the other.
 - The amounts are for the axis, not for the star in the picture. A star in the
   field may well move the other way.
 - Old photographs. An answer holds for where the axis stood. After a turn
   measure anew, or let "pintle live" follow.
 - The adjusters are coupled when the base is not level. Level it, or measure
   and turn twice: the second time little is left.
 - A site on the wrong side: south latitude and west longitude are negative.
`

const topicNotes = `What the notes under an answer mean

 the declination axis turned   It slipped, by the amount given, between the two
                               frames named. It is allowed for. Tighten the
                               clamp; balance in declination.
 the mount itself moved        The tripod sank or was pushed between the frames
                               named. The answer is for where it stands now.
                               Firm ground under the feet; measure again.
 a frame is left out, it is    That frame alone does not fit. It was shaken, or
 off the rotation of the       touched while exposing, or its time is wrong.
 others                        The rest stands.
 the frames do not turn about  Something moved, and the frames cannot say what:
 one axis                      a loose camera or adapter, a cable that pulls, a
                               foot that sinks. Tighten all and take six
                               frames: with more frames the cause is named.
 as if the camera had          Loose in its ring, shoe or focuser, or pulled by
 shifted                       its cable. Tighten, and measure again.
 as if something bent          Flexure. Shorter arm, firmer rings, a smaller
                               turn on one side of the meridian. The answer may
                               be off by as much as the bend.
 looks only N deg above the    Refraction is uncertain there. Measure above 20
 horizon                       degrees, or give --pressure and --temp.
 below the horizon;            No camera sees that. Time, zone, or site is
 with the Sun N deg high       wrong. Trust nothing until it is put right.
 have the same time            The clock stood still, or the time is not from
                               the camera. See --time-zone and --at.
 lie N hours apart             The clock stepped, or a frame of another
                               measurement is among them.
 turned by only N deg          Turn further: the error falls with the turn.
 two frames fit any mistake    Take a third.
 the axis is N deg from the    RA was not what turned, or site or time is wrong,
 pole                          or the mount faces the other way.

"pintle axis --more" shows how well the frames fit one rotation, how the camera
sits on the mount, and where the last frame points.
`

const topicSouth = `The southern hemisphere

Nothing in the use differs. Give the latitude with an S, or as negative: --lat
31.4S, --lat -31.4. The axis is brought to the south pole, which stands due true
south, as high as your latitude. "pintle rough" gives the compass bearing; in
southern Africa and New Zealand true and magnetic south are more than 20 degrees
apart.

Raise and lower are of the end of the axis that points to the pole. Clockwise is
as seen from above: from south towards west. No star bright enough to aim at
stands at the pole, and none is needed.

Set the mount's drive to south, or it turns the wrong way: stars then trail at
twice the sky's rate. That does not touch the measurement of short exposures.
`

const topicEquator = `Near the equator

The pole stands as low as your latitude, in haze or behind the hill. It need not
be seen. What changes:

 - Refraction lifts a low pole by up to half a degree, and weather changes that.
   Give --pressure and --temp as measured; the error printed allows for what is
   left, and a note says when it matters.
 - Many mounts do not go lower than 15 or 20 degrees. Tilt the tripod: a longer
   leg, or a block under one foot. Then altitude and azimuth are coupled, and
   two rounds of measuring and turning are needed.
 - A counterweight may meet a leg. Turn the tripod so that no leg stands below it.
 - Measure high up, not near the pole: "pintle plan" finds where.
 - Right on the equator say with the sign of the latitude which pole you want.
`

const topicWedge = `Alt-azimuth forks on a wedge

On a wedge the fork's base axis is the RA axis; the fork arms are declination.

 1. Switch the hand control to equatorial on a wedge, else it turns both axes
    and nothing fits one rotation.
 2. Clamp the arms. Turn only the base, by hand or by keypad. Switch off what
    also moves the arms: centring of stars, models of the sky, tracking in two
    axes.
 3. Measure as with any mount. Raise and lower tilt the wedge's plate; the
    azimuth move turns the wedge on its pillar.
 4. A fork is heavy and off centre: the wedge bends as it turns. Measure on the
    side of the meridian where you will photograph, with turns of 60 degrees or
    less, and tighten the plate before the last measurement.
 5. Hold the fork when you slacken anything.
`
