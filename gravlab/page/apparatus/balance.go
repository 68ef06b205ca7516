package apparatus

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/torsion"
)

// balanceTurn is how many times larger the turn of the beam is drawn where there is
// room for it.
const balanceTurn = 20

var balance = Scene{
	ID: "balance", Title: "The torsion balance", Labs: []string{"01"},
	Controls: []Control{
		{ID: "d", Label: "distance between centres d", Unit: "mm", Min: 66, Max: 120, Step: 1, Start: 75},
		{ID: "M", Label: "large mass M", Unit: "kg", Min: 1, Max: 5, Step: 0.1, Start: 4},
		{ID: "b", Label: "arm b", Unit: "mm", Min: 90, Max: 150, Step: 1, Start: 120},
		{ID: "kappa", Label: "torsion constant κ", Unit: "nN·m/rad", Min: 80, Max: 600, Step: 5, Start: 165},
		{ID: "decay", Label: "swings until the amplitude falls to 1/e", Unit: "", Min: 0.3, Max: 10, Step: 0.1, Start: 3},
	},
	Speed:  60,
	Record: &Record{Number: "angle", Column: "angle", Every: 10},
	Note:   fmt.Sprintf("Seen from above, to scale. The rotation of the beam is exaggerated %d times, or less where the spheres would meet in the picture, and time runs 60 times faster.", balanceTurn),
	view:   viewBalance,
}

func viewBalance(set map[string]float64, t float64) (State, error) {
	b := torsion.Skelmire()
	b.Distance, b.LargeMass, b.Arm, b.Kappa = set["d"]/1000, set["M"], set["b"]/1000, set["kappa"]*1e-9
	b.LargeRadius = math.Cbrt(3 * b.LargeMass / (4 * math.Pi * gravlab.LeadDensity))
	b.Clearance, b.InLine = 0, 0
	if touch := b.SmallRadius + b.LargeRadius + 0.001; b.Distance < touch {
		return State{}, fmt.Errorf("spheres of this size touch: take a distance above %.0f mm, or less mass", 1000*touch)
	}
	inertia, err := b.Inertia()
	if err != nil {
		return State{}, err
	}
	period, err := b.Period(torsion.Plus)
	if err != nil {
		return State{}, err
	}
	b.Damping = 2 * inertia / (period * set["decay"])
	rest, err := b.Deflection()
	if err != nil {
		return State{}, err
	}
	swing, err := b.Swing()
	if err != nil {
		return State{}, err
	}
	theta, err := swing.Angle(t)
	if err != nil {
		return State{}, err
	}
	turn, err := exaggeration(b, swing)
	if err != nil {
		return State{}, err
	}
	torque, err := b.Torque(0, torsion.Plus)
	if err != nil {
		return State{}, err
	}

	arm, d, small := 1000*b.Arm, 1000*b.Distance, 1000*b.SmallRadius // mm
	drawn := turn * theta
	x, y := arm*math.Cos(drawn), -arm*math.Sin(drawn) // y is down, the turn is counter-clockwise
	s := State{
		View: [4]float64{-230, -180, 460, 390},
		Numbers: []Number{
			number("time", "time since the spheres were moved", t, "s"),
			number("angle", "present angle of the beam", 1e3*theta, "mrad"),
			number("rest", "rest angle", 1e3*rest, "mrad"),
			number("period", "period", period, "s"),
			number("force", "pull of one near pair", 1e9*gravlab.G*b.SmallMass*b.LargeMass/(b.Distance*b.Distance), "nN"),
			number("torque", "torque at θ = 0", 1e12*torque, "pN·m"),
			number("turn", "rotation exaggerated", turn, "times"),
		},
		Says: fmt.Sprintf("%s s after the large spheres were moved the beam is at %s mrad; its rest angle is %s mrad.", digits(t), digits(1e3*theta), digits(1e3*rest)),
	}
	// Lines end at the small spheres, so that their letters can be read.
	zero, beam := arm-small-4, 1-small/arm
	s.Shapes = append(s.Shapes,
		line("guide", -zero, 0, zero, 0),
		line("support", -beam*x, -beam*y, beam*x, beam*y), circle("support", 0, 0, 3, ""))
	for _, side := range []float64{1, -1} {
		s.Shapes = append(s.Shapes,
			circle("mass", side*arm, -side*d, 1000*b.LargeRadius, "M"),
			circle("sensor", side*x, side*y, small, "m"))
	}
	s.Drags = []Drag{
		dragDown("d", [4]float64{30, -180, 230, 0}, -120, -66, 120, 66),
		dragDown("d", [4]float64{-230, 0, -30, 180}, 66, 120, 66, 120),
	}
	s.Shapes = append(s.Shapes, line("plain", -220, 200, -120, 200), label(-170, 194, "100 mm"))
	return s, nil
}

// exaggeration is how many times larger the turn of the beam is drawn: balanceTurn,
// or what leaves the spheres a gap when the beam swings farthest. A swing that brings
// the spheres together is an error.
func exaggeration(b torsion.Balance, swing torsion.Swing) (float64, error) {
	limit, err := b.SnapIn()
	if err != nil {
		return 0, err
	}
	// The first turning point, where it swings; the rest, where it creeps.
	farthest := swing.Equilibrium
	period, err := swing.Period()
	if err != nil {
		return 0, err
	}
	if !math.IsInf(period, 1) {
		angle, err := swing.Angle(period / 2)
		if err != nil {
			return 0, err
		}
		farthest = math.Max(farthest, angle)
	}
	room := 0.97 * limit.TouchAngle
	if farthest > room {
		return 0, fmt.Errorf("the swing would bring the spheres together: take a larger distance or torsion constant, less mass, or fewer swings until the amplitude falls to 1/e")
	}
	return math.Min(balanceTurn, room/farthest), nil
}
