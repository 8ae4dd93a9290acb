package terminal

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"pintle/axis"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// evening is a state with everything there can be on a screen.
func evening() session.State {
	const arcmin = sphere.Arcminute
	return session.State{
		Phase: session.Adjusting, Simulated: true, Count: 12, Old: true,
		Setting: session.Setting{Settled: true, Tolerance: 16.927747403888606 * arcmin, SiteSource: session.Source{Kind: session.FromGear, Name: "garden"}, Times: "DATE-OBS + half the exposure"},
		Last:    &session.Frame{Path: "/long/" + strings.Repeat("x", 100) + ".fits", Miss: &session.Miss{Kind: session.Unsolved, Err: errors.New("cloud")}},
		Answer: &session.Answer{From: "seven.fits", Offset: axis.Offset{
			Parts: axis.Parts{Alt: -7.25 * arcmin, AzKnob: -123.4 * arcmin, Total: 12 * arcmin}, Err: axis.Parts{Total: 0.2 * arcmin}}},
		Moves: [2]session.Move{
			{Move: axis.Move{Adjuster: axis.Altitude, Direction: axis.Raise, Amount: 7.25 * arcmin}, Bolt: gear.Amount{Turns: 0.2, Sense: gear.Counter}, Done: true},
			{Move: axis.Move{Adjuster: axis.Azimuth, Direction: axis.Clockwise, Amount: 123.4 * arcmin}},
		},
		Doubts: []session.Note{{Kind: session.MeasureAnew, Advice: axis.TripodMoved}},
		Notes:  []session.Note{{Kind: session.FolderBack}, {Kind: session.OfFile, Frame: "a\x1b[2Jb.fits", Text: "two\nlines"}},
		Next:   session.Next{Kind: session.WaitSolved}, Muted: true,
	}
}

// Whatever the size of the terminal, nothing is wider or higher than it, what
// matters is whole, and the doubt stands above the arrows.
func TestPanelFits(t *testing.T) {
	st := evening()
	panelFits(t, st)
	st.Hands = &session.Handling{Camera: "finder", Mount: "fork", Doing: session.Exposing, Exposure: 2 * time.Second, Change: &session.Change{Why: "few stars", Next: time.Second}}
	panelFits(t, st)
}

// A question and the key that stops are on every screen.
func TestPanelAsks(t *testing.T) {
	st := evening()
	st.Hands = &session.Handling{Camera: "finder", Mount: "fork\x1b[2J", Doing: session.Asking, Trouble: errors.New("the frame is old"),
		Ask: &session.Question{Number: 3, Angle: 20 * sphere.Degree, Rate: 3 * sphere.Degree, Time: 7 * time.Second, Unpark: true, Unbraked: true}}
	for _, size := range [][2]int{{40, 20}, {80, 24}, {200, 60}} {
		all := ""
		for _, r := range panel(&st, "", nil, 0, size[0], size[1]) {
			all += strings.TrimSpace(words.Foreign(r.text)) + " "
		}
		for _, want := range []string{"by 20° to the east", "at 3° a second, for 7 s", "Stay beside the mount", "clear of the tripod", "is unparked", "y TURN IT", "SPACE STOPS"} {
			if !strings.Contains(all, want) {
				t.Errorf("%v: no %q in %q", size, want, all)
			}
		}
	}
}

func panelFits(t *testing.T, st session.State) {
	t.Helper()
	for _, size := range [][2]int{{40, 15}, {60, 20}, {80, 24}, {100, 30}, {132, 43}, {200, 60}} {
		rows := panel(&st, "", []string{"http://127.0.0.1:7410/" + strings.Repeat("k", 26) + "/"}, time.Second, size[0], size[1])
		if len(rows) > size[1] {
			t.Errorf("%v: %d rows", size, len(rows))
		}
		all := ""
		for _, r := range rows {
			if n := words.Places(words.Foreign(r.text)); n > size[0] {
				t.Errorf("%v: %d columns: %q", size, n, r.text)
			}
			all += strings.TrimSpace(r.text) + " "
		}
		for _, part := range []string{"DOUBTFUL: the tripod was moved: measure anew", "OLD: of seven.fits", "altitude bolt: 0.20 turns counter-clockwise (the axis goes 7.25' up)", "azimuth: turn the head 123' to the right", "off by 12.0' ± 0.20'", "16.9'"} {
			if !strings.Contains(all, part) {
				t.Errorf("%v: no %q in\n%s", size, part, all)
			}
		}
		if strings.Index(all, "DOUBTFUL") > strings.Index(all, "▲") {
			t.Errorf("%v: the doubt stands below the arrows:\n%s", size, all)
		}
		big := strings.Contains(all, "█")
		if want := size[1] >= 43; want && !big {
			t.Errorf("%v: no large signs although there is room:\n%s", size, all)
		}
	}
	st.Old, st.Doubts = false, nil
	if all := text(panel(&st, "", nil, time.Minute, 80, 24)); !strings.Contains(all, "OLD: no frame for 60 s") {
		t.Errorf("a minute without a frame is not told:\n%s", all)
	}
}

func text(rows []row) (all string) {
	for _, r := range rows {
		all += r.text + "\n"
	}
	return all
}

// The screen is drawn in red, and follows a terminal that changes its size.
func TestScreenIsRedAndFollowsTheSize(t *testing.T) {
	var b bytes.Buffer
	term := New(&b, &b, func(string) string { return "" })
	term.Colour, term.out.colour = true, true
	w, h := 80, 24
	s := newScreen(term, func() (int, int) { return w, h }, nil, time.Now)
	s.last = evening()
	for _, size := range [][2]int{{80, 24}, {40, 15}} {
		b.Reset()
		w, h = size[0], size[1]
		s.draw()
		drawn := b.String()
		if !strings.Contains(drawn, "\x1b[31m") || strings.Contains(drawn, "\x1b[32m") {
			t.Errorf("%v: not in red", size)
		}
		if n := strings.Count(drawn, "\r\n") + 1; n > h {
			t.Errorf("%v: %d rows", size, n)
		}
		if strings.Contains(drawn, "\x1b[2J") || strings.Contains(drawn, "two\nlines") {
			t.Errorf("%v: foreign text reaches the terminal raw", size)
		}
	}
}

func TestPlainLineOfAFrameThatIsOut(t *testing.T) {
	st := evening()
	if line := plainLine(&st); !strings.Contains(line, "not solved: cloud") || strings.Contains(line, "off by") || strings.ContainsAny(line, "\n\x1b") {
		t.Errorf("%q", line)
	}
	if j := liveLine(&st); j.Offset != nil || j.Within || len(j.Moves) > 0 || j.Solved || !strings.Contains(j.Reason, "cloud") {
		t.Errorf("the line of a frame that takes no part has figures: %+v", j)
	}
}

// What was said of an answer is not said again of a frame that is not in it.
func TestMissedFrameRepeatsNoNote(t *testing.T) {
	st := evening()
	st.Doubts = []session.Note{{Kind: session.Unsure, Angle: sphere.Arcminute}}
	st.Notes = append(st.Notes, session.Note{Kind: session.NearZenith})
	st.News = []session.Note{{Kind: session.OfFile, Frame: "b.fits", Text: "own"}}
	j := liveLine(&st)
	if len(j.Doubts) != 0 || len(j.Warnings) != 1 || !strings.Contains(j.Note, "own") || j.Note != j.Warnings[0] {
		t.Errorf("doubts %q, warnings %q, note %q", j.Doubts, j.Warnings, j.Note)
	}
	if line := plainLine(&st); strings.Contains(line, "uncertain") || !strings.Contains(line, "own") {
		t.Errorf("%q", line)
	}
}

// What frames may be missing for is told without a frame, once.
func TestLinesTellOfFoldersLeftOut(t *testing.T) {
	var said []string
	l := newLines(io.Discard, func(*session.State) []byte { return nil })
	l.aside = func(s string) { said = append(said, s) }
	st := session.State{Notes: []session.Note{{Kind: session.FolderTooDeep, Text: "a/b\x1b"}, {Kind: session.FolderBack}}}
	l.Show(st)
	l.Show(st)
	if len(said) != 1 || !strings.Contains(said[0], "more than 6 folders deep") || strings.Contains(said[0], "\x1b") {
		t.Errorf("%q", said)
	}
	l.Close()
}

// Nobody reads the lines: the run goes on.
func TestLinesNobodyReads(t *testing.T) {
	stuck := make(chan struct{})
	defer close(stuck)
	l := newLines(blocked{stuck}, func(*session.State) []byte { return []byte("x\n") })
	done := make(chan bool)
	go func() {
		for range 3 * mostLines {
			l.Frame(session.State{})
		}
		close(done)
	}()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		t.Fatal("the loop waits for a reader")
	}
}

type blocked struct{ until chan struct{} }

func (b blocked) Write(p []byte) (int, error) {
	<-b.until
	return len(p), nil
}

// What stays on the terminal after the end says how it stands, and no key or address
// that is gone.
func TestLastScreenListsNoKeys(t *testing.T) {
	st := evening()
	st.Mount, st.Offer = &session.Pretended{}, &session.Earlier{}
	var b bytes.Buffer
	term := New(&b, &b, func(string) string { return "" })
	term.out.colour = true
	s := newScreen(term, func() (int, int) { return 80, 40 }, []string{"http://127.0.0.1:7410/k/"}, time.Now)
	s.last = st
	close(s.done)
	s.Close()
	_, all, _ := strings.Cut(b.String(), "\x1b[?1049l")
	for _, gone := range []string{"n new", "q quit", "code for the phone", "r resumes", "page: ", "turn RA 20°", "Wait for a frame"} {
		if strings.Contains(all, gone) {
			t.Errorf("after the end it says %q:\n%s", gone, all)
		}
	}
	for _, stays := range []string{"DOUBTFUL: the tripod was moved", "altitude bolt: 0.20 turns", "off by 12.0'"} {
		if !strings.Contains(all, stays) {
			t.Errorf("after the end there is no %q:\n%s", stays, all)
		}
	}
}
