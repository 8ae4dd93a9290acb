// Package session is the one road from photographs to an answer. It settles
// where, in which air, for which pole and how well (Setting, each part with its
// Source), takes up frames, has them recognised, doubts what does not go
// together, fits the axis or follows it while the adjusters are turned, keeps
// the record, and says all of it in one State.
//
// "pintle axis" is a Session that is given all frames at once (Measure), "pintle
// live" one that is given them as they come (Run), the rehearsal one with an
// invented camera. The terminal, the page, --json, the journal and the report
// are faces of its State: they import this package, it imports none of them.
// It has no words: what there is to say are kinds with numbers, which package
// words puts into sentences.
package session
