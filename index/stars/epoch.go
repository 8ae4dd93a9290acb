package stars

import "time"

// JulianYear returns the Julian epoch of a time, such as 2026.9: years of 365.25
// days from 2000-01-01 12:00. It takes UTC for TT, a minute of proper motion.
func JulianYear(t time.Time) float64 {
	const j2000 = 946728000 // 2000-01-01 12:00 in Unix seconds
	return 2000 + float64(t.Unix()-j2000)/(365.25*86400)
}
