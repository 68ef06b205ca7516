package survey

import (
	"errors"
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/arg"
)

// A HeightKind says from where heights count. It has no default: 30 m of geoid
// are 9.3 mGal of free air.
type HeightKind int

const (
	// HeightUnstated is refused.
	HeightUnstated HeightKind = iota
	// Ellipsoidal heights, from satellite positioning, give a disturbance.
	Ellipsoidal
	// Orthometric heights, from levelling, count from the geoid and give an anomaly.
	Orthometric
)

func (k HeightKind) String() string {
	switch k {
	case Ellipsoidal:
		return "ellipsoidal"
	case Orthometric:
		return "orthometric"
	}
	return "not stated"
}

// A Plate is the rock between the station and the datum.
type Plate int

const (
	NoPlate      Plate = iota // free air only
	FlatPlate                 // the infinite slab
	RoundedPlate              // the spherical cap out to 166.735 km
)

func (p Plate) String() string {
	switch p {
	case NoPlate:
		return "none (free air)"
	case FlatPlate:
		return "infinite slab"
	case RoundedPlate:
		return "spherical cap to 166.735 km"
	}
	return "unknown"
}

// A Reduction says how gravity becomes an anomaly.
type Reduction struct {
	Ellipsoid  earth.Ellipsoid
	Heights    HeightKind
	Plate      Plate
	Density    float64 // of plate and terrain, kg/m³; 0 only with NoPlate
	Atmosphere bool    // take the air above into account
}

// An Anomaly is gravity less what normal gravity, height, air and rock make of
// it. All in m/s².
type Anomaly struct {
	Name    string  // what it is by the heights and the plate, e.g. "Bouguer disturbance"
	Normal  float64 // normal gravity at the height of the station
	FreeAir float64 // observed, with the air, less Normal
	Air     float64 // atmospheric correction
	Rock    float64 // effect of the plate, subtracted
	Terrain float64 // terrain correction, added
	Value   float64
	// Remark tells of a size that is rare on the Earth, and more often a slip; "" for
	// most: see [Reduction.At].
	Remark string
}

// Anomalies of either kind lie within rare everywhere but on the highest mountains
// and plateaus (Bouguer values of Tibet come to about -600 mGal), on volcanic islands
// and on the floor of the deep sea (-350 mGal of free air at 4 km without the water
// above taken into account), and within impossible there as well, where the deepest
// trench without any plate makes about -1250 mGal (from memory and by the models
// here). Latitude and longitude exchanged are off by up to 5200 mGal.
const rare, impossible = 500 * gravlab.MilliGal, 1500 * gravlab.MilliGal

// Validate reports what cannot be used.
func (r Reduction) Validate() error {
	const fn = "survey.Reduction"
	err := r.Ellipsoid.Validate()
	if r.Heights != Ellipsoidal && r.Heights != Orthometric {
		err = errors.Join(err, arg.Bad(fn, "Heights", r.Heights.String(), "Ellipsoidal or Orthometric: heights above what?"))
	}
	if r.Plate < NoPlate || r.Plate > RoundedPlate {
		err = errors.Join(err, arg.Bad(fn, "Plate", int(r.Plate), "NoPlate, FlatPlate or RoundedPlate"))
	}
	if r.Plate != NoPlate && r.Density == 0 {
		return errors.Join(err, arg.Bad(fn, "Density", 0, "the density of the rock in kg/m³, above 0 (2670 is usual), or NoPlate for a free-air anomaly"))
	}
	return errors.Join(err, checkRock(fn, "Density", r.Density))
}

// At reduces gravity g (m/s²) of a station at geodetic latitude lat (rad) and
// height h (m, of the stated kind), with a terrain correction (m/s²; 0 where it
// is flat or not made):
//
//	g + air − γ(φ,h) − plate + terrain
//
// With orthometric heights normal gravity is taken at h above the ellipsoid,
// which makes it an anomaly. Below the datum (h < 0) the plate's effect is
// negative, and a rounded one is taken as flat.
//
// A free-air or final value beyond 1500 mGal is refused: the latitude is another
// station's, or the longitude; the height is in feet; or g belongs to another datum.
// Beyond 500 mGal Anomaly.Remark tells of it.
func (r Reduction) At(g, lat, h, terrain float64) (Anomaly, error) {
	const fn = "survey.Reduction.At"
	if err := errors.Join(r.Validate(),
		arg.Between(fn, "g", g, 9, 10.5, "gravity in m/s² (mGal are too large by 1e5)"),
		arg.Between(fn, "h", h, -1e4, 1e4, "height in m"),
		arg.Between(fn, "terrain", terrain, -1e-2, 1e-2, "correction in m/s²"),
	); err != nil {
		return Anomaly{}, err
	}
	a := Anomaly{Terrain: terrain}
	var err error
	if a.Normal, err = r.Ellipsoid.NormalGravity(lat, h); err != nil {
		return Anomaly{}, err
	}
	if r.Atmosphere {
		if a.Air, err = earth.Atmosphere(math.Max(h, -500)); err != nil {
			return Anomaly{}, err
		}
	}
	switch {
	case r.Plate == RoundedPlate && h > 0:
		a.Rock, err = earth.BouguerCap(r.Density, h).Effect()
	case r.Plate != NoPlate:
		a.Rock = 2 * math.Pi * gravlab.G * r.Density * h
	}
	if err != nil {
		return Anomaly{}, err
	}
	a.FreeAir = g + a.Air - a.Normal
	a.Value = a.FreeAir - a.Rock + terrain
	for _, v := range []float64{a.FreeAir, a.Value} {
		size := fmt.Sprintf("an anomaly of %.1f mGal", v/gravlab.MilliGal)
		const slips = "are latitude and longitude exchanged, is the height in feet, is g on the datum of the base?"
		if math.Abs(v) > impossible {
			return Anomaly{}, arg.Bad(fn, "g", fmt.Sprintf("%.7f m/s² at latitude %.4f° and %.1f m, which makes %s", g, lat*180/math.Pi, h, size), fmt.Sprintf("anomalies of at most %.0f mGal in size; %s", impossible/gravlab.MilliGal, slips))
		}
		if math.Abs(v) > rare {
			a.Remark = fmt.Sprintf("%s at latitude %.4f° and %.1f m is rare on the Earth: %s", size, lat*180/math.Pi, h, slips)
		}
	}
	a.Name = map[bool]string{true: "free-air ", false: "Bouguer "}[r.Plate == NoPlate] + map[bool]string{true: "disturbance", false: "anomaly"}[r.Heights == Ellipsoidal]
	return a, nil
}

// PerMetre is how much the anomaly grows for a metre of height too much, 1/s²,
// at geodetic latitude lat (rad): free air less plate, 1.97e-6 (0.197 mGal/m)
// with a slab of 2670 kg/m³. A rounded plate is taken as flat here, good to 1 % of
// the result.
func (r Reduction) PerMetre(lat float64) (float64, error) {
	if err := r.Validate(); err != nil {
		return 0, err
	}
	gradient, err := r.Ellipsoid.VerticalGradient(lat, 0)
	if err != nil {
		return 0, err
	}
	if r.Plate == NoPlate {
		return -gradient, nil
	}
	return -gradient - 2*math.Pi*gravlab.G*r.Density, nil
}
