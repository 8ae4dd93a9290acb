//go:build unix

package main

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pintle/cmd/pintle/evening"
)

// beginEvening starts the program in an evening's folder, with a home of its own.
func beginEvening(t *testing.T, home, dir, port string) (link string, kill func()) {
	t.Helper()
	c, _, _ := command(t, "evening", "--port", port, "--no-browser", "--folder", dir)
	said := &tail{}
	c.Stderr, c.Env = said, append(os.Environ(), "XDG_CONFIG_HOME="+home, "XDG_DATA_HOME="+home)
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	kill = func() { _ = c.Process.Kill(); _ = c.Wait() }
	t.Cleanup(kill)
	return (&program{stderr: said}).link(t), kill
}

// An evening that is killed at any step goes on where it was.
func TestKilledEvening(t *testing.T) {
	t.Parallel()
	paths, place := invented(t, 3, true)
	home, dir := t.TempDir(), filepath.Join(t.TempDir(), "evening")
	var link string
	start := func() (kill func()) {
		t.Helper()
		link, kill = beginEvening(t, home, dir, "0")
		return kill
	}
	until := func(what string, ok func(*evening.Summary) bool) {
		t.Helper()
		var s evening.Summary
		eventually(t, 2*time.Minute, func() bool {
			a, err := http.Get(link + "api/v1/evening")
			if err != nil {
				t.Fatal(what, ": ", err)
			}
			defer a.Body.Close()
			s = evening.Summary{}
			return json.NewDecoder(a.Body).Decode(&s) == nil && ok(&s)
		})
	}
	in := func(s *evening.Summary, state evening.State) (n int) {
		for _, p := range s.Photographs {
			if p.State == state {
				n++
			}
		}
		return n
	}

	kill := start()
	sayPlace(t, link, place)
	kill()
	kill = start()
	until("the place", func(s *evening.Summary) bool { return s.PlaceTold })
	var names []string
	for _, path := range paths {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, filepath.Base(path))
		post(t, link, "photographs?name="+filepath.Base(path), string(b))
	}
	kill() // while they are being looked at
	kill = start()
	until("photographs", func(s *evening.Summary) bool { return in(s, evening.Ready) == len(paths) })
	order, _ := json.Marshal(map[string]any{"photographs": names, "anew": true})
	post(t, link, "measure", string(order))
	kill() // while they are being measured
	kill = start()
	until("photographs again", func(s *evening.Summary) bool { return in(s, evening.Ready)+in(s, evening.In) == len(paths) })
	post(t, link, "measure", string(order))
	until("an answer", func(s *evening.Summary) bool { return s.Measured && in(s, evening.In) == len(paths) })
	before := stateOf(t, link)
	kill()
	kill = start()
	defer kill()
	if after := stateOf(t, link); after.Offset == nil || before.Offset == nil || !same(*after.Offset, *before.Offset) {
		t.Errorf("the offset is %v, before it was killed %v", after.Offset, before.Offset)
	}
}
