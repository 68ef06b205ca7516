package survey

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/arg"
)

// A Reading is one line of the field book.
type Reading struct {
	Station      string
	Time         time.Time // in any zone, and told in it; local time without its zone is the commonest slip
	Counter      float64   // counter units
	U            float64   // standard uncertainty, counter units
	Level        float64   // off level, rad
	CrossLevel   float64   // rad
	SensorHeight float64   // of the sensor above the mark, m
	Pressure     float64   // Pa; 0 where it was not logged
	Settled      float64   // s since the meter was set down
}

// A Station is a mark on the ground.
type Station struct {
	Name     string
	Site     earth.Site
	Gradient float64 // of gravity by height at the mark, 1/s², measured (about -3.086e-6)
	// WaterRise is how far the water table stands above its reference, m, and
	// Porosity the fraction of the ground that it fills.
	WaterRise, Porosity float64
}

// A Meter turns counter units into m/s².
type Meter struct {
	// Table holds gravity (m/s²) at rising counter values, by the maker; values
	// between are interpolated, values outside refused. Nil means that a unit
	// is one m/s² times Scale.
	Table []TableRow
	// Scale is the factor of the calibration line and UScale its standard
	// uncertainty; see [Calibrate]. With a Table it is near 1, and refused outside
	// 0.9 to 1.1: makers' tables are good to some parts in 1000 (common practice, no
	// source). Without one it is m/s² for a unit, 1.000412e-5 where a unit is about
	// a mGal.
	Scale, UScale float64
	// RecoveryAmplitude (m/s²) and RecoveryTime (s) describe how the meter
	// settles: after transport it reads too much by A exp(−t/τ). A zero time
	// means that it does not.
	RecoveryAmplitude, RecoveryTime float64
}

// A TableRow is one line of a counter table.
type TableRow struct{ Counter, Gravity float64 }

// Validate reports what cannot be used.
func (m Meter) Validate() error {
	const fn = "survey.Meter"
	err := errors.Join(
		m.checkScale(),
		arg.Between(fn, "UScale", m.UScale, 0, m.Scale, "standard uncertainty of the scale factor"),
		arg.Between(fn, "RecoveryAmplitude", m.RecoveryAmplitude, -1e-3, 1e-3, "acceleration in m/s²"),
		arg.Between(fn, "RecoveryTime", m.RecoveryTime, 0, 1e6, "time in s"),
	)
	for i, row := range m.Table {
		if !(math.Abs(row.Counter) <= 1e9 && math.Abs(row.Gravity) <= largest) {
			err = errors.Join(err, arg.Bad(fn, fmt.Sprintf("Table[%d]", i), row, fmt.Sprintf("a counter value and a gravity in m/s², at most %g (mGal are too large by 1e5)", largest)))
		}
		if i > 0 && row.Counter <= m.Table[i-1].Counter {
			err = errors.Join(err, arg.Bad(fn, fmt.Sprintf("Table[%d].Counter", i), row.Counter, "values that rise"))
		}
	}
	if len(m.Table) == 1 {
		err = errors.Join(err, arg.Bad(fn, "Table", "one row", "two rows or more, or none"))
	}
	return err
}

// largest is more than a meter can show, m/s²: gravity itself, with some room.
const largest = 20.0

func (m Meter) checkScale() error {
	const fn = "survey.Meter"
	if len(m.Table) == 0 {
		return arg.Between(fn, "Scale", m.Scale, 1e-9, 1, "scale factor, without a Table in m/s² for a unit (1e-5 where a unit is a mGal),")
	}
	return arg.Between(fn, "Scale", m.Scale, 0.9, 1.1, "scale factor to the Table, which is in m/s²,")
}

// Gravity turns a counter value into m/s², and says how much one unit is there.
// Without a table it refuses a counter value that comes out above 20 m/s²: a
// Scale of 1 has taken its units for m/s².
func (m Meter) Gravity(counter float64) (value, perUnit float64, err error) {
	if err := m.Validate(); err != nil {
		return 0, 0, err
	}
	return m.gravity(counter)
}

// gravity is Gravity for a meter that was validated.
func (m Meter) gravity(counter float64) (value, perUnit float64, err error) {
	const fn = "survey.Meter.Gravity"
	if !(math.Abs(counter) <= 1e9) {
		return 0, 0, arg.Bad(fn, "counter", counter, "a counter value")
	}
	if len(m.Table) == 0 {
		if !(math.Abs(m.Scale*counter) <= largest) {
			return 0, 0, arg.Bad(fn, "counter", counter, fmt.Sprintf("a value of at most %g m/s² when multiplied by Scale, which is %g; did you mean a Scale of 1e-5, a unit being a mGal?", largest, m.Scale))
		}
		return m.Scale * counter, m.Scale, nil
	}
	first, last := m.Table[0].Counter, m.Table[len(m.Table)-1].Counter
	if counter < first || counter > last {
		return 0, 0, arg.Bad(fn, "counter", counter, fmt.Sprintf("a value within the table, %g to %g", first, last))
	}
	i := 1
	for m.Table[i].Counter < counter {
		i++
	}
	a, b := m.Table[i-1], m.Table[i]
	factor := (b.Gravity - a.Gravity) / (b.Counter - a.Counter)
	return m.Scale * (a.Gravity + factor*(counter-a.Counter)), m.Scale * factor, nil
}

// WaitFor is how long, s, a meter must stand before its recovery is below
// residual (m/s²).
func (m Meter) WaitFor(residual float64) (float64, error) {
	if err := errors.Join(m.Validate(), arg.Between("survey.Meter.WaitFor", "residual", residual, 1e-15, 1, "acceleration in m/s²")); err != nil {
		return 0, err
	}
	return math.Max(0, m.RecoveryTime*math.Log(math.Max(math.Abs(m.RecoveryAmplitude)/residual, 1))), nil
}

// A Job is what all readings of a survey have in common.
type Job struct {
	Meter    Meter
	Stations []Station
	// Factor is the gravimetric factor, usually earth.GravimetricFactor, 1.16
	// (P. Melchior, The Tides of the Planet Earth, 1983). 0 is refused, so that a
	// factor that was forgotten leaves no tide in unseen, but for one case: with
	// Permanent earth.TideFree it leaves all of the tide in: for a meter that subtracts it
	// itself (subtracting it twice is as bad as not at all), or to see what that does.
	Factor    float64
	Permanent earth.PermanentTide
	// Admittance is gravity per pressure, m/s² per Pa, usually
	// earth.PressureAdmittance; 0 leaves air pressure alone.
	Admittance float64
}

// A Reduced reading stands beside the corrections that were added to it, all
// in m/s².
type Reduced struct {
	Reading
	Raw      float64 // by table and scale factor
	Tide     float64
	Tilt     float64
	Height   float64 // from the sensor down to the mark
	Air      float64
	Water    float64
	Recovery float64
	Value    float64  // Raw and all corrections
	UValue   float64  // standard uncertainty of the reading alone: neither of the scale factor nor of the corrections
	Remarks  []string // what may be right about the reading and is more often a slip: see [Job.Reduce]
}

// TiltCorrection is what a meter off level by level and crossLevel (rad) has
// lost, g (1 − cos ε cos χ), m/s².
func TiltCorrection(g, level, crossLevel float64) (float64, error) {
	const fn = "survey.TiltCorrection"
	if err := errors.Join(
		arg.Between(fn, "g", g, 0, 100, "gravity in m/s²"),
		arg.Between(fn, "level", level, -0.2, 0.2, "angle in rad"),
		arg.Between(fn, "crossLevel", crossLevel, -0.2, 0.2, "angle in rad"),
	); err != nil {
		return 0, err
	}
	a, b := math.Sin(level/2), math.Sin(crossLevel/2)
	// 1 − cos ε cos χ without the loss of digits.
	return g * 2 * (a*a + b*b - 2*a*a*b*b), nil
}

// WaterCorrection is minus the attraction of a water table that has risen by
// rise (m) in ground of this porosity (a share) beneath the sensor, m/s², as an
// endless slab: −2πG 1000 porosity × rise, −4.2 nm/s² for 1 cm at 100 %. The
// porosity is what of the ground the water fills and leaves again, which is less
// than all pores.
func WaterCorrection(rise, porosity float64) (float64, error) {
	const fn = "survey.WaterCorrection"
	if err := errors.Join(
		arg.Between(fn, "rise", rise, -1000, 1000, "height in m"),
		arg.Between(fn, "porosity", porosity, 0, 1, "share (per cent are too large by 100)"),
	); err != nil {
		return 0, err
	}
	return -2 * math.Pi * gravlab.G * 1000 * porosity * rise, nil
}

func (j Job) station(name string) (Station, bool) {
	for _, s := range j.Stations {
		if s.Name == name {
			return s, true
		}
	}
	return Station{}, false
}

func (j Job) checkFactor() error {
	const fn = "survey.Job"
	if j.Factor == 0 && j.Permanent != earth.TideFree {
		return arg.Bad(fn, "Factor", 0, fmt.Sprintf("the gravimetric factor, usually earth.GravimetricFactor, %g; to leave the tide in, 0 with Permanent earth.TideFree", earth.GravimetricFactor))
	}
	return arg.Between(fn, "Factor", j.Factor, 0, 2, "gravimetric factor")
}

// Validate reports what cannot be used.
func (j Job) Validate() error {
	const fn = "survey.Job"
	err := errors.Join(j.Meter.Validate(),
		arg.AtLeast(fn, "Stations", len(j.Stations), 1),
		j.checkFactor(),
		arg.Between(fn, "Admittance", j.Admittance, -1e-9, 1e-9, "admittance in m/s² per Pa"))
	seen := map[string]bool{}
	for i, s := range j.Stations {
		if s.Name == "" {
			err = errors.Join(err, arg.Bad(fn, fmt.Sprintf("name of station %d of %d", i+1, len(j.Stations)), `""`, "a name"))
		} else if seen[s.Name] {
			err = errors.Join(err, arg.Bad(fn, "Stations", "with two of the name "+s.Name, "no name twice"))
		}
		seen[s.Name] = true
		if bad := errors.Join(s.Site.Validate(), checkGround(fn, "Site.Height", s.Site.Height),
			arg.Between(fn, "Gradient", s.Gradient, -1e-5, 0, "gradient in 1/s², negative (mGal/m are too large by 1e5)")); bad != nil {
			err = errors.Join(err, fmt.Errorf("station %s: %w", s.Name, bad))
		}
	}
	return err
}

// Ground lies between these heights, m: Challenger Deep is 10,994 m below the sea
// (J. V. Gardner et al., Marine Geodesy 37, 1–13, 2014) and Chomolungma 8849 m above
// it (2020), from memory; either is moved by up to 110 m when heights count from the
// ellipsoid (EGM2008 has geoids from −107 to 86 m, from memory).
const lowestGround, highestGround = -11200.0, 9000.0

// checkGround refuses what cannot be a height of ground in m.
func checkGround(fn, name string, h float64) error {
	what := "height of ground in m"
	if h > highestGround && 0.3048*h < highestGround {
		what += fmt.Sprintf(" (did you mean %.1f m, from feet?)", 0.3048*h)
	}
	return arg.Between(fn, name, h, lowestGround, highestGround, what)
}

// Reduce turns readings, in any order of stations but rising in time, into
// m/s² at the marks with every correction beside them. An unknown station, a
// time out of order and a reading without uncertainty are errors.
//
// What may be right and is more often a slip is in Reduced.Remarks, and
// [Adjustment].Remarks collects it with the place:
//   - a station whose latitude, longitude and height are all 0;
//   - a level beyond 5 mrad;
//   - a pressure more than 6000 Pa off the standard atmosphere at the height of the
//     station (feet for metres, pressure at sea level): nothing else in a field book
//     says anything about that height;
//   - a sensor height without a gradient;
//   - a water table that moves by more than 15 m;
//   - a clock, other than UTC, more than four hours off the mean time of the
//     longitude (degrees for radians, a sign).
func (j Job) Reduce(readings []Reading) ([]Reduced, error) {
	const fn = "survey.Job.Reduce"
	if err := errors.Join(j.Validate(), arg.AtLeast(fn, "readings", len(readings), 1)); err != nil {
		return nil, err
	}
	reduced := make([]Reduced, len(readings))
	for i, r := range readings {
		s, known := j.station(r.Station)
		if !known {
			return nil, arg.Bad(fn, "station of the reading at "+moment(r.Time), strconv.Quote(r.Station), "the name of a station of the job")
		}
		if i > 0 && !r.Time.After(readings[i-1].Time) {
			return nil, arg.Bad(fn, "time of the reading of "+r.Station, moment(r.Time), "a time after the reading before it, "+readings[i-1].place())
		}
		if err := errors.Join(
			arg.Between(fn, "U of "+r.place(), r.U, 1e-12, 1e6, "standard uncertainty in counter units"),
			arg.Between(fn, "SensorHeight of "+r.place(), r.SensorHeight, -2, 10, "height of the sensor above the mark in m"),
			arg.Between(fn, "Settled of "+r.place(), r.Settled, 0, 1e9, "time in s"),
		); err != nil {
			return nil, err
		}
		out, err := j.reduce(s, r)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", r.place(), err)
		}
		reduced[i] = out
	}
	return reduced, nil
}

// reduce is Reduce for one reading.
func (j Job) reduce(s Station, r Reading) (out Reduced, err error) {
	raw, perUnit, err := j.Meter.gravity(r.Counter)
	if err != nil {
		return out, err
	}
	out = Reduced{Reading: r, Raw: raw, UValue: r.U * math.Abs(perUnit)}
	g, err := earth.GRS80.NormalGravity(s.Site.Lat, s.Site.Height)
	if err != nil {
		return out, err
	}
	if out.Tilt, err = TiltCorrection(g, r.Level, r.CrossLevel); err != nil {
		return out, err
	}
	if s.Site == (earth.Site{}) {
		out.Remarks = append(out.Remarks, "the station has no place: its latitude, longitude and height are all 0")
	}
	if off := math.Hypot(r.Level, r.CrossLevel); off > steep {
		out.Remarks = append(out.Remarks, fmt.Sprintf("the meter was %.2g rad off level, which is a correction of %s; is the level in radians?", off, sizeText(out.Tilt)))
	}
	if out.Tide, err = s.Site.TideCorrection(r.Time, j.Factor, j.Permanent); err != nil {
		return out, err
	}
	if r.Pressure != 0 && j.Admittance != 0 {
		normal, err := earth.NormalPressure(math.Min(math.Max(s.Site.Height, -2000), 11000))
		if err != nil {
			return out, err
		}
		if out.Air, err = earth.PressureCorrection(r.Pressure, normal, j.Admittance); err != nil {
			return out, err
		}
		if math.Abs(r.Pressure-normal) > deepLow && s.Site.Height > -500 {
			// To a kPa, so that it is told once for a station.
			out.Remarks = append(out.Remarks, fmt.Sprintf("the pressure is %.0f kPa %s that of the standard atmosphere at the station's height, %.1f m; is the height in metres, and the pressure that of the place and not of the sea?",
				math.Abs(r.Pressure-normal)/1000, map[bool]string{true: "above", false: "below"}[r.Pressure > normal], s.Site.Height))
		}
	}
	if out.Water, err = WaterCorrection(s.WaterRise, s.Porosity); err != nil {
		return out, err
	}
	if math.Abs(s.WaterRise) > flood {
		out.Remarks = append(out.Remarks, fmt.Sprintf("the water table has risen by %g m; is that in metres?", s.WaterRise))
	}
	out.Height = -s.Gradient * r.SensorHeight
	if s.Gradient == 0 && r.SensorHeight != 0 {
		out.Remarks = append(out.Remarks, fmt.Sprintf("the sensor was %g m above the mark, but the station has no gradient to bring the reading down (-3.086e-6 1/s² is the normal one)", r.SensorHeight))
	}
	if off := clockOff(r.Time, s.Site.Lon); off > farClock {
		out.Remarks = append(out.Remarks, fmt.Sprintf("the clock (%s) is %.0f h off the mean time of the longitude %.1f°; is the longitude in radians, and east positive?", r.Time.Format("MST"), off.Hours(), s.Site.Lon*180/math.Pi))
	}
	if j.Meter.RecoveryTime > 0 {
		out.Recovery = -j.Meter.RecoveryAmplitude * math.Exp(-r.Settled/j.Meter.RecoveryTime)
	}
	out.Value = out.Raw + out.Tide + out.Tilt + out.Height + out.Air + out.Water + out.Recovery
	return out, nil
}

// clockOff is by how much the zone of a time differs from the mean time of a
// longitude (rad), either way round the Earth. UTC is no zone and differs from
// none.
func clockOff(at time.Time, lon float64) time.Duration {
	name, offset := at.Zone()
	if name == "UTC" {
		return 0
	}
	hours := math.Remainder(float64(offset)/3600-lon*12/math.Pi, 24)
	return time.Duration(math.Abs(hours) * float64(time.Hour))
}
