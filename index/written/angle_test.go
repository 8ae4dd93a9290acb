package written

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pintle/index/sphere"
)

// TestLatitudes: spellings seen on maps, in notes, headers and on web pages (from
// memory; common practice, no source). 31°24' is 31.4 degrees.
func TestLatitudes(t *testing.T) {
	const dm, dms = 31.4, 31 + 24/60. + 10/3600.
	for s, want := range map[string]float64{
		"-31.4": -dm, "31.4": dm, "+31.4": dm, "−31.4": -dm, "–31.4": -dm, "‑31.4": -dm, " 31.4 ": dm, "31,4": dm, "-31,4": -dm,
		"31.4S": -dm, "31.4 S": -dm, "31.4s": -dm, "12 s": -12, "S31.4": -dm, "s 31.4": -dm, "31,4 S": -dm, "+31.4 N": dm, "31.4 n": dm,
		"31.4°S": -dm, "31.4° S": -dm, "31.4º S": -dm, "31.4˚S": -dm, "S 31.4°": -dm, "31.4 deg S": -dm, "31.4degS": -dm, "31.4 degrees south": -dm,
		"31.4 d S": -dm, "31.4dS": -dm, "31 S": -31, "South 31.4": -dm, "31.4 north": dm, "31°": 31, "31.": 31,
		"31 24": dm, "-31 24": -dm, "31 24 S": -dm, "S31 24": -dm, "S 31 24": -dm, "31:24 S": -dm, "31:24S": -dm, "-31:24": -dm,
		"31°24'S": -dm, "31°24′S": -dm, "31°24’S": -dm, "31°24´S": -dm, "31°24`S": -dm, "31°24' S": -dm, "31° 24' S": -dm, "31 ° 24 ' S": -dm,
		"S31°24'": -dm, "S 31° 24′": -dm, "-31°24'": -dm, "31d24mS": -dm, "31d24m S": -dm, "31d24ms": -dm, "31D24MS": -dm, "31°24mS": -dm,
		"31deg24minS": -dm, "31deg 24min S": -dm, "31 degrees 24 minutes S": -dm, "31°24S": -dm, "31d24S": -dm, "S31d24m": -dm, "31d24mN": dm,
		"31°24,0'S": -dm, "31° 24.0' s": -dm, "31 24.0 S": -dm, "31:24.0S": -dm, "31°24'N": dm, "31°24'": dm, "31 24'": dm,
		"31 24 10": dms, "-31 24 10": -dms, "31:24:10": dms, "31 24 10 S": -dms, "31:24:10S": -dms, "31:24:10 S": -dms, "S31:24:10": -dms,
		"31d24m10s": dms, "-31d24m10s": -dms, "+31d24m10s": dms, "31D24M10S": dms, "31d 24m 10s": dms, "31 d 24 m 10 s": dms,
		"31d24m10sS": -dms, "31d24m10s S": -dms, "31d24m10s s": -dms, "31D24M10S S": -dms, "31d24m10sN": dms, "S31d24m10s": -dms, "N31d24m10s": dms,
		"31°24'10\"S": -dms, "31°24′10″S": -dms, "31°24’10”S": -dms, "31°24'10''S": -dms, "31°24′10′′S": -dms, "31° 24' 10\" S": -dms,
		"31°24'10\"": dms, "31º24'10\"s": -dms, "S31°24'10\"": -dms, "31°24'10,0\"S": -dms, "31deg24min10secS": -dms, "31 deg 24 min 10 sec S": -dms,
		"31\u00a0°\u202f24′\u00a010″ S": -dms, "31°10\"S": -31 - 10/3600., "31.4 S.": -dm, "S. 31.4": -dm, "31 deg. 24 min. S": -dm, "31d24m10s. S": -dms, "31.4 south.": -dm, "S.5": -0.5, "31.4 SOUTH": -dm, "sOuTh 31 24 10": -dms,
		"３１．４Ｓ": -dm, "－３１．４": -dm, "３１，４　ｓｏｕｔｈ": -dm, "３１°２４＇１０＂Ｓ": -dms, "３１：２４：１０ Ｓ": -dms, "‒31.4": -dm, "﹣31.4": -dm, "-\u00a031.4": -dm,
		"-0 30 00": -0.5, "0°30'S": -0.5, "-00:00:36": -0.01, "90 S": -90,
	} {
		a, err := Latitude(s)
		if err != nil || math.Abs(a.Degrees()-want) > 1e-12 {
			t.Errorf("%q: %v, %v, want %g", s, a, err, want)
		}
	}
}

func TestLongitudes(t *testing.T) {
	for s, want := range map[string]float64{
		"121.9": 121.9, "121 54 0.0 E": 121.9, "W 70°55'48\"": -70.93, "70W": -70, "70.5 w": -70.5, "e121.9": 121.9, "121°54′E": 121.9,
		"121d54mE": 121.9, "204.42": -155.58, "-180": 180, "360": 0, "180W": 180, "10 east": 10, "+19.54 E": 19.54, "0": 0, "70deg W": -70,
	} {
		a, err := Longitude(s)
		if err != nil || math.Abs(a.Degrees()-want) > 1e-9 {
			t.Errorf("%q: %v, %v, want %g", s, a, err, want)
		}
	}
}

func TestRefusedAngles(t *testing.T) {
	for words, list := range map[string][]string{
		"two ways": {"31 24 s", "31 24 10 s", "31:24:10s", "31d24m10S", "31D24M10s", "31d24m10 S", "31°24'10S", "31°24'10s", "31°24s", "31d24s", "31D24S",
			"31degs", "31 DEGS", "31deg24mins", "31d24m10secs", "31d24m10ss", "31D24M10SS", "31.4 degreeS", "S31 24 10S", "N31 24 10s"},
		"both the sign":     {"-31 S", "-31 N", "+31 S", "S-31", "N +31", "−31°24'S", "+31d24mS"},
		"names both":        {"N 31 N", "S 31.4° S"},
		"in its middle":     {"5 N E", "1e2", "1S2", "31 S 24"},
		"swapped?":          {"31 E", "31.4w"},
		"outside -90 to 90": {"91", "-90.001", "121.9", "90 0 1 S"},
		"beyond 360":        {"361"},
		"no degrees":        {"24'", "10\"", "31'24''S", "24m"},
		"is in hours":       {"5h", "5h35m17s"},
		"60 or more":        {"31 60 00", "31 24 60", "31 24 60.0"},
		"before its last":   {"31.5 24", "31,5 24", "31 24.5 10"},
		"more than degrees": {"1 2 3 4"},
		"wrong order":       {"31'24°", "31°24°", "31d24sec10m N", "31\"24'"},
		"leaves out":        {"31 10\"", "31 10sS"},
		"three digits":      {"3124.5 S", "0312410N"},
		"more than one":     {"31.4,121.9", "31,4,5", "1.2.3", "31..4"},
		"decimal point":     {"31 .4", "31 ,4 S", "31°,24' S", "31 24 .5"},
		"comma without":     {"31, 24", "31,", ","},
		"colon":             {"31:"},
		"holds": {"north pole", "home", "0x10", "NaN", "inf", "31 O", "31/24", "31_4", "31;24", "3٣", "31 24 \x00",
			"\u00ad31.4", "—31.4", "⁻31.4", "31.4 ſ", "31.4 Ѕ", "31.4 sud", "31.4 sth", "minus 31.4", "lat -31.4", "31.4 southern", "\u200e-31.4", "31/24 S."},
		"is no angle":        {"", " ", "N", "-", "--3", "+-3", "°", ":31", "3-", "31 -24", "."},
		"write it like -31.": {"north pole", "31 60", "24'"},
	} {
		for _, s := range list {
			if a, err := Latitude(s); err == nil || !strings.Contains(err.Error(), words) {
				t.Errorf("%q was read as %v, %v; want %q", s, a, err, words)
			}
		}
	}
	for _, s := range []string{"-180.01", "31 N", "361", "12 s"} {
		if a, err := Longitude(s); err == nil {
			t.Errorf("longitude %q was read as %v", s, a)
		}
	}
}

func TestRightAscension(t *testing.T) {
	for s, want := range map[string]float64{
		"5h35m17s": 83.8208333333, "5H35M17S": 83.8208333333, "5h35m": 83.75, "5h 35m 17.0s": 83.8208333333, "5h 35 17": 83.8208333333,
		"83.82": 83.82, "83,82": 83.82, "5.5h": 82.5, "24h": 360, "83°49'15\"": 83.8208333333, "83d49m15s": 83.8208333333, "5h17s": 75.0708333333,
	} {
		a, err := RightAscension(s)
		if err != nil || math.Abs(a.Degrees()-want) > 1e-9 {
			t.Errorf("%q: %v, %v, want %g", s, a, err, want)
		}
	}
	for _, s := range []string{"5:35:17", "5 35 17", "25h", "-5h", "361", "5h N", "5h35'17\"", "", "h", "5h60m"} {
		if a, err := RightAscension(s); err == nil || !strings.Contains(err.Error(), "write hours as") && !strings.Contains(err.Error(), "is no") {
			t.Errorf("%q was read as %v, %v", s, a, err)
		}
	}
}

// spell writes an angle of whole tenths of an arcsecond in one of many ways.
func spell(r *rand.Rand, tenths int, positive, negative byte) string {
	pick := func(s ...string) string { return s[r.IntN(len(s))] }
	south := tenths < 0
	if south {
		tenths = -tenths
	}
	d, m, sec := tenths/36000, tenths/600%60, fmt.Sprintf("%d%s%d", tenths/10%60, pick(".", ","), tenths%10)
	body := ""
	switch r.IntN(5) {
	case 0:
		body = fmt.Sprintf("%d%s%d%s%s%s", d, pick("°", "º", "° ", " °"), m, pick("'", "′", "’", "´", "' "), sec, pick("\"", "″", "”", "''", "′′", " \""))
	case 1:
		body = fmt.Sprintf("%d:%02d:%s", d, m, sec)
	case 2:
		body = fmt.Sprintf("%d %d %s", d, m, sec)
	case 3:
		body = fmt.Sprintf("%d%s%d%s%s%s", d, "d", m, "m", sec, "s")
	default:
		body = fmt.Sprintf("%d deg %d min %s sec", d, m, sec)
	}
	letter := string(positive)
	if south {
		letter = string(negative)
	}
	spaced := pick("", " ")
	if strings.HasSuffix(body, "s") || strings.HasSuffix(body, "sec") {
		spaced = " " // "10ss" may be a slip
	}
	lower := strings.ToLower(letter)
	if last := body[len(body)-1]; last >= '0' && last <= '9' {
		lower = letter // "24 10s" may be seconds
	}
	switch r.IntN(4) {
	case 0:
		if south {
			return pick("-", "−") + body
		}
		return pick("", "+") + body
	case 1:
		return letter + pick("", " ") + body
	case 2:
		return body + spaced + lower
	}
	return body + spaced + letter
}

func TestAnglesThereAndBack(t *testing.T) {
	const seed = 13
	r := rand.New(rand.NewPCG(seed, 1))
	for range 20_000 {
		lat, lon := r.IntN(2*90*36000+1)-90*36000, r.IntN(2*180*36000)-180*36000+1
		s, l := spell(r, lat, 'N', 'S'), spell(r, lon, 'E', 'W')
		a, err := Latitude(s)
		if err != nil || math.Abs(a.Arcseconds()-float64(lat)/10) > 1e-6 {
			t.Fatalf("seed %d: %q: %v, %v, want %g arcsec", seed, s, a, err, float64(lat)/10)
		}
		b, err := Longitude(l)
		if err != nil || math.Abs(b.Arcseconds()-float64(lon)/10) > 1e-6 {
			t.Fatalf("seed %d: %q: %v, %v, want %g arcsec", seed, l, b, err, float64(lon)/10)
		}
	}
}

// FuzzAngle: whatever is written, a latitude that is read lies in its range, on
// the side of the letter or sign that it holds.
func FuzzAngle(f *testing.F) {
	for _, s := range []string{"31°24′S", "-31 24 00", "31d24m10sS", "W 70°55'47.5\"", "5h35m17s", "31,4 deg s", "31''S", "S 31:24:10"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := Latitude(s)
		if err == nil {
			first := strings.ToLower(strings.TrimSpace(s))[0]
			wrong := first == 'n' && a < 0 || first == 's' && a > 0 || a > 0 && strings.ContainsAny(s, minusSigns)
			if wrong || !(a.Abs() <= 90*sphere.Degree*slack) {
				t.Fatalf("%q gave %v", s, a)
			}
		} else if strings.Contains(err.Error(), "strconv") && !strings.Contains(s, "strconv") {
			t.Fatal(err)
		}
		if a, err := Longitude(s); err == nil && !(a > -math.Pi && a <= math.Pi) {
			t.Fatalf("%q gave %v", s, a)
		}
		if a, err := RightAscension(s); err == nil && !(a >= 0 && a <= 2*math.Pi*slack) {
			t.Fatalf("%q gave %v", s, a)
		}
	})
}
