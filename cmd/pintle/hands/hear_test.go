package hands

import (
	"strings"
	"testing"

	"pintle/cmd/pintle/device/shoot"
	"pintle/cmd/pintle/session"
)

// listening are hands that are at something, and what they hear of a text.
func listening(at session.Handling, text string) (*Hands, []session.Action) {
	h := New(Config{Folder: &shoot.Folder{}})
	h.now = at
	h.Hear(strings.NewReader(text))
	var out []session.Action
	for len(h.answers) > 0 {
		out = append(out, <-h.answers)
	}
	return h, out
}

// What is typed counts only where it is asked for, and nothing but a yes is one.
func TestHear(t *testing.T) {
	asking := session.Handling{Doing: session.Asking, Ask: &session.Question{Number: 7}}
	for _, c := range []struct {
		at   session.Handling
		text string
		want session.ActionName // "" for nothing
	}{
		{asking, "y\n", session.Agree}, {asking, " YES \r", session.Agree}, {asking, "\n", session.Decline}, {asking, "yy\n", session.Decline},
		{asking, "n\n", session.Decline}, {asking, strings.Repeat("y", 1000) + "\n", session.Decline}, {asking, "y", ""},
		{session.Handling{Doing: session.HandTurn}, "\n", session.GoOn}, {session.Handling{Doing: session.HandTurn}, "n\n", session.GoOn},
		{session.Handling{Doing: session.Exposing}, "y\n\n", ""}, {session.Handling{Doing: session.Looking}, "\n", ""},
	} {
		h, got := listening(c.at, c.text)
		if c.want == "" && len(got) == 0 {
			continue
		}
		if len(got) != 1 || got[0].Name != c.want || c.want != session.GoOn && got[0].Value != 7 {
			t.Errorf("%s, %.10q: %+v, want %q", c.at.Doing, c.text, got, c.want)
		}
		if h.stopped {
			t.Errorf("%s, %.10q: stopped", c.at.Doing, c.text)
		}
	}
	for _, key := range []string{" ", "\n", "x", "\x03"} {
		if h, _ := listening(session.Handling{Doing: session.Turning}, key); !h.stopped {
			t.Errorf("%q does not stop a turn", key)
		}
	}
	if h, _ := listening(asking, "\x03"); !h.stopped {
		t.Error("Ctrl-C does not stop a question")
	}
}

// An input that has ended answers nothing.
func TestNobodyAnswers(t *testing.T) {
	h, _ := listening(session.Handling{}, "")
	if _, err := h.wait(t.Context(), func(session.Action) bool { return true }); err != errNobody {
		t.Error(err)
	}
	h.Do(session.Action{Name: session.GoOn})
	if a, err := h.wait(t.Context(), func(session.Action) bool { return true }); err != nil || a.Name != session.GoOn {
		t.Error(a, err)
	}
}
