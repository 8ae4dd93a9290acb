package main

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// A photograph is deleted by a second press on its own button, soon after the first: one
// press deletes nothing, nor do two on the buttons of two photographs, nor two that lie
// far apart.
func TestForgettingTakesTwoPresses(t *testing.T) {
	if !*long {
		t.Skip("starts a browser: -long")
	}
	t.Parallel()
	browser := needBrowser(t)
	paths, place := invented(t, 3, true)
	p := launchApart(t, t.TempDir(), "evening", "--port", "0", "--no-browser")
	link := p.link(t)
	sayPlace(t, link, place)
	var names []string
	for _, path := range paths[:2] {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, filepath.Base(path))
		post(t, link, "photographs?name="+filepath.Base(path), string(b))
	}
	b := openBrowser(t, browser)
	b.do(chromedp.EmulateViewport(sizes["small"][0], sizes["small"][1]), chromedp.Navigate(link+"#photos"))
	b.until("document.querySelectorAll('#shots [data-state=ready]').length === 2", 30*time.Second)
	// What the buttons of the two say; there is none for one that is gone.
	says := func() string {
		return js[string](b, fmt.Sprintf(`[%q, %q].map((n) => document.querySelector('[data-forget="' + n + '"]')?.textContent ?? "gone").join(" ")`, names[0], names[1]))
	}
	want := func(when, buttons string) {
		t.Helper()
		if got := says(); got != buttons {
			t.Fatalf("%s: the buttons say %q, want %q", when, got, buttons)
		}
	}
	first, second := fmt.Sprintf(`[data-forget="%s"]`, names[0]), fmt.Sprintf(`[data-forget="%s"]`, names[1])
	want("before", "forget forget")
	b.press(first)
	want("one press", "delete it? forget")
	b.until(fmt.Sprintf("document.querySelector('%s').textContent === 'forget'", first), 8*time.Second)
	b.press(first)
	want("a press long after the first", "delete it? forget")
	b.press(second)
	want("a press on the other", "forget delete it?")
	b.do(chromedp.Navigate("about:blank"), chromedp.Navigate(link+"#photos"))
	b.until("document.querySelectorAll('#shots [data-state=ready]').length === 2", 30*time.Second)
	want("after a reload", "forget forget")
	b.press(second)
	b.press(second)
	b.until("document.querySelectorAll('#shots [data-name]').length >= 1 && !document.querySelector('"+second+"')", 10*time.Second)
	want("two presses", "forget gone")
}
