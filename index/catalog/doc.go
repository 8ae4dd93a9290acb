// Package catalog reads open star catalogues into star lists on disk.
//
// [Import] takes files of comma-, semicolon-, tab- or bar-separated values,
// FITS binary tables and VOTables (TABLEDATA, BINARY and BINARY2), each plain
// or packed with gzip, finds the columns it needs and writes one list for
// [stars.OpenFile]. Rows are streamed: memory does not grow with their number.
//
// # Columns
//
// Right ascension, declination and a magnitude are needed; proper motion, the
// epoch of the places and standard errors are used where they are. Columns are
// found by their UCD (UCD1 or UCD1+) where one is marked as the main one, else
// by the names that archives give them, else by their UCD alone; [Columns]
// names them instead. What is found is in the report, and what is not found or
// not clear is an error.
//
// Places are ICRS; FK5 (J2000), which differs by some hundredths of an
// arcsecond, is taken for it. Units are those the file states, otherwise degrees, mas/yr, mas (of
// errors) and Julian years. Right ascension in sexagesimal text is in hours.
// The proper motion in right ascension contains the factor cos(dec), as
// archives give it today. A star without proper motion is taken to stand
// still, with the error this entails. The magnitude is taken as V, whatever
// its band.
//
// # Rows
//
// A row without place or magnitude, or with a number out of range, is left out,
// counted under its reason, and the first few are named. A damaged file is an
// error: nothing is known about the rows that are missing.
package catalog
