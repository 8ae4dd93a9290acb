package verb

import (
	"strings"
	"testing"
	"time"
)

// What is kept for the end is done once, the last first, and cannot hold it up.
func TestEnding(t *testing.T) {
	e := newEnding()
	var did strings.Builder
	first := e.atLast(func() { did.WriteString("a") })
	e.atLast(func() { did.WriteString("b") })
	e.atLast(func() { did.WriteString("c") })
	first()
	first()
	e.finally()
	if did.String() != "acb" {
		t.Errorf("%q, want the one that was done and then the last first", did.String())
	}
	never := make(chan bool)
	defer close(never)
	e.atLast(func() { <-never })
	done := make(chan bool)
	go func() { e.finally(); close(done) }()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		t.Error("the end is held up")
	}
	release := e.hold()
	if other := e.hold(); !e.held() {
		t.Error("it is not held")
	} else {
		other()
		other()
	}
	if !e.held() {
		t.Error("released twice, it is held no more though another holds it")
	}
	if release(); e.held() {
		t.Error("it is held still")
	}
	e.ask()
	e.ask()
	<-e.asked
}
