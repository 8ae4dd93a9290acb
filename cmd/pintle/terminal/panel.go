package terminal

import (
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// row is one row of a screen.
type row struct {
	text string
	bold bool
}

// block is some rows that belong together; those of low rank are left out first
// where the screen has no room.
type block struct {
	rank int // 0 is never left out
	rows []row
}

// panel fills a screen of w columns and h rows: doubts first, then the moves in
// signs as large as there is room for, what to do next, where and for which pole,
// and the rest. No row is wider than the screen, nothing is cut: what has no room
// in one row goes on in the next.
func panel(st *session.State, asked string, links []string, age time.Duration, w, h int) []row {
	if w < 10 || h < 3 {
		return nil
	}
	blocks := content(st, asked, links, age, w)
	used := count(blocks)
	for rank := 9; rank > 0 && used > h; rank-- {
		for i := len(blocks) - 1; i >= 0 && used > h; i-- {
			if blocks[i].rank == rank {
				used -= len(blocks[i].rows)
				blocks[i].rows = nil
			}
		}
	}
	if st.Answer != nil {
		blocks = enlarge(st, blocks, w, h-used)
	}
	var out []row
	for _, b := range blocks {
		out = append(out, b.rows...)
	}
	if len(out) > h {
		out = out[:h]
	}
	return out
}

func count(blocks []block) (n int) {
	for _, b := range blocks {
		n += len(b.rows)
	}
	return n
}

// enlarge puts large signs above the two sentences where there is room.
func enlarge(st *session.State, blocks []block, w, room int) []block {
	text := [2]string{BigMove(st.Moves[0].Move), BigMove(st.Moves[1].Move)}
	size := dots(w-1, (room-1)/2)
	for size.wide > 0 && (wide(text[0], size) > w-1 || wide(text[1], size) > w-1) {
		size = size.smaller()
	}
	if size.wide == 0 {
		return blocks
	}
	for i := range blocks {
		if blocks[i].rank != moveRank {
			continue
		}
		var rows []row
		for k, r := range blocks[i].rows {
			for j := range text {
				if k == at(blocks[i].rows, j) {
					for _, s := range Big(text[j], size) {
						rows = append(rows, row{" " + s, true})
					}
				}
			}
			rows = append(rows, r)
		}
		blocks[i].rows = rows
	}
	return blocks
}

// moveRank is the rank of the block of the moves.
const moveRank = 0

// at returns the row at which the j-th sentence begins.
func at(rows []row, j int) int {
	for k, r := range rows {
		if r.bold && strings.ContainsAny(firstRune(r.text), "▲▼▶◀") {
			if j == 0 {
				return k
			}
			j--
		}
	}
	return -1
}

func firstRune(s string) string {
	for _, r := range strings.TrimSpace(s) {
		return string(r)
	}
	return ""
}

// content is all there is to show, in order.
func content(st *session.State, asked string, links []string, age time.Duration, w int) (out []block) {
	add := func(rank int, bold bool, texts ...string) {
		b := block{rank: rank}
		for _, text := range texts {
			if text == "" {
				continue
			}
			for _, r := range words.Wrap(text, w-1) {
				b.rows = append(b.rows, row{r, bold})
			}
		}
		out = append(out, b)
	}
	if st.Simulated {
		add(2, false, words.Simulation+": nothing here is photographed")
	}
	if asked != "" {
		add(0, true, asked)
	}
	if h := st.Hands; h != nil {
		add(0, true, words.Trouble(h), words.Handling(h), handKeys(h))
	}
	for i, d := range words.Notes(st.Doubts) {
		head := ""
		if i == 0 {
			head = "DOUBTFUL: "
		}
		add(1, true, head+d)
	}
	if st.Refusal != nil {
		add(1, true, "NO ANSWER: "+words.Refusal(st.Refusal))
	}
	if old := words.Old(st, age); old != "" {
		add(1, true, old)
	}
	if st.Answer != nil {
		b := block{rank: moveRank}
		for _, m := range st.Moves {
			done := ""
			if m.Done {
				done = "  done"
			}
			for _, r := range words.Wrap(words.Sign(m.Direction)+" "+words.Hand(m)+done, w-1) {
				b.rows = append(b.rows, row{r, true})
			}
		}
		out = append(out, b)
		add(5, false, "("+words.Viewpoint+")")
		add(1, true, words.OffBy(st))
	} else if st.Refusal == nil {
		add(1, false, fmt.Sprintf("no axis yet: %s measured", words.Count(st.Sightings, "frame")))
	}
	if st.Refusal == nil && !(st.Answer != nil && st.Next.Kind == session.TurnAdjuster) {
		add(1, true, words.Next(st))
	}
	add(3, false, words.Standing(&st.Setting))
	if f := st.Last; f != nil {
		what := "recognised"
		if f.Miss != nil {
			what = words.Miss(f)
		}
		add(4, false, fmt.Sprintf("frame %d  %s  %s  %.0f ms", st.Count, filepath.Base(f.Path), what, float64(f.Elapsed.Microseconds())/1000))
	}
	for _, n := range words.Notes(st.Notes) {
		add(5, false, "note: "+n)
	}
	if st.Offer != nil {
		add(4, false, "r resumes "+words.Earlier(st.Offer))
	}
	for _, l := range links {
		add(7, false, "page: "+l)
	}
	if st.Mount != nil {
		add(4, false, "j l turn RA 20°   w s altitude 5', with shift ½'   a d azimuth")
	}
	sound := "off"
	if !st.Muted {
		sound = "on"
	}
	add(6, false, fmt.Sprintf("n new  + - tolerance %s  m sound %s  p code for the phone  q quit", words.Allowed(st.Setting.Tolerance), sound))
	return out
}
