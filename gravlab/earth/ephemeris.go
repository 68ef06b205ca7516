package earth

import (
	"math"
	"math/cmplx"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
)

// The Moon and the Sun by truncated series.
//
// The Moon is the lunar theory ELP-2000/82 of M. Chapront-Touzé and J. Chapront
// in the short form of J. Meeus, Astronomical Algorithms, 2nd ed. (1998),
// chapter 47: about 10 seconds of arc in longitude, 4 in latitude, a few km in
// distance. The Sun is chapter 25 of the same book: 0.01 degree. Nutation is
// the four largest terms of chapter 22, sidereal time equation 12.4. The
// coefficients are from memory; the tests hold the whole chain against series
// computed with another library's ephemeris (testdata/tide_check.csv and
// tide_400d.csv), which differ by at most a few tenths of nm/s².

// lunarTerm is one line of tables 47.A and 47.B: multiples of the arguments D,
// M, M' and F, and the coefficients.
type lunarTerm struct {
	d, m, mp, f int8
	a, b        float64
}

// lunarLongitude holds a in 1e-6 degree (sine, longitude) and b in m (cosine,
// distance).
var lunarLongitude = [...]lunarTerm{
	{0, 0, 1, 0, 6288774, -20905355},
	{2, 0, -1, 0, 1274027, -3699111},
	{2, 0, 0, 0, 658314, -2955968},
	{0, 0, 2, 0, 213618, -569925},
	{0, 1, 0, 0, -185116, 48888},
	{0, 0, 0, 2, -114332, -3149},
	{2, 0, -2, 0, 58793, 246158},
	{2, -1, -1, 0, 57066, -152138},
	{2, 0, 1, 0, 53322, -170733},
	{2, -1, 0, 0, 45758, -204586},
	{0, 1, -1, 0, -40923, -129620},
	{1, 0, 0, 0, -34720, 108743},
	{0, 1, 1, 0, -30383, 104755},
	{2, 0, 0, -2, 15327, 10321},
	{0, 0, 1, 2, -12528, 0},
	{0, 0, 1, -2, 10980, 79661},
	{4, 0, -1, 0, 10675, -34782},
	{0, 0, 3, 0, 10034, -23210},
	{4, 0, -2, 0, 8548, -21636},
	{2, 1, -1, 0, -7888, 24208},
	{2, 1, 0, 0, -6766, 30824},
	{1, 0, -1, 0, -5163, -8379},
	{1, 1, 0, 0, 4987, -16675},
	{2, -1, 1, 0, 4036, -12831},
	{2, 0, 2, 0, 3994, -10445},
	{4, 0, 0, 0, 3861, -11650},
	{2, 0, -3, 0, 3665, 14403},
	{0, 1, -2, 0, -2689, -7003},
	{2, 0, -1, 2, -2602, 0},
	{2, -1, -2, 0, 2390, 10056},
	{1, 0, 1, 0, -2348, 6322},
	{2, -2, 0, 0, 2236, -9884},
	{0, 1, 2, 0, -2120, 5751},
	{0, 2, 0, 0, -2069, 0},
	{2, -2, -1, 0, 2048, -4950},
	{2, 0, 1, -2, -1773, 4130},
	{2, 0, 0, 2, -1595, 0},
	{4, -1, -1, 0, 1215, -3958},
	{0, 0, 2, 2, -1110, 0},
	{3, 0, -1, 0, -892, 3258},
	{2, 1, 1, 0, -810, 2616},
	{4, -1, -2, 0, 759, -1897},
	{0, 2, -1, 0, -713, -2117},
	{2, 2, -1, 0, -700, 2354},
	{2, 1, -2, 0, 691, 0},
	{2, -1, 0, -2, 596, 0},
	{4, 0, 1, 0, 549, -1423},
	{0, 0, 4, 0, 537, -1117},
	{4, -1, 0, 0, 520, -1571},
	{1, 0, -2, 0, -487, -1739},
	{2, 1, 0, -2, -399, 0},
	{0, 0, 2, -2, -381, -4421},
	{1, 1, 1, 0, 351, 0},
	{3, 0, -2, 0, -340, 0},
	{4, 0, -3, 0, 330, 0},
	{2, -1, 2, 0, 327, 0},
	{0, 2, 1, 0, -323, 1165},
	{1, 1, -1, 0, 299, 0},
	{2, 0, 3, 0, 294, 0},
	{2, 0, -1, -2, 0, 8752},
}

// lunarLatitude holds a in 1e-6 degree (sine, latitude).
var lunarLatitude = [...]lunarTerm{
	{0, 0, 0, 1, 5128122, 0},
	{0, 0, 1, 1, 280602, 0},
	{0, 0, 1, -1, 277693, 0},
	{2, 0, 0, -1, 173237, 0},
	{2, 0, -1, 1, 55413, 0},
	{2, 0, -1, -1, 46271, 0},
	{2, 0, 0, 1, 32573, 0},
	{0, 0, 2, 1, 17198, 0},
	{2, 0, 1, -1, 9266, 0},
	{0, 0, 2, -1, 8822, 0},
	{2, -1, 0, -1, 8216, 0},
	{2, 0, -2, -1, 4324, 0},
	{2, 0, 1, 1, 4200, 0},
	{2, 1, 0, -1, -3359, 0},
	{2, -1, -1, 1, 2463, 0},
	{2, -1, 0, 1, 2211, 0},
	{2, -1, -1, -1, 2065, 0},
	{0, 1, -1, -1, -1870, 0},
	{4, 0, -1, -1, 1828, 0},
	{0, 1, 0, 1, -1794, 0},
	{0, 0, 0, 3, -1749, 0},
	{0, 1, -1, 1, -1565, 0},
	{1, 0, 0, 1, -1491, 0},
	{0, 1, 1, 1, -1475, 0},
	{0, 1, 1, -1, -1410, 0},
	{0, 1, 0, -1, -1344, 0},
	{1, 0, 0, -1, -1335, 0},
	{0, 0, 3, 1, 1107, 0},
	{4, 0, 0, -1, 1021, 0},
	{4, 0, -1, 1, 833, 0},
	{0, 0, 1, -3, 777, 0},
	{4, 0, -2, 1, 671, 0},
	{2, 0, 0, -3, 607, 0},
	{2, 0, 2, -1, 596, 0},
	{2, -1, 1, -1, 491, 0},
	{2, 0, -2, 1, -451, 0},
	{0, 0, 3, -1, 439, 0},
	{2, 0, 2, 1, 422, 0},
	{2, 0, -3, -1, 421, 0},
	{2, 1, -1, 1, -366, 0},
	{2, 1, 0, 1, -351, 0},
	{4, 0, 0, 1, 331, 0},
	{2, -1, 1, 1, 315, 0},
	{2, -2, 0, -1, 302, 0},
	{0, 0, 1, 3, -283, 0},
	{2, 1, 1, -1, -229, 0},
	{1, 1, 0, -1, 223, 0},
	{1, 1, 0, 1, 223, 0},
	{0, 1, -2, -1, -220, 0},
	{2, 1, -1, -1, -220, 0},
	{1, 0, 1, 1, -185, 0},
	{2, -1, -2, -1, 181, 0},
	{0, 1, 2, 1, -177, 0},
	{4, 0, -2, -1, 176, 0},
	{4, -1, -1, -1, 166, 0},
	{1, 0, 1, -1, -164, 0},
	{4, 0, 1, -1, 132, 0},
	{1, 0, -1, -1, -119, 0},
	{4, -1, 0, -1, 115, 0},
	{2, -2, 0, 1, 107, 0},
}

const (
	degree = gravlab.Degree
	arcsec = degree / 3600
	// gmMoon is the ratio of the masses times GM of the Earth; IERS Conventions
	// (2010), table 1.1.
	gmMoon = 0.0123000371 * 3.986004418e14
	gmSun  = 1.32712440041e20 // m³/s², same table, TDB-compatible
	au     = 149597870700.0   // m, IAU 2012 resolution B2
)

// harmonics are exp(i k x) for k from -4 to 4.
type harmonics [9]complex128

func newHarmonics(x float64) (h harmonics) {
	sin, cos := math.Sincos(x)
	z := complex(cos, sin)
	h[4] = 1
	for k := 1; k <= 4; k++ {
		h[4+k] = h[3+k] * z
		h[4-k] = cmplx.Conj(h[4+k])
	}
	return h
}

// sky is where the Moon and the Sun stand in the frame that turns with the
// Earth (x to Greenwich, z to the pole; polar motion left out), in m.
type sky struct{ moon, sun r3.Vec }

// skyAt takes days of Terrestrial Time from J2000 and days of UT1 from J2000.
func skyAt(tt, ut1 float64) sky {
	t := tt / 36525
	moonLon := degree * (218.3164477 + t*(481267.88123421+t*(-0.0015786+t*(1.0/538841-t/65194000))))
	d := degree * (297.8501921 + t*(445267.1114034+t*(-0.0018819+t*(1.0/545868-t/113065000))))
	m := degree * (357.5291092 + t*(35999.0502909+t*(-0.0001536+t/24490000)))
	mp := degree * (134.9633964 + t*(477198.8675055+t*(0.0087414+t*(1.0/69699-t/14712000))))
	f := degree * (93.2720950 + t*(483202.0175233+t*(-0.0036539+t*(-1.0/3526000+t/863310000))))
	a1 := degree * (119.75 + 131.849*t)
	a2 := degree * (53.09 + 479264.290*t)
	a3 := degree * (313.45 + 481266.484*t)

	// The eccentricity of the Earth's orbit shrinks; terms with M go with it.
	ecc := 1 - t*(0.002516+0.0000074*t)
	weight := [3]float64{1, ecc, ecc * ecc}
	hd, hm, hmp, hf := newHarmonics(d), newHarmonics(m), newHarmonics(mp), newHarmonics(f)
	var lon, lat, dist float64
	for i := range lunarLongitude {
		q := &lunarLongitude[i]
		z := hd[4+q.d] * hm[4+q.m] * hmp[4+q.mp] * hf[4+q.f]
		w := weight[abs8(q.m)]
		lon += w * q.a * imag(z)
		dist += w * q.b * real(z)
	}
	for i := range lunarLatitude {
		q := &lunarLatitude[i]
		lat += weight[abs8(q.m)] * q.a * imag(hd[4+q.d]*hm[4+q.m]*hmp[4+q.mp]*hf[4+q.f])
	}
	lon += 3958*math.Sin(a1) + 1962*math.Sin(moonLon-f) + 318*math.Sin(a2)
	lat += -2235*math.Sin(moonLon) + 382*math.Sin(a3) + 175*(math.Sin(a1-f)+math.Sin(a1+f)) +
		127*math.Sin(moonLon-mp) - 115*math.Sin(moonLon+mp)

	sunLon, sunDist := sunEcliptic(t, m)

	// Nutation and obliquity.
	node := degree * (125.04452 - 1934.136261*t)
	meanSun, meanMoon := degree*(280.4665+36000.7698*t), degree*(218.3165+481267.8813*t)
	dpsi := arcsec * (-17.20*math.Sin(node) - 1.32*math.Sin(2*meanSun) - 0.23*math.Sin(2*meanMoon) + 0.21*math.Sin(2*node))
	deps := arcsec * (9.20*math.Cos(node) + 0.57*math.Cos(2*meanSun) + 0.10*math.Cos(2*meanMoon) - 0.09*math.Cos(2*node))
	eps := arcsec*(84381.448+t*(-46.8150+t*(-0.00059+t*0.001813))) + deps

	// Sidereal time: whole turns are dropped before they cost digits.
	turns := math.Mod(ut1, 1)
	u := ut1 / 36525
	gast := 2*math.Pi*turns + degree*(280.46061837+0.98564736629*ut1+u*u*(0.000387933-u/38710000)) + dpsi*math.Cos(eps)

	rotate := func(lon, lat, dist float64) r3.Vec {
		sinLon, cosLon := math.Sincos(lon)
		sinLat, cosLat := math.Sincos(lat)
		sinEps, cosEps := math.Sincos(eps)
		x := cosLat * cosLon
		y := cosLat*sinLon*cosEps - sinLat*sinEps
		z := cosLat*sinLon*sinEps + sinLat*cosEps
		sinG, cosG := math.Sincos(gast)
		return r3.Vec{X: dist * (x*cosG + y*sinG), Y: dist * (-x*sinG + y*cosG), Z: dist * z}
	}
	return sky{
		moon: rotate(moonLon+1e-6*degree*lon+dpsi, 1e-6*degree*lat, 385000560+dist),
		sun:  rotate(sunLon+dpsi, 0, sunDist),
	}
}

// sunEcliptic gives the Sun's true longitude (mean equinox of date) in rad and
// its distance in m, t Julian centuries from J2000 and m its mean anomaly.
func sunEcliptic(t, m float64) (lon, dist float64) {
	mean := 280.46646 + t*(36000.76983+0.0003032*t)
	centre := (1.914602-t*(0.004817+0.000014*t))*math.Sin(m) + (0.019993-0.000101*t)*math.Sin(2*m) + 0.000289*math.Sin(3*m)
	e := 0.016708634 - t*(0.000042037+0.0000001267*t)
	nu := m + centre*degree
	return degree * (mean + centre), au * 1.000001018 * (1 - e*e) / (1 + e*math.Cos(nu))
}

func abs8(k int8) int8 {
	if k < 0 {
		return -k
	}
	return k
}

// leapSeconds lists when TAI-UTC stepped to 10, 11, ... seconds (IERS Bulletin
// C; from memory, held against the tests' series only for 37 s).
var leapSeconds = []time.Time{
	day(1972, 1), day(1972, 7), day(1973, 1), day(1974, 1), day(1975, 1), day(1976, 1), day(1977, 1), day(1978, 1),
	day(1979, 1), day(1980, 1), day(1981, 7), day(1982, 7), day(1983, 7), day(1985, 7), day(1988, 1), day(1990, 1),
	day(1991, 1), day(1992, 7), day(1993, 7), day(1994, 7), day(1996, 1), day(1997, 7), day(1999, 1), day(2006, 1),
	day(2009, 1), day(2012, 7), day(2015, 7), day(2017, 1),
}

func day(year int, month time.Month) time.Time {
	return time.Date(year, month, 1, 0, 0, 0, 0, time.UTC)
}

var j2000 = time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)

// daysSinceJ2000 turns UTC into days of Terrestrial Time and of UT1 (taken as
// UTC: they differ by less than 0.9 s, which costs at most 0.15 nm/s²).
func daysSinceJ2000(utc time.Time) (tt, ut1 float64) {
	// Seconds since the Unix epoch hold for three centuries; Sub would not
	// reach beyond 292 years.
	seconds := float64(utc.Unix()-j2000.Unix()) + float64(utc.Nanosecond())*1e-9
	tai := 9.0
	for i := len(leapSeconds) - 1; i >= 0; i-- { // most times are after the last
		if !utc.Before(leapSeconds[i]) {
			tai += float64(i + 1)
			break
		}
	}
	return (seconds + tai + 32.184) / 86400, seconds / 86400
}
