package session

import (
	"context"
	"testing"

	"pintle/cmd/night/posed"
	"pintle/index/sphere"
)

// Headers that state the other hemisphere refuse an answer; the person who says that
// they are wrong gets the right one, by either road.
func TestHeadersOfTheOtherHemisphere(t *testing.T) {
	eye := newPosed(t)
	first := posed.Pose{Elsewhere: true}
	paths := files(t, first, posed.Pose{At: 20, Turn: 30, Elsewhere: true}, posed.Pose{At: 40, Turn: 60, Elsewhere: true})
	truth, err := eye.Truth(first)
	if err != nil {
		t.Fatal(err)
	}
	right := eye.Night.Spec().Site
	for _, insists := range []bool{false, true} {
		edit := func(c *Config) { c.Told.Site, c.Told.HeaderWrong = &right, insists }
		batch, live := newSessionFor(t, eye, edit), newSessionFor(t, eye, edit)
		if err := batch.Measure(context.Background(), paths); err != nil {
			t.Fatal(err)
		}
		one(t, live, paths)
		for road, st := range map[string]State{"at once": batch.State(), "one by one": live.State()} {
			switch {
			case !insists && (st.Answer != nil || st.Refusal == nil || st.Refusal.Kind != OtherPole):
				t.Errorf("%s: answer %v, refusal %+v", road, st.Answer != nil, st.Refusal)
			case insists && (st.Answer == nil || st.Answer.Axis.Sep(truth.Axis) > 5*sphere.Arcsecond):
				t.Errorf("%s, insisting: answer %+v, refusal %+v", road, st.Answer, st.Refusal)
			}
		}
	}
}
