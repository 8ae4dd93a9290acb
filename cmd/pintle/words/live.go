package words

const LiveLong = `Watches the folder into which your camera program saves its frames, and the
folders below it. Turn RA between the first two or three frames: they measure
the axis. Then turn the altitude and azimuth adjusters: every further frame says
how much is left, until the axis is within the tolerance. The same is shown on a
page for the browser; with --phone it can be opened on a phone in the same
network, by the address or the QR code that is printed. That is plain HTTP on the
local network: whoever has the address has the page. The key stands in the
address and stays until --new-key.

Where the mount stands is told by --site, --lat and --lon, by the frames' headers,
or by the gear file. When nobody says, live waits and asks: type s and the place.

A frame that cannot be used is named and set aside; the next one counts again. One
that is not where it must be is told to be lost at once, and looked for in the whole
sky only until the next one comes; frames that newer ones overtook are named. A
camera clock that moves is told, and the measurement begins anew by itself.

Everything measured goes to a journal as it happens; after a crash
"pintle live FOLDER --resume" goes on where it stood.

Keys: n new measurement, + and - tolerance, m sound, p code for the phone,
r resume, s say the site, q quit.`

// PageByName answers who opens the page by this computer's name.
const PageByName = "This page opens by number, not by name: anyone could give this computer another name. Use the address that pintle printed, or its QR code."

const LiveExample = `  pintle live ~/captures
  pintle live ~/captures --phone --alt-turn 45 --az-turn 80
  pintle live ~/captures --json --lat 31.4S --lon 121.9E --elev 430`
