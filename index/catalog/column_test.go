package catalog

import (
	"math"
	"strings"
	"testing"

	"pintle/index/sphere"
)

// Columns as large archives name them (from memory); a column is written
// name|UCD|unit.
func TestFindOfArchives(t *testing.T) {
	for _, c := range []struct{ archive, columns, want string }{
		{"astrometric satellite, own archive",
			"source_id|meta.id;meta.main ref_epoch|meta.ref;time.epoch|yr ra|pos.eq.ra;meta.main|deg ra_error|stat.error;pos.eq.ra|mas dec|pos.eq.dec;meta.main|deg dec_error|stat.error;pos.eq.dec|mas parallax|pos.parallax.trig|mas " +
				"pm|pos.pm;pos.eq|mas/yr pmra|pos.pm;pos.eq.ra|mas.yr**-1 pmra_error|stat.error;pos.pm;pos.eq.ra|mas.yr**-1 pmdec|pos.pm;pos.eq.dec|mas.yr**-1 pmdec_error|stat.error;pos.pm;pos.eq.dec|mas.yr**-1 " +
				"phot_g_mean_mag|phot.mag;em.opt|mag phot_bp_mean_mag|phot.mag;em.opt.B|mag phot_rp_mean_mag|phot.mag;em.opt.R|mag",
			"ra dec phot_g_mean_mag pmra pmdec ref_epoch ra_error dec_error pmra_error pmdec_error"},
		{"the same in a collection of catalogues, with computed places",
			"_RAJ2000 _DEJ2000 RA_ICRS||deg e_RA_ICRS||mas DE_ICRS||deg e_DE_ICRS||mas Source Plx pmRA||mas/yr e_pmRA||mas/yr pmDE||mas/yr e_pmDE||mas/yr FG Gmag||mag BPmag RPmag RV",
			"RA_ICRS DE_ICRS Gmag pmRA pmDE - e_RA_ICRS e_DE_ICRS e_pmRA e_pmDE"},
		{"the same by UCD alone, with old UCDs",
			"c1|POS_EQ_RA_MAIN|deg c2|POS_EQ_DEC_MAIN|deg c3|POS_EQ_PMRA|mas/yr c4|POS_EQ_PMDEC|mas/yr c5|PHOT_JHN_V|mag c6|PHOT_JHN_B-V|mag",
			"c1 c2 c5 c3 c4 - - - - -"},
		{"photographic survey", "UCAC4 RAJ2000||deg e_RAJ2000||mas DEJ2000||deg e_DEJ2000||mas f.mag pmRA||mas/yr pmDE||mas/yr Jmag Kmag Bmag Vmag||mag gmag rmag imag",
			"RAJ2000 DEJ2000 Vmag pmRA pmDE - e_RAJ2000 e_DEJ2000 - -"},
		{"deep sky survey", "objID raMean decMean gMeanPSFMag rMeanPSFMag iMeanPSFMag", "raMean decMean gMeanPSFMag - - - - - - -"},
		{"first astrometric survey", "TYC1 TYC2 TYC3 pmRA pmDE BTmag VTmag RA(ICRS)|pos.eq.ra;meta.main|deg DE(ICRS)|pos.eq.dec;meta.main|deg", "RA(ICRS) DE(ICRS) VTmag pmRA pmDE - - - - -"},
		{"names go in pairs", "RAJ2000 DEC_J2000 DEJ2000 Dec mag", "RAJ2000 DEJ2000 mag - - - - - - -"},
		{"the main one of two places", "a|pos.eq.ra b|pos.eq.dec c|pos.eq.ra;meta.main d|pos.eq.dec;meta.main e|phot.mag", "c d e - - - - - - -"},
	} {
		var columns []column
		for _, s := range strings.Fields(c.columns) {
			p := append(strings.Split(s, "|"), "", "")
			columns = append(columns, column{name: p[0], ucd: p[1], unit: p[2], epoch: math.NaN()})
		}
		got, err := find(columns, Columns{})
		if err != nil {
			t.Errorf("%s: %v", c.archive, err)
			continue
		}
		var names []string
		for _, i := range got.column {
			if i < 0 {
				names = append(names, "-")
			} else {
				names = append(names, columns[i].name)
			}
		}
		if s := strings.Join(names, " "); s != c.want {
			t.Errorf("%s: got  %s\nwant %s", c.archive, s, c.want)
		}
	}
}

func TestFindAmbiguous(t *testing.T) {
	columns := []column{{name: "x", ucd: "pos.eq.ra"}, {name: "y", ucd: "pos.eq.ra"}, {name: "dec"}, {name: "mag"}}
	if _, err := find(columns, Columns{}); err == nil || !strings.Contains(err.Error(), "right ascension: could be any of x (#1), y (#2); the columns are x, y, dec, mag; name the column with --ra") {
		t.Errorf("got %v", err)
	}
	if c, err := find(columns, Columns{RA: "Y"}); err != nil || c.column[roleRA] != 1 {
		t.Errorf("named: %v", err)
	}
}

// Factors by hand.
func TestUnits(t *testing.T) {
	for _, c := range []struct {
		q    quantity
		unit string
		want float64 // 0: none
	}{
		{place, "", math.Pi / 180}, {place, "deg", math.Pi / 180}, {place, "Degrees", math.Pi / 180}, {place, "rad", 1},
		{place, "hourangle", math.Pi / 12}, {place, `"h:m:s"`, math.Pi / 12}, {place, "arcsec", float64(sphere.Arcsecond)}, {place, "mag", 0}, {place, "furlong", 0},
		{placeError, "", 1}, {placeError, "mas", 1}, {placeError, "arcsec", 1000}, {placeError, "deg", 3.6e6}, {placeError, "m", 0},
		{motion, "", 1}, {motion, "mas/yr", 1}, {motion, "mas.yr**-1", 1}, {motion, "mas yr-1", 1}, {motion, "mas*yr^-1", 1}, {motion, "mas/a", 1},
		{motion, "mas/(yr)", 1}, {motion, "arcsec/yr", 1000}, {motion, "arcsec.yr-1", 1000}, {motion, "deg/yr", 3.6e6}, {motion, "mas", 0}, {motion, "mas/d", 0},
		{motion, "mas.yr", 0}, {motion, "s/yr", 0}, {motion, "arcsec/cy", 0}, {motion, "/yr", 0},
		{year, "", 1}, {year, "yr", 1}, {year, "Time[Julian Years]", 1}, {year, "d", 0},
		{magnitude, "", 1}, {magnitude, "mag", 1}, {magnitude, "mag(AB)", 1}, {magnitude, "Jy", 0},
	} {
		f, ok := c.q.factor(c.unit)
		if ok != (c.want != 0) || ok && math.Abs(f/c.want-1) > 1e-12 {
			t.Errorf("%d in %q: %v, %v, want %v", c.q, c.unit, f, ok, c.want)
		}
	}
}

func TestSexagesimal(t *testing.T) {
	for _, c := range []struct {
		text string
		want float64 // NaN: none
	}{
		{"12 34 56.7", 12.58241666667}, {"-00:30:00", -0.5}, {"+5:30", 5.5}, {"1h2m3s", 1.03416666667}, {"-1d30m", -1.5},
		{"12", math.NaN()}, {"1:60:0", math.NaN()}, {"1:2.5:3", math.NaN()}, {"1:-2:3", math.NaN()}, {"1:2:3:4", math.NaN()}, {"a:b", math.NaN()}, {"-", math.NaN()}, {"1:NaN", math.NaN()},
	} {
		v, ok := sexagesimal([]byte(c.text))
		if ok == math.IsNaN(c.want) || ok && math.Abs(v-c.want) > 1e-9 {
			t.Errorf("%q: %v, %v, want %v", c.text, v, ok, c.want)
		}
	}
}
