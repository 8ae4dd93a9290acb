package words

const SolveLong = `Recognises the stars of each photograph and says where it points. No hint of
place, scale or orientation is needed.`

const SolveExample = `  pintle solve one.fits
  pintle solve --json *.fits`
