package solve

import (
	"math"
	"sync"

	"pintle/index/sphere"
)

// What is asked of the logarithm of a proposal's odds, after that of the number
// of chances is taken off. One that reaches certain ends the search: e^8 is 3000
// to 1. One between doubtful and certain waits until all has been searched, and
// must then be ahead of the best proposal for any other place by lead. Chance
// brings many proposals of nearly the same odds; a true one stands alone. (What
// lists without a pattern reach is in DEVELOPERS.md; no other source.)
const (
	certain  = 8
	doubtful = 6
	lead     = 4
)

// contest keeps the two best proposals of a frame that are not certain, of
// different places. It may be used by several goroutines.
type contest struct {
	mu  sync.Mutex
	top [2]contender // the better one first
}

// contender is a proposal.
type contender struct {
	odds     float64 // logarithm
	ends     [2]sphere.Sky
	diagonal float64   // of the frame, radians
	sol      *Solution // nil when the odds are less than doubtful, or the refinement failed
}

func newContest() *contest {
	none := contender{odds: math.Inf(-1)}
	return &contest{top: [2]contender{none, none}}
}

// makeContender returns a proposal of a frame w by h pixels.
func makeContender(odds float64, p *pose, w, h float64, sol *Solution) contender {
	sky := func(x, y float64) sphere.Sky {
		return sphere.SkyVec(p.camFromSky.Inv().Apply(p.lens.Cam(x, y).Vec()))
	}
	// Two places off the middle tell turned and mirrored frames apart, too.
	return contender{odds, [2]sphere.Sky{sky(w/2, h/4), sky(w/4, h/2)}, float64(p.lens.Diagonal()), sol}
}

// same reports whether two proposals are of the same place, roughly.
func (c *contender) same(o *contender) bool {
	near := sphere.Angle(min(c.diagonal, o.diagonal) / 8)
	return c.ends[0].Sep(o.ends[0]) < near && c.ends[1].Sep(o.ends[1]) < near
}

// enter takes part in the contest.
func (c *contest) enter(x contender) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range c.top {
		if o := &c.top[i]; !math.IsInf(o.odds, -1) && x.same(o) {
			if x.odds < o.odds {
				return
			}
			if x.sol == nil {
				x.sol = o.sol
			}
			o.odds = math.Inf(-1)
		}
	}
	if c.top[0].odds < c.top[1].odds {
		c.top[0], c.top[1] = c.top[1], c.top[0]
	}
	if x.odds > c.top[0].odds {
		c.top[0], c.top[1] = x, c.top[0]
	} else if x.odds > c.top[1].odds {
		c.top[1] = x
	}
}

// best returns the odds of the best proposal, minus infinity when there was none.
func (c *contest) best() float64 { return c.top[0].odds }

// winner returns the solution of the best proposal when it can be believed, or
// nil.
func (c *contest) winner() *Solution {
	if c.top[0].odds < doubtful || c.tied() {
		return nil
	}
	return c.top[0].sol
}

// tied reports whether the best proposal has the odds asked for, but is not
// ahead of the next.
func (c *contest) tied() bool {
	return c.top[0].odds >= doubtful && c.top[0].odds-c.top[1].odds < lead
}
