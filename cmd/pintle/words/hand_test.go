package words

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"pintle/axis"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// A mount whose bolts obey words: it does what the sentence says and nothing
// else. Axis above and to the right of the pole, arcmin.
type obedient struct {
	up, right         float64
	altTurn, azTurn   float64
	altSense, azSense string
}

var said = regexp.MustCompile(`^(altitude|azimuth)(?: bolt: ([0-9.]+) turns (clockwise|counter-clockwise) \(the (?:axis|head) goes ([0-9.]+)' (up|down|left|right)\)|: (raise|lower) the axis by ([0-9.]+)'|: turn the head ([0-9.]+)' to the (left|right))`)

// obey turns what the sentence says; a sentence that it does not understand, or
// that says two things that disagree, is an error.
func (m *obedient) obey(sentence string) error {
	p := said.FindStringSubmatch(sentence)
	if p == nil {
		return fmt.Errorf("not understood: %q", sentence)
	}
	number := func(s string) (x float64) {
		_, _ = fmt.Sscan(s, &x)
		return x
	}
	by := map[string]float64{"up": 1, "down": -1, "right": 1, "left": -1, "raise": 1, "lower": -1}
	var move float64
	switch {
	case p[6] != "":
		move = by[p[6]] * number(p[7])
	case p[9] != "":
		move = by[p[9]] * number(p[8])
	default:
		perTurn, forward := m.altTurn, m.altSense == gear.Raises
		if p[1] == "azimuth" {
			perTurn, forward = m.azTurn, m.azSense == gear.Clockwise
		}
		move = number(p[2]) * perTurn
		if (p[3] == gear.Clockwise) != forward {
			move = -move
		}
		if told := by[p[5]] * number(p[4]); told*move < 0 {
			return fmt.Errorf("the bolt goes one way, the words say the other: %q", sentence)
		}
	}
	if p[1] == "altitude" {
		m.up += move
	} else {
		m.right += move
	}
	return nil
}

// In both hemispheres, for both signs of both errors and every sense of the
// bolts, a mount that does what the sentences say comes to the pole. The place
// of the axis is reckoned here from the local frame alone: a mount that faces the
// south pole has west, the larger azimuth, on its right.
func TestTheSentenceShrinksTheError(t *testing.T) {
	const arcmin = sphere.Arcminute
	for _, south := range []bool{false, true} {
		for _, altSense := range []string{"", gear.Raises, gear.Lowers} {
			for _, azSense := range []string{"", gear.Clockwise, gear.Counter} {
				for _, sign := range [][2]float64{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
					facing := sphere.Angle(0)
					if south {
						facing = 180 * sphere.Degree
					}
					pole := sphere.LocalAt(facing, 35*sphere.Degree)
					at := sphere.LocalAt(facing+sphere.Angle(sign[1])*40*arcmin, 35*sphere.Degree+sphere.Angle(sign[0])*25*arcmin)
					// East, north, up: the right hand of someone who faces north is
					// east, of someone who faces south west.
					right := at.Vec().X - pole.Vec().X
					if south {
						right = -right
					}
					if right*sign[1] < 0 {
						t.Fatal("the test's own frame is wrong")
					}
					az, alt := at.AzAlt()
					o := axis.Offset{Pole: pole, Parts: axis.Parts{Alt: alt - 35*sphere.Degree, AzKnob: (az - facing).Wrap()}}
					m := &obedient{up: sign[0] * 25, right: sign[1] * 40, altTurn: 50, azTurn: 12, altSense: altSense, azSense: azSense}
					mount := gear.Mount{AltPerTurn: 50, AltSense: altSense, AzPerTurn: 12, AzSense: azSense}
					for i, mv := range o.Moves() {
						x := session.Move{Move: mv}
						signed := mv.Amount
						if mv.Direction == axis.Lower || mv.Direction == axis.CounterClockwise {
							signed = -signed
						}
						if i == 0 {
							x.Bolt = mount.Alt(signed, 35*sphere.Degree)
						} else {
							x.Bolt = mount.Az(signed)
						}
						s := Hand(x)
						if err := m.obey(s); err != nil {
							t.Fatal(err)
						}
						if strings.Contains(s, "clockwise") && strings.Count(s, "clockwise") > 1 {
							t.Errorf("two senses in one sentence: %q", s)
						}
					}
					if m.up > 0.5 || m.up < -0.5 || m.right > 0.5 || m.right < -0.5 {
						t.Errorf("south %v, bolts %q %q, error %v: %.2f' and %.2f' are left", south, altSense, azSense, sign, m.up, m.right)
					}
				}
			}
		}
	}
}

func TestSentences(t *testing.T) {
	const arcmin = sphere.Arcminute
	alt := axis.Move{Adjuster: axis.Altitude, Direction: axis.Raise, Amount: 23.7 * arcmin}
	az := axis.Move{Adjuster: axis.Azimuth, Direction: axis.CounterClockwise, Amount: 49.9 * arcmin}
	for _, c := range []struct {
		m    session.Move
		want string
	}{
		{session.Move{Move: alt}, "altitude: raise the axis by 23.7'"},
		{session.Move{Move: alt, Bolt: gear.Amount{Turns: 0.474}}, "altitude: raise the axis by 23.7', 0.47 turns of the bolt"},
		{session.Move{Move: alt, Bolt: gear.Amount{Turns: 0.474, Divisions: 12, Sense: gear.Counter}}, "altitude bolt: 0.47 turns (12 marks) counter-clockwise (the axis goes 23.7' up)"},
		{session.Move{Move: alt, Bolt: gear.Amount{Sense: gear.Clockwise}}, "altitude bolt: clockwise, until the axis has gone 23.7' up"},
		{session.Move{Move: az}, "azimuth: turn the head 49.9' to the left"},
		{session.Move{Move: az, Bolt: gear.Amount{Turns: 0.55, Sense: gear.Clockwise}}, "azimuth bolt: 0.55 turns clockwise (the head goes 49.9' left)"},
		{session.Move{Move: az, Bolt: gear.Amount{Beyond: -9 * sphere.Degree}}, "azimuth: beyond the azimuth adjuster's range: centre it, then lift and turn the whole tripod by about 9.0° to the left"},
	} {
		if got := Hand(c.m); got != c.want {
			t.Errorf("%q\nwant %q", got, c.want)
		}
	}
}

func TestAllowed(t *testing.T) {
	for arcmin, want := range map[float64]string{16.927747403888606: "16.9'", 1: "1'", 0.1: "0.1'", 0.123456: "0.123'", 600: "600'", 1.5: "1.5'"} {
		if got := Allowed(sphere.Angle(arcmin) * sphere.Arcminute); got != want {
			t.Errorf("%g: %q, want %q", arcmin, got, want)
		}
	}
}

func TestWrap(t *testing.T) {
	for _, text := range []string{"", "one", "a sentence of several words that has to be broken", strings.Repeat("x", 100), "ünïcödé wörds 日本語日本語日本語日本語 and more"} {
		for _, w := range []int{1, 5, 17, 40, 300} {
			rows := Wrap(text, w)
			all := ""
			for _, r := range rows {
				if Places(r) > w && w > 1 {
					t.Errorf("%d places in %d: %q", Places(r), w, r)
				}
				all += strings.ReplaceAll(r, " ", "")
			}
			if all != strings.ReplaceAll(text, " ", "") {
				t.Errorf("%q in %d became %q", text, w, all)
			}
		}
	}
}

func TestApart(t *testing.T) {
	got := Apart([]string{"/n/a/one.fits", "/n/b/one.fits", "two.fits", `c:\x\three.fits`})
	want := []string{"a/one.fits", "b/one.fits", "two.fits", "three.fits"}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%q, want %q", got[i], want[i])
		}
	}
}

// The bolts' heads are mentioned where a sentence says a bolt's sense, and only
// there.
func TestViewpoint(t *testing.T) {
	for _, c := range []struct {
		bolt gear.Amount
		want bool
	}{
		{gear.Amount{}, false},
		{gear.Amount{Turns: 0.5}, false},
		{gear.Amount{Sense: gear.Clockwise, Beyond: sphere.Degree}, false},
		{gear.Amount{Sense: gear.Clockwise}, true},
	} {
		alt := axis.Move{Adjuster: axis.Altitude, Direction: axis.Raise, Amount: sphere.Arcminute}
		st := &session.State{Moves: [2]session.Move{{Move: alt}, {Move: alt, Bolt: c.bolt}}}
		v := Viewpoint(st)
		if got := strings.Contains(v, "bolt"); got != c.want || !strings.Contains(v, "from behind the mount") {
			t.Errorf("%+v: %q", c.bolt, v)
		}
		if got := strings.Contains(Hand(st.Moves[1]), "clockwise"); got != c.want {
			t.Errorf("%+v: the sentence says %q", c.bolt, Hand(st.Moves[1]))
		}
	}
}
