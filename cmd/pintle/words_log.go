package main

import (
	"fmt"
	"math"

	"pintle/cmd/pintle/journal"
)

const textLogLong = `Every measurement and every adjustment is kept in a journal. "pintle log" lists
its evenings (from noon to noon at the site) and what they say together: how
repeatable your set-up is, and which way it usually errs. With a date it shows
that evening. Damaged lines are named and left out; the others stay.`

const textLogExample = `  pintle log
  pintle log 2026-11-27
  pintle log --csv all.csv`

func evenOf(date, site string) string {
	switch {
	case site == "":
		return date
	case date == "":
		return fmt.Sprintf("site %q", site)
	}
	return fmt.Sprintf("%s at %q", date, site)
}

func (a *app) showLog(path string, es []journal.Evening) {
	p := func(format string, args ...any) { fmt.Fprintf(a.out, format+"\n", args...) }
	if len(es) == 0 {
		p("The journal is empty (%s).", path)
		p("It fills with every \"pintle axis\" and \"pintle live\".")
		return
	}
	p("   %-11s %-22s %7s   %10s %10s", "evening", "site", "records", "at first", "at last")
	done := false
	for _, e := range es {
		first := "-"
		if r, ok := e.First(); ok {
			first = fmt.Sprintf("%.1f'", r.Offset.Total)
		}
		last := e.Last()
		verdict := "  "
		if last.Within() {
			verdict, done = "ok", true
		}
		p("   %-11s %-22.22s %7d   %10s %9.2f' ± %-6s %s", e.Date, e.Site.Title(), len(e.Records), first, last.Offset.Total, errWords(arcmin(last.Sigma.Total)), verdict)
	}
	if done {
		p("   ok: within that evening's tolerance")
	}
	for _, h := range journal.Habits(es) {
		a.showHabit(h, p)
	}
}

func (a *app) showHabit(h journal.Habit, p func(string, ...any)) {
	if h.Evenings < 3 {
		return
	}
	p("")
	for _, s := range habitWords(h) {
		p("%s", s)
	}
}

// habitWords says what several evenings at one site have in common.
func habitWords(h journal.Habit) []string {
	out := []string{fmt.Sprintf("%s, %d evenings: you set up to %.1f' of the pole (median) and leave it at %.2f'.", h.Site.Title(), h.Evenings, h.FirstMid, h.LastMid)}
	s := fmt.Sprintf("Evenings scatter by %.1f' about their mean", h.Scatter)
	if !h.Usual() {
		return append(out, s+"; no direction stands out.")
	}
	up, right := "high", "clockwise (seen from above)"
	if h.Up < 0 {
		up = "low"
	}
	if h.Right < 0 {
		right = "counter-clockwise (seen from above)"
	}
	usual := ""
	if math.Abs(h.Up) > 3*h.SigUp {
		usual = fmt.Sprintf("%.1f' ± %.1f' too %s", math.Abs(h.Up), h.SigUp, up)
	}
	if math.Abs(h.Right) > 3*h.SigRight {
		if usual != "" {
			usual += " and "
		}
		usual += fmt.Sprintf("%.1f' ± %.1f' too far %s", math.Abs(h.Right), h.SigRight, right)
	}
	return append(out, s+", which is", usual+": allow for it when you set up.")
}

func (a *app) showEvening(e journal.Evening) {
	p := func(format string, args ...any) { fmt.Fprintf(a.out, format+"\n", args...) }
	p("Evening of %s at %s", e.Date, e.Site.Title())
	for _, r := range e.Records {
		p("")
		verdict := "not within"
		if r.Within() {
			verdict = "within"
		}
		p("  %s  %s  off the %s pole by %s ± %s, %s %.3g'", r.Time.Format("15:04:05 UTC"), r.Kind, r.Pole.Kind, a.bold(fmt.Sprintf("%.2f'", r.Offset.Total)), errWords(arcmin(r.Sigma.Total)), verdict, r.Tolerance)
		p("      altitude %+.2f' ± %s   azimuth adjuster %+.2f' ± %s", r.Offset.Alt, errWords(arcmin(r.Sigma.Alt)), r.Offset.AzKnob, errWords(arcmin(r.Sigma.AzKnob)))
		if r.Moved != nil {
			p("      turned since: altitude %+.2f', azimuth adjuster %+.2f'", r.Moved.Alt, r.Moved.AzKnob)
		}
		for _, f := range r.Frames {
			p("      %-24.24s  turn %+8.2f°  %4d stars  %.2f\"", f.Name, f.Turn, f.Stars, f.RMS)
		}
		for _, w := range r.Warnings {
			p("      note  %s", w)
		}
		if r.Note != "" {
			p("      remark  %s", r.Note)
		}
	}
}

func (a *app) wrote(path string, records int) {
	fmt.Fprintf(a.out, "%s into %s\n", count(records, "record"), path)
}
