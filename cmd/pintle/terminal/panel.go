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
	return fit(st, content(st, asked, links, age, w), w, h)
}

// ended is the panel that stays when all is over: what can no longer be done is not in it.
func ended(st *session.State, age time.Duration, w, h int) []row {
	if w < 10 || h < 3 {
		return nil
	}
	c := &column{width: w - 1}
	c.standing(st, age)
	return fit(st, c.blocks, w, h)
}

// fit leaves out what has no room, and enlarges the moves where there is some.
func fit(st *session.State, blocks []block, w, h int) []row {
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
	text := [2]string{bigMove(st.Moves[0].Move), bigMove(st.Moves[1].Move)}
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
					for _, s := range big(text[j], size) {
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
func content(st *session.State, asked string, links []string, age time.Duration, w int) []block {
	c := &column{width: w - 1}
	if st.Simulated {
		c.add(2, false, words.Simulation+": nothing here is photographed")
	}
	c.add(0, true, asked)
	if st.Hands != nil {
		c.hands(st.Hands)
	}
	c.doubts(st, age)
	c.moves(st)
	if st.Refusal == nil && !(st.Answer != nil && st.Next.Kind == session.TurnAdjuster) {
		c.add(1, true, words.Next(st))
	}
	c.known(st)
	if st.Offer != nil {
		c.add(4, false, "r resumes "+words.Earlier(st.Offer))
	}
	for _, l := range links {
		c.add(7, false, "page: "+l)
	}
	c.keys(st)
	return c.blocks
}

// known is where the mount stands, the last frame and the notes.
func (c *column) known(st *session.State) {
	c.add(3, false, words.Standing(&st.Setting))
	c.last(st)
	for _, n := range words.Notes(st.Notes) {
		c.add(5, false, "note: "+n)
	}
}

// standing is what stands when all is over.
func (c *column) standing(st *session.State, age time.Duration) {
	if st.Simulated {
		c.add(2, false, words.Simulation+": nothing here is photographed")
	}
	c.doubts(st, age)
	c.moves(st)
	c.known(st)
}

// column is blocks one below the other.
type column struct {
	width  int
	blocks []block
}

// add adds a block of one text; nothing for an empty one.
func (c *column) add(rank int, bold bool, text string) {
	if text != "" {
		c.blocks = append(c.blocks, block{rank, c.wrap(nil, bold, text)})
	}
}

func (c *column) wrap(rows []row, bold bool, text string) []row {
	for _, r := range words.Wrap(text, c.width) {
		rows = append(rows, row{r, bold})
	}
	return rows
}

// doubts say what may be wrong with the answer, or why there is none.
func (c *column) doubts(st *session.State, age time.Duration) {
	head := "DOUBTFUL: "
	for _, d := range words.Notes(st.Doubts) {
		c.add(1, true, head+d)
		head = ""
	}
	if st.Refusal != nil {
		c.add(1, true, "NO ANSWER: "+words.Refusal(st.Refusal))
	}
	c.add(1, true, words.Old(st, age))
}

// moves say what the hands must do.
func (c *column) moves(st *session.State) {
	if st.Answer == nil {
		if st.Refusal == nil {
			c.add(1, false, fmt.Sprintf("no axis yet: %s measured", words.Count(st.Sightings, "frame")))
		}
		return
	}
	b := block{rank: moveRank}
	for _, m := range st.Moves {
		done := ""
		if m.Done {
			done = "  done"
		}
		b.rows = c.wrap(b.rows, true, words.Sign(m.Direction)+" "+words.Hand(m)+done)
	}
	c.blocks = append(c.blocks, b)
	c.add(5, false, "("+words.Viewpoint(st)+")")
	c.add(1, true, words.OffBy(st))
}

// last says what became of the last frame.
func (c *column) last(st *session.State) {
	f := st.Last
	if f == nil {
		return
	}
	what := "recognised"
	if f.Miss != nil {
		what = words.Miss(f)
	}
	c.add(4, false, fmt.Sprintf("frame %d  %s  %s  %.0f ms", st.Count, filepath.Base(f.Path), what, float64(f.Elapsed.Microseconds())/1000))
}

// keys say what can be pressed.
func (c *column) keys(st *session.State) {
	if st.Mount != nil {
		c.add(4, false, "j l turn RA 20°   w s altitude 5', with shift ½'   a d azimuth")
	}
	sound := "off"
	if !st.Muted {
		sound = "on"
	}
	c.add(6, false, fmt.Sprintf("n new  + - tolerance %s  m sound %s  p code for the phone  q quit", words.Allowed(st.Setting.Tolerance), sound))
}
