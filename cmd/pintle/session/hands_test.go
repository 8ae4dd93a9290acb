package session

import (
	"context"
	"testing"

	"pintle/cmd/night/posed"
)

// motor is hands that have turned the mount.
type motor struct{ turns []Turn }

func (m motor) TakenBy(string) string    { return "finder" }
func (m motor) Status() Handling         { return Handling{Turns: m.turns} }
func (m motor) Do(Action) bool           { return false }
func (m motor) Changed() <-chan struct{} { return nil }

// Frames that a motor turned and that scatter beyond their errors give no answer,
// on both roads; turned by hand they give one, with a note or a doubt.
func TestDeviceScatter(t *testing.T) {
	eye := newPosed(t)
	paths := files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30, Dec: 0.1}, posed.Pose{At: 40, Turn: 60})
	for _, turns := range [][]Turn{nil, make([]Turn, 2)} {
		edit := func(c *Config) { c.Hands = motor{turns} }
		batch, live := newSessionFor(t, eye, edit), newSessionFor(t, eye, edit)
		if err := batch.Measure(context.Background(), paths); err != nil {
			t.Fatal(err)
		}
		one(t, live, paths)
		for road, st := range map[string]State{"at once": batch.State(), "one by one": live.State()} {
			if len(turns) == 0 {
				if st.Answer == nil {
					t.Errorf("%s, by hand: %+v", road, st.Refusal)
				}
				continue
			}
			if st.Answer != nil || st.Refusal == nil || st.Refusal.Kind != DeviceScatter || st.Within {
				t.Errorf("%s, by a motor: answer %+v, refusal %+v", road, st.Answer, st.Refusal)
			}
			if st.Last.TakenBy != "finder" || st.Hands == nil {
				t.Errorf("%s: taken by %q, hands %v", road, st.Last.TakenBy, st.Hands)
			}
		}
		if len(turns) == 0 {
			continue
		}
		// The next measurement is judged by itself.
		live.Begin()
		one(t, live, files(t, posed.Pose{At: 60}, posed.Pose{At: 80, Turn: 30}, posed.Pose{At: 100, Turn: 60}))
		if st := live.State(); st.Answer == nil {
			t.Errorf("measured anew: %+v", st.Refusal)
		}
	}
}
