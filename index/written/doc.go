// Package written reads angles and quantities as people, cameras and headers
// write them: 31°24'S, S 31 24, -31,4, 9000ft, 12", 50F.
//
// What can be read in two ways is refused with a hint, never guessed: an S may
// be south or seconds, and a site on the wrong side of the equator gives a
// confident wrong answer. No error of this package quotes the number parser.
package written
