package words

// RootShort is the program in a line.
const RootShort = "polar alignment of an equatorial mount from photographs of any patch of sky"

const RootLong = `pintle tells how far, and which way, the polar axis of an equatorial mount is
off. Photograph any patch of clear sky, turn the mount about its RA axis,
photograph again, once or twice; then

  pintle axis FRAME FRAME FRAME

says what the altitude and the azimuth adjuster must do. The pole need not be
visible. Start with "pintle demo", which invents a night and measures it. Who
would rather not type opens the whole evening in a browser: "pintle evening".

Never sweep the camera or any optics near the Sun; mind aircraft with lasers,
and a heavy mount on a slope.`
