// Package stars holds star lists. The embedded one is all of Tycho-2 (E. Hog et al. 2000,
// A&A 355, L27; CDS I/259), 2.54 million stars of the main file and 17 588 of
// its first supplement, to about V = 12 and complete to 99 % at V = 11.0.
//
// [Embedded] gives it; [Builder] packs a deeper list on disk, and [OpenFile]
// opens that. [List.Cone], [List.ConeDots] and [List.Each] read
// from it. Nothing is decoded before it is asked for, and a small cone touches
// only a few cells of sky, so the list costs no time at start-up and no memory
// but that of the stars returned. A List is never written to: any number of
// goroutines may use it.
//
// # Accuracy
//
// Packing moves a place by at most 0.032 arcsec, and by at most 0.05 arcsec
// anywhere from 2000 to 2050, where the rounding of the proper motion adds to
// it; V is kept to 0.02, B-V to 0.05. The catalogue's own errors are larger:
// 36 mas per coordinate for the bright stars in 2026.9, 106 mas at V = 12.
// [Star.Err] states both together. Three peculiarities come with the source:
//
//   - 122 527 stars, Polaris among them, have no proper motion there. They stay
//     where Hipparcos saw them in 1991, and Err grows by the proper motion
//     usual for their brightness.
//   - 13 098 entries, nearly all in pairs, are the two halves of close double
//     stars for which only a common photocentre is known: two entries, one
//     place. A camera sees them as one star.
//   - parallax (0.75 arcsec at most), orbital motion and radial velocity are
//     left out.
//
// A list from a Builder has cells half as high, which halve the errors of
// packing a place: 0.016 arcsec at most, 0.007 in the root mean square of a
// coordinate. V is kept to half a 255th of the range of its layer.
//
// tycho2.bin is made by cmd/starpack; its licence is in LICENSE.tycho2.
package stars
