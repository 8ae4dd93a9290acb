package catalog

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Columns names columns where they are not to be found by themselves. A name
// is compared without regard to case; "#3" is the third column. A unit may
// follow in brackets, "RA [h]", and takes the place of the file's.
type Columns struct{ RA, Dec, PMRA, PMDec, Epoch, Mag string }

// role is what a column can be for.
type role int

const (
	roleRA role = iota
	roleDec
	roleMag
	rolePMRA
	rolePMDec
	roleEpoch
	roleErrRA
	roleErrDec
	roleErrPMRA
	roleErrPMDec
	roles
)

type rule struct {
	label    string
	flag     string // of the command line; "" when there is none
	needed   bool
	quantity quantity
	// names, in lower case, the ones to prefer first. Those of right ascension
	// and declination, and of the motions, go in pairs.
	names []string
	// ucds, without the words that make no difference, in order of preference.
	ucds []string
}

var rules = [roles]rule{
	roleRA: {"right ascension", "ra", true, place,
		[]string{"ra", "ra_icrs", "_ra.icrs", "_ra_icrs", "raicrs", "ra_deg", "radeg", "raj2000", "ra_j2000", "_raj2000", "ramdeg", "_ra", "ramean", "right_ascension", "alpha"},
		[]string{"pos.eq.ra", "pos_eq_ra"}},
	roleDec: {"declination", "dec", true, place,
		[]string{"dec", "de_icrs", "_de.icrs", "_de_icrs", "deicrs", "dec_deg", "dedeg", "dej2000", "dec_j2000", "_dej2000", "demdeg", "_de", "decmean", "declination", "delta", "de", "dec_icrs", "decj2000", "decdeg"},
		[]string{"pos.eq.dec", "pos_eq_dec"}},
	roleMag: {"magnitude", "mag", true, magnitude,
		[]string{"vmag", "v_mag", "mag_v", "phot_g_mean_mag", "gmag", "g_mag", "mag_g", "mag", "magnitude", "rmag", "r_mag", "mag_r", "vtmag", "vt_mag", "gmeanpsfmag", "rmeanpsfmag"},
		[]string{"phot.mag;em.opt.v", "phot.mag;em.opt", "phot.mag;em.opt.r", "phot.mag", "phot_mag_v", "phot_jhn_v", "phot_mag"}},
	rolePMRA: {"proper motion in right ascension", "pmra", false, motion,
		[]string{"pmra", "pm_ra", "pmra_cosdec", "pmracosdec", "pm_ra_cosdec", "mura", "mu_ra"},
		[]string{"pos.pm;pos.eq.ra", "pos_eq_pmra"}},
	rolePMDec: {"proper motion in declination", "pmdec", false, motion,
		[]string{"pmdec", "pm_dec", "pmde", "pm_de", "mudec", "mu_dec", "mude"},
		[]string{"pos.pm;pos.eq.dec", "pos_eq_pmdec"}},
	roleEpoch: {"epoch", "epoch", false, year,
		[]string{"ref_epoch", "refepoch", "epoch"},
		[]string{"time.epoch", "time_epoch"}},
	roleErrRA: {label: "error of right ascension", quantity: placeError,
		names: []string{"ra_error", "e_ra_icrs", "e_raj2000", "e_radeg", "e_ramdeg", "sigra", "ra_err"},
		ucds:  []string{"stat.error;pos.eq.ra"}},
	roleErrDec: {label: "error of declination", quantity: placeError,
		names: []string{"dec_error", "e_de_icrs", "e_dej2000", "e_dedeg", "e_demdeg", "sigdec", "dec_err"},
		ucds:  []string{"stat.error;pos.eq.dec"}},
	roleErrPMRA: {label: "error of proper motion in right ascension", quantity: motion,
		names: []string{"pmra_error", "e_pmra", "sigpmra", "pmra_err"},
		ucds:  []string{"stat.error;pos.pm;pos.eq.ra"}},
	roleErrPMDec: {label: "error of proper motion in declination", quantity: motion,
		names: []string{"pmdec_error", "e_pmde", "e_pmdec", "sigpmdec", "pmdec_err"},
		ucds:  []string{"stat.error;pos.pm;pos.eq.dec"}},
}

// pairs are roles whose names go in pairs.
var pairs = map[role]role{roleDec: roleRA, rolePMDec: rolePMRA}

// choice is the columns that were found.
type choice struct {
	column [roles]int // -1 when there is none
	factor [roles]float64
	// sexagesimal text is in hours, or in degrees, times this
	partsFactor [roles]float64
	unit        [roles]string
	order       []int      // the columns chosen, each once
	cell        [roles]int // place in order
}

// find looks for the columns of all roles.
func find(columns []column, named Columns) (*choice, error) {
	c := &choice{}
	wanted := [roles]string{roleRA: named.RA, roleDec: named.Dec, rolePMRA: named.PMRA, rolePMDec: named.PMDec, roleEpoch: named.Epoch, roleMag: named.Mag}
	var rank [roles]int
	for r := range roles {
		name, unit := splitUnit(wanted[r])
		prefer := -1
		if of, ok := pairs[r]; ok {
			prefer = rank[of]
		}
		var err error
		if name != "" {
			c.column[r], err = byFlag(columns, name)
		} else {
			c.column[r], rank[r], err = search(columns, &rules[r], prefer)
		}
		if err != nil {
			return nil, c.explain(columns, r, err)
		}
		if c.column[r] < 0 {
			continue
		}
		if err := c.take(columns, r, unit); err != nil {
			return nil, c.explain(columns, r, err)
		}
	}
	if (c.column[rolePMRA] < 0) != (c.column[rolePMDec] < 0) {
		r := rolePMRA
		if c.column[r] >= 0 {
			r = rolePMDec
		}
		return nil, c.explain(columns, r, fmt.Errorf("no column, though there is one for the other coordinate"))
	}
	return c, nil
}

// take checks the column found for a role and notes its unit.
func (c *choice) take(columns []column, r role, unit string) error {
	i := c.column[r]
	col := &columns[i]
	if col.unusable != "" {
		return fmt.Errorf("column %s %s", col.name, col.unusable)
	}
	if r <= roleDec {
		if s := strings.ToLower(col.system); strings.Contains(s, "fk4") || strings.Contains(s, "galactic") || strings.Contains(s, "ecl") {
			return fmt.Errorf("column %s is in the system %s, want ICRS or FK5", col.name, col.system)
		}
	}
	if unit == "" {
		unit = col.unit
	}
	q := rules[r].quantity
	f, ok := q.factor(unit)
	if !ok {
		return fmt.Errorf("column %s is in %q, want %s", col.name, unit, known[q])
	}
	c.factor[r], c.unit[r] = f, unit
	if unit == "" {
		c.unit[r] = usual[q]
	}
	c.partsFactor[r] = float64(angleUnits["deg"])
	if r == roleRA && sexagesimalUnits[strings.Trim(strings.ToLower(unit), `"`)] != angleUnits["deg"] {
		c.partsFactor[r] = float64(angleUnits["h"])
	}
	at := slices.Index(c.order, i)
	if at < 0 {
		at = len(c.order)
		c.order = append(c.order, i)
	}
	c.cell[r] = at
	return nil
}

// explain adds to an error what columns there are and what to do.
func (c *choice) explain(columns []column, r role, err error) error {
	const most = 60
	var names []string
	for _, col := range columns[:min(len(columns), most)] {
		names = append(names, col.name)
	}
	list := strings.Join(names, ", ")
	if n := len(columns) - most; n > 0 {
		list += fmt.Sprintf(" and %d more", n)
	}
	do := ""
	if f := rules[r].flag; f != "" {
		do = fmt.Sprintf("; name the column with --%s", f)
	}
	return fmt.Errorf("%s: %w; the columns are %s%s", rules[r].label, err, list, do)
}

// splitUnit splits "name [unit]" or "name (unit)" where the unit is a known one.
func splitUnit(s string) (name, unit string) {
	s = strings.TrimSpace(s)
	for _, b := range []string{"[]", "()"} {
		if i := strings.IndexByte(s, b[0]); i > 0 && s[len(s)-1] == b[1] {
			if u := strings.TrimSpace(s[i+1 : len(s)-1]); isUnit(u) {
				return strings.TrimSpace(s[:i]), u
			}
		}
	}
	return s, ""
}

func isUnit(u string) bool {
	for q := range quantity(len(usual)) {
		if _, ok := q.factor(u); ok {
			return true
		}
	}
	return false
}

func byFlag(columns []column, name string) (int, error) {
	if n, ok := strings.CutPrefix(name, "#"); ok {
		i, err := strconv.Atoi(n)
		if err != nil || i < 1 || i > len(columns) {
			return 0, fmt.Errorf("no column %s of %d", name, len(columns))
		}
		return i - 1, nil
	}
	exact := matching(columns, func(c *column) bool { return c.name == name })
	if len(exact) == 1 {
		return exact[0], nil
	}
	return one(columns, matching(columns, func(c *column) bool { return strings.EqualFold(c.name, name) }), "no column "+name)
}

// search finds the column of a rule by itself: -1 when there is none and none
// is needed. rank is the place of its name in the rule, to be preferred for
// the other one of a pair.
func search(columns []column, r *rule, prefer int) (i, rank int, err error) {
	words := make([]string, len(columns))
	main := make([]bool, len(columns))
	for i := range columns {
		words[i], main[i] = plainUCD(columns[i].ucd)
	}
	ucd := func(only bool) []int {
		for _, u := range r.ucds {
			var found []int
			for i, w := range words {
				if w == u && (main[i] || !only) {
					found = append(found, i)
				}
			}
			if len(found) > 0 {
				return found
			}
		}
		return nil
	}
	if found := ucd(true); len(found) == 1 {
		return found[0], nameRank(columns, found[0], r), nil
	}
	names := r.names
	if prefer >= 0 && prefer < len(names) {
		names = append([]string{names[prefer]}, names...)
	}
	for _, n := range names {
		if found := matching(columns, func(c *column) bool { return strings.EqualFold(c.name, n) }); len(found) > 0 {
			i, err := one(columns, found, "")
			return i, slices.Index(r.names, n), err
		}
	}
	found := ucd(false)
	if len(found) == 0 && !r.needed {
		return -1, -1, nil
	}
	i, err = one(columns, found, "no column")
	return i, -1, err
}

func nameRank(columns []column, i int, r *rule) int {
	return slices.Index(r.names, strings.ToLower(columns[i].name))
}

func matching(columns []column, f func(*column) bool) (found []int) {
	for i := range columns {
		if f(&columns[i]) {
			found = append(found, i)
		}
	}
	return found
}

// one returns the only one of the columns found.
func one(columns []column, found []int, none string) (int, error) {
	switch len(found) {
	case 0:
		return 0, fmt.Errorf("%s", none)
	case 1:
		return found[0], nil
	}
	var names []string
	for _, i := range found[:min(len(found), 10)] {
		names = append(names, fmt.Sprintf("%s (#%d)", columns[i].name, i+1))
	}
	return 0, fmt.Errorf("could be any of %s", strings.Join(names, ", "))
}

// plainUCD returns a UCD in lower case without the words that make no
// difference here, and whether it is marked as the main one.
func plainUCD(ucd string) (words string, main bool) {
	ucd = strings.ToLower(strings.TrimSpace(ucd))
	if rest, ok := strings.CutSuffix(ucd, "_main"); ok { // UCD1
		return rest, true
	}
	var kept []string
	for w := range strings.SplitSeq(ucd, ";") {
		switch w = strings.TrimSpace(w); w {
		case "meta.main":
			main = true
		case "stat.mean", "meta.ref", "stat.median", "":
		default:
			kept = append(kept, w)
		}
	}
	return strings.Join(kept, ";"), main
}
