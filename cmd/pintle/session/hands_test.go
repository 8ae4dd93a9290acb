package session

import (
	"context"
	"math"
	"path/filepath"
	"testing"
	"time"

	"pintle/cmd/night/posed"
	"pintle/index/sphere"
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

// The journal keeps the turns, and which camera took the frames.
func TestTurnsAreKept(t *testing.T) {
	eye := newPosed(t)
	path := filepath.Join(t.TempDir(), "journal.jsonl")
	measured := 20 * sphere.Degree
	hands := motor{[]Turn{{Asked: 20 * sphere.Degree, Reported: 19.5 * sphere.Degree, Measured: &measured, West: true, Rate: 3 * sphere.Degree, Time: 7 * time.Second, StoppedBy: "angle"}, {StoppedBy: "user"}}}
	s := newSessionFor(t, eye, func(c *Config) { c.Hands, c.Journal = hands, path })
	if err := s.Measure(context.Background(), files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30}, posed.Pose{At: 40, Turn: 60})); err != nil {
		t.Fatal(err)
	}
	r := mustRead(t, path)[0]
	if len(r.Turns) != 2 || r.Turns[0].Direction != "west" || r.Turns[1].Direction != "east" || r.Turns[0].Measured == nil || math.Abs(*r.Turns[0].Measured-20) > 1e-9 ||
		math.Abs(r.Turns[0].Reported-19.5) > 1e-9 || r.Turns[0].Seconds != 7 || r.Turns[1].StoppedBy != "user" || r.Turns[1].Measured != nil {
		t.Errorf("%+v", r.Turns)
	}
	for _, f := range r.Frames {
		if f.By != "finder" {
			t.Errorf("%s taken by %q", f.Name, f.By)
		}
	}
}
