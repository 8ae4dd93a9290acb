package frame

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

const layout = "2006-01-02T15:04:05.000"

// headerFrame decodes a small FITS file with cards of its own.
func headerFrame(t *testing.T, name string, o Options, cards ...string) *Frame {
	t.Helper()
	return mustDecode(t, fitsFile(make([]uint8, 400), append(imageCards(8, 20, 20), cards...)...), name, o)
}

// exifFrame decodes a small JPEG file with an EXIF block.
func exifFrame(t *testing.T, name string, o Options, main *tiffDir) *Frame {
	t.Helper()
	return mustDecode(t, withEXIF(encodeJPEG(pictures(60, 40)["grey 8"]), main.bytes(nil)), name, o)
}

func TestHeaderTime(t *testing.T) {
	for name, c := range map[string]struct {
		cards []string
		want  string
		from  string
	}{
		"start and exposure":    {[]string{"DATE-OBS= '2026-11-25T12:40:00.250'", "EXPTIME = 3"}, "2026-11-25T12:40:01.750", "DATE-OBS + half the exposure"},
		"no exposure":           {[]string{"DATE-OBS= '2026-11-25T12:40:00'"}, "2026-11-25T12:40:00.000", "exposure unknown"},
		"exposure as text":      {[]string{"DATE-OBS= '2026-11-25T12:40:00'", "EXPOSURE= '4.0'"}, "2026-11-25T12:40:02.000", "half"},
		"middle":                {[]string{"DATE-AVG= '2026-11-25T12:41:00'", "DATE-OBS= '2026-11-25T12:40:00'", "EXPTIME = 3"}, "2026-11-25T12:41:00.000", "DATE-AVG"},
		"over midnight":         {[]string{"DATE-OBS= '2026-12-31T23:59:59'", "EXPTIME = 4"}, "2027-01-01T00:00:01.000", "half"},
		"split":                 {[]string{"DATE-OBS= '2026-11-25'", "TIME-OBS= '12:40:00.5'", "EXPTIME = 1"}, "2026-11-25T12:40:01.000", "DATE-OBS + TIME-OBS"},
		"split, UT":             {[]string{"DATE-OBS= '2026-11-25'", "UT      = '12:40:00'"}, "2026-11-25T12:40:00.000", "DATE-OBS + UT"},
		"split, old form":       {[]string{"DATE-OBS= '25/11/97'", "UT      = '12:40:00'"}, "1997-11-25T12:40:00.000", "DATE-OBS + UT"},
		"begin":                 {[]string{"DATE-BEG= '2026-11-25T12:40:00'"}, "2026-11-25T12:40:00.000", "DATE-BEG"},
		"with Z":                {[]string{"DATE-OBS= '2026-11-25T12:40:00Z'"}, "2026-11-25T12:40:00.000", "DATE-OBS"},
		"with offset":           {[]string{"DATE-OBS= '2026-11-25T12:40:00+08:00'"}, "2026-11-25T04:40:00.000", "DATE-OBS"},
		"a date alone, MJD":     {[]string{"DATE-OBS= '2026-01-15'", "MJD-OBS = 61055.8958333333"}, "2026-01-15T21:30:00.000", "MJD-OBS"},
		"MJD middle":            {[]string{"MJD-AVG = 61055.8958333333", "EXPTIME = 100"}, "2026-01-15T21:30:00.000", "MJD-AVG"},
		"MJD start":             {[]string{"MJD-OBS = 61055.8958333333", "EXPTIME = 10"}, "2026-01-15T21:30:05.000", "MJD-OBS"},
		"TT":                    {[]string{"DATE-OBS= '2026-11-25T12:41:09.184'", "TIMESYS = 'TT'"}, "2026-11-25T12:40:00.000", "DATE-OBS"},
		"TAI":                   {[]string{"DATE-OBS= '2026-11-25T12:40:37'", "TIMESYS = 'TAI'"}, "2026-11-25T12:40:00.000", "DATE-OBS"},
		"TAI before 2017":       {[]string{"DATE-OBS= '2016-12-31T23:59:59'", "TIMESYS = 'TAI'"}, "2016-12-31T23:59:23.000", "DATE-OBS"},
		"GPS":                   {[]string{"DATE-OBS= '2026-11-25T12:40:18'", "TIMESYS = 'GPS'"}, "2026-11-25T12:40:00.000", "DATE-OBS"},
		"UTC":                   {[]string{"DATE-OBS= '2026-11-25T12:40:00'", "TIMESYS = 'UTC'"}, "2026-11-25T12:40:00.000", "DATE-OBS"},
		"short hour and minute": {[]string{"DATE-OBS= '2026-1-5T2:04:09'"}, "2026-01-05T02:04:09.000", "DATE-OBS"},
	} {
		fr := headerFrame(t, "x.fits", Options{}, c.cards...)
		// A float64 holds a Julian date to about a microsecond.
		if got := fr.Time.Mid.Round(time.Millisecond).Format(layout); got != c.want || fr.Time.Err != nil || fr.Time.Doubtful {
			t.Errorf("%s: %s (%+v), want %s", name, got, fr.Time, c.want)
		}
		if !strings.Contains(fr.Time.Source, c.from) {
			t.Errorf("%s: source %q does not say %q", name, fr.Time.Source, c.from)
		}
	}
}

// A stated time that cannot be is refused; nothing weaker takes its place.
func TestImpossibleTimes(t *testing.T) {
	for card, words := range map[string]string{
		"DATE-OBS= '2026-13-25T12:40:00'": "month 13",
		"DATE-OBS= '2026-02-29T12:40:00'": "day 29",
		"DATE-OBS= '2026-11-00T12:40:00'": "day 00",
		"DATE-OBS= '0000-11-25T12:40:00'": "year 0000",
		"DATE-OBS= '1600-11-25T12:40:00'": "1900 to 2100",
		"DATE-OBS= '2026-11-25T24:00:00'": "hour 24",
		"DATE-OBS= '2026-11-25T12:60:00'": "minute 60",
		"DATE-OBS= '2016-12-31T23:59:60'": "leap second",
		"DATE-OBS= 'yesterday'":           "is not understood",
		"MJD-OBS = 3.":                    "1900 to 2100",
		"MJD-OBS = 1E99":                  "1900 to 2100",
	} {
		fr := headerFrame(t, "20261127T103000Z.fits", Options{}, card)
		if fr.Time.Err == nil || !fr.Time.Mid.IsZero() {
			t.Errorf("%s: time %v was taken", card, fr.Time)
			continue
		}
		if msg := fr.Time.Err.Error(); !strings.Contains(msg, words) || !hasNote(fr, msg) {
			t.Errorf("%s: error %q and notes %q, want %q", card, msg, fr.Notes, words)
		}
		if fr := headerFrame(t, "x", Options{At: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}, card); fr.Time.Err != nil {
			t.Errorf("%s: refused although the time was given", card)
		}
	}
	fr := headerFrame(t, "x", Options{}, "DATE-OBS= '2026-11-25T12:40:00'", "TIMESYS = 'STARDATE'")
	if fr.Time.Err == nil {
		t.Error("an unknown time scale was taken")
	}
	fr = headerFrame(t, "20261327T103000Z.fits", Options{})
	if fr.Time.Err == nil {
		t.Error("month 13 in the file name was taken or passed over")
	}
}

func TestEXIFTime(t *testing.T) {
	hawaii := time.FixedZone("UTC-10", -36000)
	photo := func() *tiffDir {
		return newTIFF(true).text(tagDateOriginal, "2023:09:07 20:17:19").text(tagSubOriginal, "25").rational(tagExposureTime, 6, 1)
	}
	for name, c := range map[string]struct {
		photo    *tiffDir
		o        Options
		want     string
		doubtful bool
	}{
		"with its offset":           {photo().text(tagOffOriginal, "-10:00"), Options{}, "2023-09-08T06:17:22.250", false},
		"offset goes before option": {photo().text(tagOffOriginal, "-10:00"), Options{TimeZone: time.UTC}, "2023-09-08T06:17:22.250", false},
		"general offset":            {photo().text(tagOffset, "-10:00"), Options{}, "2023-09-08T06:17:22.250", false},
		"time zone given":           {photo(), Options{TimeZone: hawaii}, "2023-09-08T06:17:22.250", false},
		"exposure given":            {photo(), Options{TimeZone: hawaii, Exposure: 10 * time.Second}, "2023-09-08T06:17:24.250", false},
		"each date has its own offset": {newTIFF(true).text(tagDateDigital, "2023:09:07 20:17:19").text(tagSubDigital, "25").text(tagSubOriginal, "75").text(tagOffDigital, "-10:00").text(tagOffOriginal, "+05:00"),
			Options{}, "2023-09-08T06:17:19.250", false},
		"zone unknown": {photo(), Options{}, "2023-09-07T20:17:22.250", true},
		"blank offset": {photo().text(tagOffOriginal, "   :  "), Options{}, "2023-09-07T20:17:22.250", true},
	} {
		fr := exifFrame(t, "x.jpg", c.o, newTIFF(true).add(tagExifIFD, c.photo))
		if got := fr.Time.Mid.Format(layout); got != c.want || fr.Time.Doubtful != c.doubtful {
			t.Errorf("%s: %s, doubtful %v (%s), want %s, %v", name, got, fr.Time.Doubtful, fr.Time.Source, c.want, c.doubtful)
		}
		if c.doubtful != hasNote(fr, "give the time zone") {
			t.Errorf("%s: notes %q", name, fr.Notes)
		}
	}
	for stated, want := range map[string]string{"+08:00": "8h0m0s", "-03:30": "-3h30m0s", "+00:00": "0s", "   :  ": "none", "": "none"} {
		fr := exifFrame(t, "20230907T201719Z.jpg", Options{}, newTIFF(true).add(tagExifIFD, photo().text(tagOffOriginal, stated)))
		got := "none"
		if z := fr.Time.Zone; z != nil {
			got = z.String()
		}
		if got != want {
			t.Errorf("offset %q: the clock is %s ahead of UTC, want %s", stated, got, want)
		}
	}
	unset := newTIFF(true).add(tagExifIFD, newTIFF(true).text(tagDateOriginal, "0000:00:00 00:00:00"))
	if fr := exifFrame(t, "20261127T103000Z.jpg", Options{}, unset); fr.Time.Source != "file name, exposure unknown" {
		t.Errorf("unset EXIF clock: time from %q, want the file name", fr.Time.Source)
	}
	bad := newTIFF(true).add(tagExifIFD, newTIFF(true).text(tagDateOriginal, "2026:13:01 00:00:00"))
	if fr := exifFrame(t, "x.jpg", Options{}, bad); fr.Time.Err == nil {
		t.Error("month 13 in EXIF was taken or passed over")
	}
}

// The order of sources (see when).
func TestTimeOrder(t *testing.T) {
	zone := time.FixedZone("UTC+13", 13*3600)
	at := time.Date(2026, 5, 6, 7, 8, 9, 0, zone)
	exif := newTIFF(false).add(tagExifIFD, newTIFF(false).text(tagDateOriginal, "2026:11:27 20:00:00"))
	for name, c := range map[string]struct {
		fr   *Frame
		want string
	}{
		"given goes before all":                   {headerFrame(t, "20261127T103000Z.fits", Options{At: at}, "DATE-OBS= '2026-11-25T12:40:00'"), "2026-05-05T18:08:09.000"},
		"header before file name":                 {headerFrame(t, "20261127T103000Z.fits", Options{}, "DATE-OBS= '2026-11-25T12:40:00'"), "2026-11-25T12:40:00.000"},
		"EXIF in a given zone before file name":   {exifFrame(t, "20261127T103000Z.jpg", Options{TimeZone: zone}, exif), "2026-11-27T07:00:00.000"},
		"UTC file name before EXIF without zone":  {exifFrame(t, "20261127T103000Z.jpg", Options{}, exif), "2026-11-27T10:30:00.000"},
		"EXIF without zone before bare file name": {exifFrame(t, "20261127_103000.jpg", Options{}, exif), "2026-11-27T20:00:00.000"},
	} {
		if got := c.fr.Time.Mid.Format(layout); got != c.want {
			t.Errorf("%s: %s (%s), want %s", name, got, c.fr.Time.Source, c.want)
		}
	}
	path := filepath.Join(t.TempDir(), "plain.fits")
	if err := os.WriteFile(path, fitsFile(make([]uint8, 400), append(imageCards(8, 20, 20), "EXPTIME = 4")...), 0o644); err != nil {
		t.Fatal(err)
	}
	mod := time.Date(2026, 11, 25, 12, 40, 4, 0, time.UTC)
	if err := os.Chtimes(path, mod, mod); err != nil {
		t.Fatal(err)
	}
	fr, err := Read(context.Background(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := fr.Time.Mid.Format(layout); got != "2026-11-25T12:40:02.000" || !fr.Time.Doubtful || !hasNote(fr, "time of the file") {
		t.Errorf("file's own time: %s, doubtful %v, notes %q", got, fr.Time.Doubtful, fr.Notes)
	}
}

func TestNameTime(t *testing.T) {
	zone := time.FixedZone("UTC-10", -36000)
	for name, want := range map[string]string{
		"20261127T103000Z.png":                       "2026-11-27T10:30:00.000",
		"light_20261127T103000.5Z_004.png":           "2026-11-27T10:30:00.500",
		"2026-11-27T10-30-00Z.fits":                  "2026-11-27T10:30:00.000",
		"2026-11-27T10:30:00Z":                       "2026-11-27T10:30:00.000",
		"2023-09-07_20_17_17.png":                    "2023-09-08T06:17:17.000", // a local clock
		"FF_XX000F_20200614_221945_413_0031232.fits": "2020-06-15T08:19:45.000",
		"cap_20261127-103000.tif":                    "2026-11-27T20:30:00.000",
		"IMG_20261127_103000123.jpg":                 "",
		"frame-0001.fits":                            "",
		"12345678901234567890.fits":                  "",
		"20269999_103000.fits":                       "",
		"20261127T103000Z7.png":                      "",
	} {
		tm, ok := nameTime(name, 0, zone, false)
		got := ""
		if ok && tm.Err == nil {
			got = tm.Mid.Format(layout)
		}
		if got != want {
			t.Errorf("%s: %q (%v), want %q", name, got, tm.Err, want)
		}
	}
	if tm, ok := nameTime("20261127_103000.png", 0, nil, false); ok {
		t.Errorf("a stamp without zone was taken as %v", tm.Mid)
	}
	if tm, ok := nameTime("20261127_103000.png", 0, nil, true); !ok || !tm.Doubtful {
		t.Errorf("a stamp without zone as last resort: %+v", tm)
	}
}

func TestParseTime(t *testing.T) {
	zone := time.FixedZone("", 3600)
	for s, want := range map[string]string{
		"2023-09-08T06:25:00Z":       "2023-09-08T06:25:00.000",
		" 2023-09-08 06:25 ":         "2023-09-08T05:25:00.000",
		"2023-09-08T06:25:00.5-1000": "2023-09-08T16:25:00.500",
		"2023-09-08T06:25:00 UTC":    "2023-09-08T06:25:00.000",
	} {
		got, err := ParseTime(s, zone)
		if err != nil || got.Format(layout) != want {
			t.Errorf("%q: %v, %v, want %s", s, got, err, want)
		}
	}
	for _, s := range []string{"", "2023-09-08", "06:25", "2023-09-08T06:25:00+19:00", "2023-09-08T06:25:61Z", "20230908T062500Z"} {
		if got, err := ParseTime(s, zone); err == nil {
			t.Errorf("%q was read as %v", s, got)
		}
	}
}

func TestExposureLimits(t *testing.T) {
	for card, want := range map[string]time.Duration{
		"EXPTIME = 2.5": 2500 * time.Millisecond, "EXPTIME = -1": 0, "EXPTIME = 1e30": 0, "EXPTIME = 'long'": 0, "EXPOSURE= 90000": 0,
	} {
		if got := headerFrame(t, "x", Options{}, card).Exposure; got != want {
			t.Errorf("%s: exposure %v, want %v", card, got, want)
		}
	}
}
