package terminal

import (
	"fmt"

	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/words"
)

// Log lists the evenings of the journal at path.
func (t *Terminal) Log(path string, es []journal.Evening) {
	if len(es) == 0 {
		t.line("The journal is empty (%s).", path)
		t.line("It fills with every \"pintle axis\" and \"pintle live\".")
		return
	}
	t.line("   %-11s %-22s %7s   %10s %10s", "evening", "site", "records", "at first", "at last")
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
		t.line("   %-11s %s %7d   %10s %9.2f' ± %-6s %s", e.Date, words.Pad(e.Site.Title(), 22), len(e.Records), first, last.Offset.Total, words.SigmaOf(last.Sigma.Total), verdict)
	}
	if done {
		t.line("   ok: within that evening's tolerance")
	}
	for _, h := range journal.Habits(es) {
		if said := words.Habit(h); said != nil {
			t.line("")
			t.lines("", said)
		}
	}
}

// Evening shows every record of one evening.
func (t *Terminal) Evening(e journal.Evening) {
	t.line("Evening of %s at %s", e.Date, e.Site.Title())
	for _, r := range e.Records {
		t.line("")
		t.record(r)
	}
}

func (t *Terminal) record(r journal.Record) {
	t.line("  %s  %s  off the %s pole by %s ± %s, %s %.3g'", r.Time.Format("15:04:05 UTC"), r.Kind, r.Pole.Kind,
		t.Bold(fmt.Sprintf("%.2f'", r.Offset.Total)), words.SigmaOf(r.Sigma.Total), words.Within(r.Within()), r.Tolerance)
	t.line("      altitude %+.2f' ± %s   azimuth adjuster %+.2f' ± %s", r.Offset.Alt, words.SigmaOf(r.Sigma.Alt), r.Offset.AzKnob, words.SigmaOf(r.Sigma.AzKnob))
	if r.Moved != nil {
		t.line("      turned since: altitude %+.2f', azimuth adjuster %+.2f'", r.Moved.Alt, r.Moved.AzKnob)
	}
	for _, f := range r.Frames {
		t.line("      %s  turn %+8.2f°  %s  %.2f\"", words.Pad(f.Name, 24), f.Turn, words.Stars(f.Stars), f.RMS)
	}
	for _, w := range r.Warnings {
		t.line("      note  %s", w)
	}
	if r.Note != "" {
		t.line("      remark  %s", r.Note)
	}
}

// Records says how many records went into a file.
func (t *Terminal) Records(path string, n int) { t.line("%s into %s", words.Count(n, "record"), path) }

// ReportWritten says where an evening's page is.
func (t *Terminal) ReportWritten(path string) {
	t.line("the evening is in %s; open it in any browser", path)
}

// Skipped tells what of the journal is damaged and was left out.
func (t *Terminal) Skipped(path string, damage []journal.Damage) {
	for _, d := range damage {
		t.note("pintle: %s: %s; skipped", path, d.String())
	}
}
