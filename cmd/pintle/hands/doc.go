// Package hands takes photographs and turns RA in the person's place, so that
// only the bolts are left to do. It drives a camera and a turner of package
// device between the frames of a session: photograph, let the session recognise
// it, ask, turn, photograph. The photographs lie in the folder that the session
// watches, so that all else goes the one road.
//
// "pintle axis" with --frames is Measure, "pintle live" with a camera that has an
// address is Run, "pintle evening" asked to photograph and turn is Series. The person is heard through Do and sees Status, whichever face
// shows it. A stop is taken at once and past everything else.
package hands
