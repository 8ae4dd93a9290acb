package axis

import (
	"cmp"
	"math"
	"slices"
	"time"

	"pintle/index/sphere"
)

// Seen is what was done between the last two frames.
type Seen struct {
	Name    string
	Time    time.Time // middle of the exposure
	Touched Touch     // the likeliest
	Chance  float64   // that it is right, 0 to 1
	Others  []Account // what else is possible by 5 % or more, likeliest first
	Drive   Running   // the likelier, since the last frame
	Turns   Turns
}

// Account is what else may have happened.
type Account struct {
	Touched Touch
	Chance  float64
}

// Turns are turns between two frames as the likeliest account has them: of the
// azimuth adjuster, clockwise seen from above; of the altitude adjuster, raising;
// of RA beyond what the drive did, right-handed about the axis as FrameFit.Turn.
// What was not touched is 0. Cov is their covariance in this order, in rad^2.
type Turns struct {
	Az, Alt, RA sphere.Angle
	Cov         [3][3]float64
}

// seenOf sums up the offspring.
func seenOf(all []*offspring) (s Seen) {
	chance := map[Touch]float64{}
	drive := [2]float64{}
	for _, o := range all {
		chance[o.guess.touch] += o.weight
		drive[o.guess.drive] += o.weight
	}
	for t, c := range chance {
		s.Others = append(s.Others, Account{t, c})
	}
	slices.SortFunc(s.Others, func(a, b Account) int {
		return cmp.Or(cmp.Compare(b.Chance, a.Chance), cmp.Compare(a.Touched, b.Touched))
	})
	s.Touched, s.Chance = s.Others[0].Touched, math.Min(1, s.Others[0].Chance)
	s.Others = slices.DeleteFunc(s.Others[1:], func(a Account) bool { return a.Chance < 0.05 })
	if drive[Standing] > drive[Tracking] {
		s.Drive = Standing
	}
	i := slices.IndexFunc(all, func(o *offspring) bool { return o.guess.touch == s.Touched })
	s.Turns = all[i].turns()
	return s
}

// turns reads the turns of adjusters and RA off the likeliest account.
func (o *offspring) turns() (t Turns) {
	at, wide := [3]int{-1, -1, -1}, [3]float64{}
	k := o.turn0
	for _, h := range o.guess.turns {
		for i, p := range [...]int{pAz, pAlt, pTurn} {
			if len(h.columns) == 1 && h.columns[0][p] != 0 {
				at[i], wide[i] = k, h.wide()
			}
		}
		k += len(h.columns)
	}
	for i, a := range [...]*sphere.Angle{&t.Az, &t.Alt, &t.RA} {
		if at[i] < 0 {
			continue
		}
		*a = sphere.Angle(o.up.w[at[i]] * wide[i])
		for j := range 3 {
			if at[j] >= 0 {
				t.Cov[i][j] = o.up.cov(at[i], at[j]) * wide[i] * wide[j]
			}
		}
	}
	t.RA = t.RA.Wrap()
	return t
}
