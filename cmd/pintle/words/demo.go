package words

const DemoLong = `Invents a night: a place, a portable mount whose axis is off, and a small
camera. Renders what the camera sees into files, with photon noise and hot
pixels, measures those files exactly as "pintle axis" does, and prints the
answer beside the truth. Nothing in it is real.

With --live it is a rehearsal of "pintle live": a pretended camera takes a frame
every few seconds while you turn the pretended mount from the page or by keys.`

const DemoExample = `  pintle demo
  pintle demo --south --seed 7
  pintle demo --keep /tmp/night
  pintle demo --live --phone`
