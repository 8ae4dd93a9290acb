package words

const AxisLong = `Measures the mount's RA axis from two or more photographs. Leave declination,
camera, focus and tripod alone and turn RA only; 30 degrees and more between
the first frame and the last are good, tracking may be on or off.

A folder stands for the photographs in it; with --last 3 the newest three are
taken. Files that are no photographs, or cannot be read, are left out and listed
as long as two good frames remain; a raw file and the JPEG of one shot count once.

With --frames 3 pintle takes the photographs itself, with the --camera that answers by
INDI or Alpaca, and keeps them in the FOLDER named, or in a new one. You turn RA
between them and press Enter. With --turn 20 the --mount turns RA, after a question:
stay beside it. The space key or Enter stops a turn, Ctrl-C ends it all.`

const AxisExample = `  pintle axis one.fits two.fits three.fits
  pintle axis --lat 31.4S --lon 121.9E --elev 430 one.jpg two.jpg three.jpg
  pintle axis --last 3 ~/captures
  pintle axis tonight --camera finder --frames 3
  pintle axis tonight --camera finder --mount fork --turn 20`

const MoreUsage = "also print how the camera sits on the mount, where the last frame points, and how well the frames fit one rotation"
