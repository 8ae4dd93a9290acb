// Package evening is the whole evening of one person at one mount, in the order
// of the person: place and set-up by day, where to point, photographs, the
// adjusters, whether that is enough, and what stays of it. It owns what no other
// package does: the folder in which the evening is kept, the photographs that
// were handed over, and the order in which they are looked at and measured.
// Everything else it asks of the packages that the verbs ask: rough, plan, drive,
// session, journal, gear. The browser's pages are its face; it serves
// nothing itself.
//
// # The folder
//
//	evening.json   place, gear, what blocks the sky, the list of photographs
//	photographs/   what was handed over, as it came, under harmless names
//	taking/        photographs that a camera is taking, until they are handed over
//	pictures/      a small picture of each, and the stars that are marked on it
//	page.address   where the page is while the program runs
//
// Every file is written whole or not at all (package whole), and evening.json
// after every change: a page, a lid or a program that is closed loses nothing.
// The measurement itself is kept by the session, in the journal, and goes on from
// there.
package evening
