package quantity

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/unit"
)

// A Dimension is a product of powers of the base dimensions of gonum/unit:
// those of the SI and the angle. Dimensions are equal when == says so. Powers
// may be halves, for amplitude densities such as m/s²/√Hz. The zero value is
// the dimension of a pure number.
type Dimension struct {
	twice [unit.AngleDim + 1]int16 // twice the power of each unit.Dimension
}

// Dimensions that the models of this module use.
var (
	One          = Dimension{}
	Length       = base(unit.LengthDim)
	Mass         = base(unit.MassDim)
	Time         = base(unit.TimeDim)
	Angle        = base(unit.AngleDim)
	Frequency    = One.times(Time, -2)         // 1/s
	Acceleration = Length.times(Time, -4)      // m/s²
	Force        = Mass.times(Acceleration, 2) // kg·m/s²
	// Gradient is that of a gravity gradient, 1/s².
	Gradient = Frequency.times(Frequency, 2)
	// Density is that of mass per volume, kg/m³.
	Density = Mass.times(Length, -6)
)

// base returns a base dimension. DimensionOf(unit.Length(1)) and its like would
// do, and link all that gonum/unit can write about each of its types.
func base(b unit.Dimension) Dimension {
	var d Dimension
	d.twice[b] = 2
	return d
}

// DimensionOf returns the dimension of a value of gonum/unit.
func DimensionOf(v unit.Uniter) Dimension {
	var d Dimension
	for base, power := range v.Unit().Dimensions() {
		if int(base) < len(d.twice) {
			d.twice[base] = int16(2 * power)
		}
	}
	return d
}

// Dimensions returns d as gonum/unit has it; ok is false when a power is a
// half, which gonum/unit cannot express.
func (d Dimension) Dimensions() (dims unit.Dimensions, ok bool) {
	dims = unit.Dimensions{}
	for base, twice := range d.twice {
		if twice%2 != 0 {
			return nil, false
		}
		if twice != 0 {
			dims[unit.Dimension(base)] = int(twice) / 2
		}
	}
	return dims, true
}

// String writes d in base units, such as "kg·m²·s⁻²", and "1" for a number.
func (d Dimension) String() string {
	var parts []string
	for _, base := range []unit.Dimension{unit.MassDim, unit.LengthDim, unit.TimeDim, unit.CurrentDim,
		unit.TemperatureDim, unit.MoleDim, unit.LuminousIntensityDim, unit.AngleDim} {
		if twice := int(d.twice[base]); twice != 0 {
			parts = append(parts, base.String()+powerText(twice))
		}
	}
	if len(parts) == 0 {
		return "1"
	}
	return strings.Join(parts, "·")
}

// times returns d times e to the power twice/2.
func (d Dimension) times(e Dimension, twice int) Dimension {
	for base := range d.twice {
		d.twice[base] += int16(int(e.twice[base]) * twice / 2)
	}
	return d
}

// withoutAngle returns d with the power of the angle left out.
func (d Dimension) withoutAngle() Dimension {
	d.twice[unit.AngleDim] = 0
	return d
}

// powerText writes a power, given as twice its value, as superscript; nothing for 1.
func powerText(twice int) string {
	switch {
	case twice == 2:
		return ""
	case twice%2 == 0:
		return superscript(fmt.Sprint(twice / 2))
	}
	return fmt.Sprintf("^(%d/2)", twice)
}

var superscripts = strings.NewReplacer("0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹", "-", "⁻")

func superscript(s string) string { return superscripts.Replace(s) }

var (
	current     = base(unit.CurrentDim)
	temperature = base(unit.TemperatureDim)
	amount      = base(unit.MoleDim)
)
