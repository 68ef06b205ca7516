package pendulum_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/pendulum"
	"gravity.example/gravlab/sensor"
	"gravity.example/gravlab/signal"
	"gravity.example/testdata"
)

func near(t *testing.T, what string, got, want, allowed float64) {
	t.Helper()
	if !(math.Abs(got-want) <= allowed) {
		t.Errorf("%s = %.12g, want %.12g within %.2g", what, got, want, allowed)
	}
}

// swing is a pendulum of the basement laboratory.
var swing = pendulum.Pendulum{
	Bob:    pendulum.Bob{Shape: pendulum.Sphere, Mass: 18, Radius: 0.075},
	Length: 2.1, Gravity: 9.81, Amplitude: 0.35,
}

// The closed form and a numerical integration are two routes to one motion.
func TestMotionTwoRoutes(t *testing.T) {
	for _, amplitude := range []float64{1e-3, 0.35, 1.5, 3, 3.14} {
		p := swing
		p.Amplitude = amplitude
		var times []float64
		for i := range 200 {
			times = append(times, 0.05*float64(i))
		}
		closed, err := p.Angle(times)
		if err != nil {
			t.Fatal(err)
		}
		angles, _, err := p.Integrate(times, 1e-12)
		if err != nil {
			t.Fatal(err)
		}
		// Near the top errors grow as the exponential of time.
		allowed := 1e-9 * amplitude
		if amplitude > 3.1 {
			allowed = 1e-6
		}
		for i := range times {
			near(t, "angle", angles[i], closed[i], allowed)
		}
	}
}

// Energy does not change, the rate is the derivative of the angle, and the
// motion repeats after the exact period.
func TestMotionConserves(t *testing.T) {
	for _, amplitude := range []float64{0.01, 0.8, 2.5} {
		p := swing
		p.Amplitude = amplitude
		m, err := p.Motion()
		if err != nil {
			t.Fatal(err)
		}
		w := math.Pow(2*math.Pi/m.Period*gravlab.Must(pendulum.PeriodRatio(amplitude)), 2)
		energy := w * (1 - math.Cos(amplitude))
		for _, tt := range []float64{0, 0.1, 0.77, 2, 3.3, 500} {
			theta, rate := m.At(tt)
			near(t, "energy", rate*rate/2+w*(1-math.Cos(theta)), energy, 1e-11*energy)
			const h = 1e-5
			a, _ := m.At(tt + h)
			b, _ := m.At(tt - h)
			near(t, "rate", rate, (a-b)/(2*h), 1e-8*amplitude)
			c, _ := m.At(tt + m.Period)
			near(t, "one period on", c, theta, 1e-10*amplitude)
			d, _ := m.At(-tt)
			near(t, "backwards", d, theta, 1e-13*amplitude)
		}
		quarter, _ := m.At(m.Period / 4)
		near(t, "a quarter of the period", quarter, 0, 1e-14)
	}
}

// A general-purpose library gives the same complete integral.
func TestPeriodRatioAgainstLibrary(t *testing.T) {
	for a := 0.0; a < 3.1; a += 0.1 {
		m := math.Pow(math.Sin(a/2), 2)
		near(t, "2K/π", gravlab.Must(pendulum.PeriodRatio(a)), 2/math.Pi*mathext.CompleteK(m), 1e-13)
	}
	// Series for small swings: 1 + a²/16 + 11a⁴/3072.
	a := 0.05
	near(t, "series", gravlab.Must(pendulum.PeriodRatio(a)), 1+a*a/16+11*math.Pow(a, 4)/3072, 173*math.Pow(a, 6)/737280*1.01)
}

// Weak damping: the amplitude falls as exp(-ct/2), ln per period is cT/2.
func TestDamping(t *testing.T) {
	p := swing
	p.Amplitude, p.Damping = 0.01, 0.02
	w0 := math.Sqrt(p.Gravity * p.Bob.Mass * p.Length / gravlab.Must(p.Inertia()))
	wd := math.Sqrt(w0*w0 - p.Damping*p.Damping/4)
	period := 2 * math.Pi / wd
	n := 20.0
	x, err := p.Angle([]float64{n * period})
	if err != nil {
		t.Fatal(err)
	}
	d := gravlab.Must(pendulum.LogDecrement(p.Amplitude, x[0], n))
	near(t, "decrement", d, p.Damping*period/2, 1e-4*d)
	near(t, "quality", gravlab.Must(p.Quality()), gravlab.Must(pendulum.QualityFromDecrement(d)), 0.01*math.Pi/d)
}

// The moment of an extended bob: a thin long box is a rod; a cylinder of no
// height a disc.
func TestInertia(t *testing.T) {
	rod := pendulum.Pendulum{Length: 1, RodMass: 3, RodLength: 2, Gravity: 9.81}
	box := pendulum.Pendulum{Bob: pendulum.Bob{Shape: pendulum.Box, Mass: 3, Along: 1e-6, Across: 1e-6, Height: 2}, Length: 1, Gravity: 9.81}
	near(t, "box as a rod", gravlab.Must(box.Inertia()), gravlab.Must(rod.Inertia()), 1e-11)
	near(t, "its period", gravlab.Must(box.Period()), gravlab.Must(rod.Period()), 1e-11)
	disc := pendulum.Pendulum{Bob: pendulum.Bob{Shape: pendulum.Cylinder, Mass: 2, Radius: 0.5, Height: 1e-8}, Length: 1, Gravity: 9.81}
	near(t, "disc", gravlab.Must(disc.Inertia()), 2+2*0.25/4, 1e-12)
}

// Bodies without field of their own inside: the flux of the pull through a
// sphere around any bob is -4πGM, whatever its shape (Gauss's theorem).
func TestBobFlux(t *testing.T) {
	for _, b := range []pendulum.Bob{
		{Shape: pendulum.Sphere, Mass: 7, Radius: 0.1},
		{Shape: pendulum.Cylinder, Mass: 7, Radius: 0.06, Height: 0.3},
		{Shape: pendulum.Box, Mass: 7, Along: 0.2, Across: 0.1, Height: 0.25},
	} {
		const r = 0.5
		var flux float64
		const n, m = 40, 80
		for i := range n { // Gauss's rule in cos would do; midpoints in equal areas are plainer
			z := -1 + (float64(i)+0.5)*2/n
			for j := range m {
				phi := 2 * math.Pi * (float64(j) + 0.5) / m
				s := math.Sqrt(1 - z*z)
				u := r3.Vec{X: s * math.Cos(phi), Y: s * math.Sin(phi), Z: z}
				g, _, err := b.Attraction(r3.Scale(r, u))
				if err != nil {
					t.Fatal(err)
				}
				flux += r3.Dot(g, u) * 4 * math.Pi * r * r / (n * m)
			}
		}
		want := -4 * math.Pi * gravlab.G * b.Mass
		near(t, "flux", flux/want, 1, 1e-3) // midpoints: 1/(24 n²) of the curvature
	}
}

// Close by, the two sides of the joint with the far field, and a cube that is
// nearly a sphere.
func TestBobFarField(t *testing.T) {
	for _, b := range []pendulum.Bob{
		{Shape: pendulum.Cylinder, Mass: 7, Radius: 0.06, Height: 0.3},
		{Shape: pendulum.Box, Mass: 7, Along: 0.2, Across: 0.1, Height: 0.25},
	} {
		reach := 0.5 * math.Sqrt(0.2*0.2+0.1*0.1+0.25*0.25)
		if b.Shape == pendulum.Cylinder {
			reach = math.Hypot(0.06, 0.15)
		}
		n := r3.Unit(r3.Vec{X: 0.3, Y: -0.5, Z: 0.8})
		d := 1000 * reach
		near1, _, err := b.Attraction(r3.Scale(d*(1-1e-9), n))
		if err != nil {
			t.Fatal(err)
		}
		far, _, err := b.Attraction(r3.Scale(d*(1+1e-9), n))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "joint", r3.Norm(r3.Sub(far, near1))/r3.Norm(far), 0, 5e-9)
		near(t, "joint, size", r3.Norm(far)/r3.Norm(near1), math.Pow((1-1e-9)/(1+1e-9), 2), 2e-12)
	}
	cube := pendulum.Bob{Shape: pendulum.Box, Mass: 7, Along: 0.2, Across: 0.2, Height: 0.2}
	g, e, err := cube.Attraction(r3.Vec{X: 2})
	if err != nil {
		t.Fatal(err)
	}
	// A cube has no quadrupole; its next term is (size/distance)⁴.
	near(t, "cube as a point", r3.Norm(g)/(gravlab.G*7/4), 1, 1e-4)
	if e > 1e-12*r3.Norm(g) {
		t.Errorf("error estimate %g of %g", e, r3.Norm(g))
	}
}

// On the axis of a cylinder the pull has a closed form.
func TestCylinderOnAxis(t *testing.T) {
	b := pendulum.Bob{Shape: pendulum.Cylinder, Mass: 5, Radius: 0.08, Height: 0.2}
	for _, z := range []float64{0.11, 0.2, 1} {
		g, e, err := b.Attraction(r3.Vec{Z: z})
		if err != nil {
			t.Fatal(err)
		}
		rho := b.Mass / (math.Pi * b.Radius * b.Radius * b.Height)
		a, c := z-0.1, z+0.1
		want := -2 * math.Pi * gravlab.G * rho * (b.Height + math.Hypot(a, b.Radius) - math.Hypot(c, b.Radius))
		near(t, "axis", g.Z, want, math.Max(1e-12*math.Abs(want), e))
		near(t, "sideways", math.Hypot(g.X, g.Y), 0, 1e-25)
	}
}

// A box in all six attitudes: turning box and station together changes nothing.
func TestBoxTurned(t *testing.T) {
	at := r3.Vec{X: 0.3, Y: -0.2, Z: 0.4}
	g, _, err := pendulum.Bob{Shape: pendulum.Box, Mass: 2, Along: 0.1, Across: 0.2, Height: 0.3}.Attraction(at)
	if err != nil {
		t.Fatal(err)
	}
	h, _, err := pendulum.Bob{Shape: pendulum.Box, Mass: 2, Along: 0.3, Across: 0.1, Height: 0.2}.Attraction(r3.Vec{X: at.Z, Y: at.X, Z: at.Y})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "turned box", r3.Norm(r3.Sub(r3.Vec{X: h.Y, Y: h.Z, Z: h.X}, g))/r3.Norm(g), 0, 1e-12)
}

// Harmonics of places with a symmetry: even lines only across the swing, odd
// lines only along it; all of them elsewhere.
func TestEvenAndOddLines(t *testing.T) {
	down, along, across := r3.Vec{Z: 1}, r3.Vec{X: 1}, r3.Vec{Y: 1}
	below, abeam := r3.Vec{Z: 2.7}, r3.Vec{Y: 0.9, Z: 2.0}
	for _, c := range []struct {
		name   string
		s      pendulum.Station
		parity int // of the lines that are left
	}{
		{"below, vertical", pendulum.Station{At: below, Axis: down}, 0},
		{"abeam, across", pendulum.Station{At: abeam, Axis: across}, 0},
		{"abeam, vertical", pendulum.Station{At: abeam, Axis: down}, 0},
		{"below, along", pendulum.Station{At: below, Axis: along}, 1},
		{"abeam, along", pendulum.Station{At: abeam, Axis: along}, 1},
	} {
		h := gravlab.Must(swing.Harmonics(c.s, 6))
		size := math.Max(math.Abs(h[1]), math.Abs(h[2]))
		if size < 1e-11 {
			t.Errorf("%s: nothing at all", c.name)
		}
		for n := 1; n <= 6; n++ {
			if n%2 == c.parity {
				if math.Abs(h[n]) < 1e-9*size {
					t.Errorf("%s: line %d is missing", c.name, n)
				}
			} else if math.Abs(h[n]) > 1e-12*size {
				t.Errorf("%s: line %d is %.3g of %.3g", c.name, n, h[n], size)
			}
		}
	}
	h := gravlab.Must(swing.Harmonics(pendulum.Station{At: r3.Vec{X: 0.5, Y: 0.4, Z: 2.4}, Axis: r3.Vec{X: 0.6, Z: 0.8}}, 3))
	for n := 1; n <= 3; n++ {
		if math.Abs(h[n]) < 1e-12 {
			t.Errorf("away from symmetry: line %d is missing", n)
		}
	}
}

// The lines, summed up again, are the series; a lock-in on the series finds them.
func TestHarmonicsMakeTheSeries(t *testing.T) {
	s := pendulum.Station{At: r3.Vec{X: 0.4, Y: 0.5, Z: 2.5}, Axis: r3.Vec{Z: 1}}
	h := gravlab.Must(swing.Harmonics(s, 40))
	period := gravlab.Must(swing.Period())
	var times []float64
	for i := range 400 {
		times = append(times, period*float64(i)/100)
	}
	x := gravlab.Must(swing.Series(times, s))
	for i, tt := range times {
		sum := h[0]
		for n := 1; n <= 40; n++ {
			sum += h[n] * math.Cos(2*math.Pi*float64(n)*tt/period)
		}
		near(t, "sum of lines", sum, x[i], 1e-19)
	}
	l := gravlab.Must(signal.SineFit(x, 100/period, 1/period))
	near(t, "lock-in", l.Amplitude*math.Cos(l.Phase), h[1], 1e-17)
}

// The force on the support is what the bob's acceleration needs (numerical
// derivative of its place), horizontally at odd lines, vertically at even ones;
// and the tension is along the string.
func TestReaction(t *testing.T) {
	p := swing
	p.Bob.Shape = pendulum.Point
	m, err := p.Motion()
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []float64{0, 0.3, 0.9, 1.4} {
		theta, rate := m.At(tt)
		fx, fz, err := p.Reaction(theta, rate)
		if err != nil {
			t.Fatal(err)
		}
		const h = 1e-3
		place := func(tt float64) r3.Vec {
			theta, _ := m.At(tt)
			return p.Place(theta)
		}
		acc := r3.Scale(1/(h*h), r3.Add(r3.Sub(place(tt+h), r3.Scale(2, place(tt))), place(tt-h)))
		near(t, "horizontal", fx, -p.Bob.Mass*acc.X, 1e-4)
		near(t, "vertical", fz, p.Bob.Mass*(p.Gravity-acc.Z), 1e-4)
		near(t, "along the string", fx*math.Cos(theta)-fz*math.Sin(theta), 0, 1e-11)
	}
	hor, ver, err := p.ReactionHarmonics(4)
	if err != nil {
		t.Fatal(err)
	}
	for n := range hor {
		small, large := hor[n], ver[n]
		if n%2 == 1 {
			small, large = ver[n], hor[n]
		}
		if math.Abs(small) > 1e-11 || n > 0 && math.Abs(large) < 1e-3 {
			t.Errorf("line %d: horizontal %.3g N, vertical %.3g N", n, hor[n], ver[n])
		}
	}
	// Small swings: m g θ0 at 1/T.
	p.Amplitude = 1e-3
	hor, _, _ = p.ReactionHarmonics(1)
	near(t, "small swings", hor[1], p.Bob.Mass*p.Gravity*1e-3, 1e-6*hor[1])
}

// The trap: below the pivot, axis along the swing, the tilt is in phase with the
// pull, of the same sign, and thousands of times larger. Beyond the end of the
// swing the sign turns; the tilt does not fall off with distance, the pull does;
// a foundation of its own removes the tilt, and a vertical axis does not feel it.
func TestFloorAgainstPull(t *testing.T) {
	floor := pendulum.Floor{RockingStiffness: 4e7, PivotHeight: 2.4, Share: 1}
	at := func(x, z float64, axis r3.Vec, f pendulum.Floor) pendulum.Effect {
		e, err := swing.Compare(pendulum.Station{At: r3.Vec{X: x, Z: z}, Axis: axis}, f, 2)
		if err != nil {
			t.Fatal(err)
		}
		return e[0]
	}
	along := r3.Vec{X: 1}
	below := at(0, 2.7, along, floor)
	if !(below.Ratio > 1e3) {
		t.Errorf("below: tilt over pull is %g, want more than 1000 and positive", below.Ratio)
	}
	beyond := at(1.6, 2.1, along, floor)
	if !(beyond.Ratio < -1e3) {
		t.Errorf("beyond the end: %g, want less than -1000", beyond.Ratio)
	}
	far := at(0, 5.4, along, floor)
	near(t, "tilt farther away", far.Floor, below.Floor, 1e-18)
	if !(math.Abs(far.Pull) < 0.2*math.Abs(below.Pull)) {
		t.Errorf("the pull hardly falls off: %g and %g", below.Pull, far.Pull)
	}
	apart := floor
	apart.Share = 0
	near(t, "another foundation", at(0, 2.7, along, apart).Floor, 0, 0)
	near(t, "vertical axis", at(0, 2.7, r3.Vec{Z: 1}, floor).Floor, 0, 0)
	// 700 N a metre off the middle: larger than any pull in the room.
	near(t, "somebody on the slab", gravlab.Must(floor.LoadTilt(700, 1, 9.81)), 700*9.81/4e7, 1e-12)
	sinking := pendulum.Floor{VerticalStiffness: 1e9, Share: 1}
	e, err := swing.Compare(pendulum.Station{At: r3.Vec{Z: 2.7}, Axis: r3.Vec{Z: 1}}, sinking, 2)
	if err != nil {
		t.Fatal(err)
	}
	if e[0].Floor != 0 && math.Abs(e[0].Floor) > 1e-12*math.Abs(e[1].Floor) || e[1].Floor == 0 {
		t.Errorf("vertical force: %g at 1/T, %g at 2/T; want 2/T only", e[0].Floor, e[1].Floor)
	}
}

// A shaker makes the floor's part alone, two bobs in antiphase the pull alone.
func TestShakerAndAntiphase(t *testing.T) {
	e := pendulum.Experiment{
		Pendulum: swing, Station: pendulum.Station{At: r3.Vec{X: 0.3, Z: 2.7}, Axis: r3.Vec{X: 1}},
		Rate: 10, Swing: 60, Floor: pendulum.Floor{RockingStiffness: 4e7, PivotHeight: 2.4, Share: 1},
	}
	times := []float64{-1, 0.4, 1.3, 2.2, 30}
	pull, floor, err := e.Signal(times)
	if err != nil {
		t.Fatal(err)
	}
	e.Shaker = true
	none, same, err := e.Signal(times)
	if err != nil {
		t.Fatal(err)
	}
	e.Shaker, e.Antiphase, e.OtherPivot = false, true, r3.Vec{Y: 3}
	both, nothing, err := e.Signal(times)
	if err != nil {
		t.Fatal(err)
	}
	for i := range times {
		near(t, "shaker's pull", none[i], 0, 0)
		near(t, "shaker's floor", same[i], floor[i], 0)
		near(t, "antiphase floor", nothing[i], 0, 0)
		if both[i] == pull[i] || math.Abs(both[i]) < 1e-12 {
			t.Errorf("antiphase pull %g, one bob %g", both[i], pull[i])
		}
	}
	near(t, "floor while held", floor[0], 0, 0)
}

// A spherical pendulum keeps energy, momentum and length, and turns where Turn
// says; nearly plane swings turn by π/2.
func TestSpherical(t *testing.T) {
	s := pendulum.Spherical{Length: 2.1, Gravity: 9.81, Theta: 0.4, Speed: 0.5}
	theta, azimuth, duration, err := s.Turn()
	if err != nil {
		t.Fatal(err)
	}
	path, err := s.Path([]float64{0, duration - 1e-4, duration, duration + 1e-4})
	if err != nil {
		t.Fatal(err)
	}
	p := path[2]
	near(t, "length", r3.Norm(p), s.Length, 1e-9)
	near(t, "polar angle", math.Acos(p.Z/r3.Norm(p)), theta, 1e-8)
	near(t, "azimuth", math.Atan2(p.Y, p.X), azimuth, 1e-8)
	near(t, "height turns", (path[3].Z-path[1].Z)/2e-4, 0, 1e-6)
	// At the other turning point the speed is known from both energy and momentum.
	v := r3.Norm(r3.Sub(path[3], path[1])) / 2e-4
	near(t, "momentum", v*math.Sin(theta), s.Speed*math.Sin(s.Theta), 1e-6)
	near(t, "energy", v*v/2-s.Gravity*s.Length*math.Cos(theta), s.Speed*s.Speed/2-s.Gravity*s.Length*math.Cos(s.Theta), 1e-6)

	small := pendulum.Spherical{Length: 2.1, Gravity: 9.81, Theta: 1e-3, Speed: 1e-3}
	_, azimuth, duration, err = small.Turn()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "small ellipse", azimuth, math.Pi/2, 1e-5)
	near(t, "a quarter period", duration, math.Pi/2*math.Sqrt(2.1/9.81), 1e-6)
	// A circle: the conical pendulum.
	cone := 0.3
	c := pendulum.Spherical{Length: 2.1, Gravity: 9.81, Theta: cone, Speed: 2 * math.Pi * 2.1 * math.Sin(cone) / gravlab.Must(pendulum.ConicalPeriod(2.1, 9.81, cone))}
	theta, _, _, err = c.Turn()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "circle", theta, cone, 1e-7)
}

// An elliptical swing draws a line at 1/T abeam, where a plane one draws none.
func TestEllipseAbeam(t *testing.T) {
	st := r3.Vec{Y: 1, Z: 2.1}
	line := func(speed float64) float64 {
		s := pendulum.Spherical{Length: 2.1, Gravity: 9.81, Theta: 0.2, Speed: speed}
		_, _, quarter, err := s.Turn()
		if err != nil {
			t.Fatal(err)
		}
		const n = 400
		times := make([]float64, n)
		for i := range times {
			times[i] = 4 * quarter * float64(i) / 100
		}
		path, err := s.Path(times)
		if err != nil {
			t.Fatal(err)
		}
		x := make([]float64, n)
		for i, p := range path {
			g, _, err := pendulum.Bob{Mass: 18}.Attraction(r3.Sub(st, p))
			if err != nil {
				t.Fatal(err)
			}
			x[i] = g.Y
		}
		l := gravlab.Must(signal.Lines(x, 100/(4*quarter), 1/(4*quarter), 2/(4*quarter)))
		return l[0].Amplitude
	}
	plane, ellipse := line(1e-5), line(0.1)
	if !(ellipse > 1e-11 && plane < 1e-3*ellipse) {
		t.Errorf("abeam at 1/T: %.3g for a plane swing, %.3g for an ellipse", plane, ellipse)
	}
}

// A person far away is a point; the pull is up when they stand higher.
func TestWalker(t *testing.T) {
	w := pendulum.Walker{Mass: 80, Height: 1.8}
	g, err := w.Attraction(r3.Vec{X: 300, Y: 400, Z: 0.9})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "far away", math.Hypot(g.X, g.Y), gravlab.G*80/(500*500), 1e-19)
	near(t, "level", g.Z, 0, 1e-25)
	x := gravlab.Must(w.Passing([]float64{-5, -1, 0, 1, 5}, 1.2, 1.5, -0.3))
	if !(x[2] < x[1] && x[1] < x[0] && x[0] < 0) || x[1] != x[3] {
		t.Errorf("passing: %g", x)
	}
}

// The constants in the code are those of the published table, and the levels
// join where the segments meet, as well as the table's two decimals allow.
func TestNoiseModels(t *testing.T) {
	for _, r := range testdata.Table("peterson1993.csv") {
		model := pendulum.LowNoise
		if r["model"] == "NHNM" {
			model = pendulum.HighNoise
		}
		lo, hi := r.Float("period_start_s"), r.Float("period_end_s")
		for _, period := range []float64{lo * (1 + 1e-9), (lo + hi) / 2, hi * (1 - 1e-9)} {
			db := 20 * math.Log10(gravlab.Must(model.Density(1/period)))
			near(t, "level", db, r.Float("A_dB")+r.Float("B_dB_per_decade")*math.Log10(period), 1e-7)
		}
	}
	for _, m := range []pendulum.NoiseModel{pendulum.LowNoise, pendulum.HighNoise, pendulum.Basement} {
		for _, band := range [][2]float64{{1e-5, 1e-3}, {0.05, 2}, {0.3, 0.45}, {3, 10}} {
			r := gravlab.Must(m.RMS(band[0], band[1]))
			q, _, err := signal.BandRMS(m.PowerDensity(), band[0], band[1])
			if err != nil {
				t.Fatal(err)
			}
			near(t, m.String()+" rms by quadrature", q, r, 1e-4*r) // the levels jump by up to 0.01 dB
		}
	}
	near(t, "basement over high model at 3 Hz", gravlab.Must(pendulum.Basement.Density(3))/gravlab.Must(pendulum.HighNoise.Density(3)), 10, 1e-12)
	near(t, "and at 0.2 Hz", gravlab.Must(pendulum.Basement.Density(0.2))/gravlab.Must(pendulum.HighNoise.Density(0.2)), 1, 1e-12)
}

// laboratory is a swing that a good pair of sensors can see in ten minutes.
func laboratory(mass float64) (pendulum.Experiment, pendulum.Analysis) {
	p := swing
	p.Bob.Mass = mass
	s := pendulum.Station{At: r3.Vec{Z: 2.6}, Axis: r3.Vec{Z: 1}}
	e := pendulum.Experiment{
		Pendulum: p, Station: s, Rate: 4, Quiet: 400, Swing: 600,
		Ground:   func(f float64) float64 { return 1e-16 / (1 + math.Pow(f/0.3, 4)) },
		OwnNoise: 2e-9, ReferenceNoise: 2e-10, Gain: 0.97,
	}
	p.Bob.Mass = 1 // what is to be found
	return e, pendulum.Analysis{Pendulum: p, Station: s, Lags: 2, Order: 6}
}

// Coverage: over many recordings with fixed seeds the stated 95 % intervals hold
// the true mass as often as they say, within the exact binomial limits.
func TestDetectionCovers(t *testing.T) {
	const trials = 1000
	e, a := laboratory(18)
	inside, sum, u := 0, 0.0, 0.0
	for i := range trials {
		r, err := e.Record(rand.New(rand.NewPCG(uint64(i), 77)))
		if err != nil {
			t.Fatal(err)
		}
		d, err := a.Detect(r)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(d.Mass-18) <= 1.96*d.UNoise {
			inside++
		}
		sum += d.Mass / trials
		u += d.UNoise / trials
	}
	// Exact binomial limits of 1000 trials at 0.95, 0.05 % left on each side.
	lo, hi := binomialLimits(trials, 0.95, 5e-4)
	if inside < lo || inside > hi {
		t.Errorf("%d of %d intervals hold the mass, want %d to %d", inside, trials, lo, hi)
	}
	near(t, "mean mass", sum, 18, 4*u/math.Sqrt(trials))
	if !(u > 0.2 && u < 3) {
		t.Errorf("uncertainty of the mass %g kg: not the experiment that was meant", u)
	}
}

// binomialLimits returns the counts between which n trials of probability p fall,
// except with probability tail on each side.
func binomialLimits(n int, p, tail float64) (lo, hi int) {
	at := func(k int) float64 { // P(X <= k)
		return mathext.RegIncBeta(float64(n-k), float64(k+1), 1-p)
	}
	for lo = 0; at(lo) <= tail; lo++ {
	}
	for hi = n; hi > 0 && 1-at(hi-1) <= tail; hi-- {
	}
	return lo, hi
}

// Without a bob the statistic is a standard normal: false alarms come as often as
// stated.
func TestDetectionFalseAlarms(t *testing.T) {
	const trials = 600
	e, a := laboratory(18)
	e.Shaker = true // no moving mass, and a floor that does not move
	above, sumSq := 0, 0.0
	for i := range trials {
		r, err := e.Record(rand.New(rand.NewPCG(uint64(i), 78)))
		if err != nil {
			t.Fatal(err)
		}
		d, err := a.Detect(r)
		if err != nil {
			t.Fatal(err)
		}
		sumSq += d.Z * d.Z / trials
		if d.FalseAlarm < 0.05 {
			above++
		}
	}
	lo, hi := binomialLimits(trials, 0.05, 5e-4)
	if above < lo || above > hi {
		t.Errorf("%d of %d empty records below a false-alarm probability of 5 %%, want %d to %d", above, trials, lo, hi)
	}
	near(t, "mean square of Z", sumSq, 1, 4*math.Sqrt(2.0/trials))
}

// The subtraction helps, the whole uncertainty is made of its parts, and the
// constant of gravitation follows from a weighed bob.
func TestDetectionParts(t *testing.T) {
	e, a := laboratory(18)
	a.UPlace, a.UAmplitude = 2e-3, 3e-3
	r, err := e.Record(rand.New(rand.NewPCG(3, 3)))
	if err != nil {
		t.Fatal(err)
	}
	d, err := a.Detect(r)
	if err != nil {
		t.Fatal(err)
	}
	if !(d.After < 0.9*d.Before) {
		t.Errorf("subtraction: from %g to %g", d.Before, d.After)
	}
	near(t, "quadrature", d.U, math.Sqrt(d.UNoise*d.UNoise+d.UPlace*d.UPlace+d.UAmplitude*d.UAmplitude+d.UG*d.UG), 1e-12)
	// A place that is wrong by its uncertainty moves the mass by about UPlace.
	// (The line that stands for the pull's size is a proxy: hence the width.)
	moved := a
	moved.Station.At.Z += a.UPlace
	wrong, err := moved.Detect(r)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mass from a wrong place", wrong.Mass-d.Mass, d.UPlace, 0.3*d.UPlace)
	if q := d.UAmplitude / d.Mass / (a.UAmplitude / swing.Amplitude); !(q > 0.05 && q < 2.5) {
		t.Errorf("exponent of the amplitude %g, want 2 for a far sensor, less close by", q)
	}
	g, u, err := d.G(18, 0.01)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "G", g/gravlab.G, d.Mass/18, 1e-12)
	if !(u/g > d.UNoise/d.Mass && u/g < 2*d.U/d.Mass) {
		t.Errorf("u(G)/G %g, u(m)/m %g", u/g, d.U/d.Mass)
	}
	if len(d.Lines) != 2 {
		t.Fatalf("%d lines", len(d.Lines))
	}
	h := gravlab.Must(e.Pendulum.Harmonics(e.Station, 2))
	near(t, "lock-in at 2/T", d.Lines[1].Amplitude*math.Cos(d.Lines[1].Phase), h[2], 5*d.Lines[1].UAmplitude)
	again, err := e.Record(rand.New(rand.NewPCG(3, 3)))
	if err != nil || again.Test[1234] != r.Test[1234] || again.Reference[77] != r.Reference[77] {
		t.Errorf("the same seed gave another recording (%v)", err)
	}
}

// With the floor's tilt in the record an axis along the swing finds a mass that
// is too large by just the ratio that Compare states.
func TestTiltFoolsTheAnalysis(t *testing.T) {
	e, a := laboratory(18)
	e.Station.Axis, a.Station.Axis = r3.Vec{X: 1}, r3.Vec{X: 1}
	e.OwnNoise, e.ReferenceNoise, e.Ground = 1e-12, 1e-12, nil
	e.Floor = pendulum.Floor{RockingStiffness: 4e7, PivotHeight: 2.4, Share: 1}
	r, err := e.Record(rand.New(rand.NewPCG(4, 4)))
	if err != nil {
		t.Fatal(err)
	}
	d, err := a.Detect(r)
	if err != nil {
		t.Fatal(err)
	}
	var pf, pp float64
	for _, x := range gravlab.Must(e.Pendulum.Compare(e.Station, e.Floor, 15)) {
		pf += x.Pull * x.Floor
		pp += x.Pull * x.Pull
	}
	near(t, "mass over true mass", d.Mass/18, 1+pf/pp, 0.02*pf/pp)
}

// The number of swings that SwingsNeeded asks for gives the ratio that was asked
// for, by the matched filter's own sum.
func TestSwingsNeeded(t *testing.T) {
	const amplitude, asd, rho = 3e-10, 2e-9, 4.0
	n := gravlab.Must(swing.SwingsNeeded(rho, amplitude, asd))
	period := gravlab.Must(swing.Period())
	h := make([]float64, int(n*period*50))
	for i := range h {
		h[i] = amplitude * math.Cos(2*math.Pi*float64(i)/50/period)
	}
	near(t, "ratio", gravlab.Must(signal.WhiteSNR(h, 50, asd*asd)), rho, 0.01)
}

func TestSensorNoise(t *testing.T) {
	s := sensor.Suspension{Mass: 1e-3, Frequency: 5, Q: 300, Temperature: 300}
	thermal := gravlab.Must(s.ThermalNoise())
	got := gravlab.Must(pendulum.SensorNoise(sensor.Budget{Suspension: s, Sources: []sensor.Noise{thermal}}, 0.3, 0.8))
	near(t, "white budget", got, thermal.Density(0.5), 1e-12*got)
}

func TestErrorsNameTheArgument(t *testing.T) {
	var bad *gravlab.ArgumentError
	p := swing
	p.Amplitude = 20
	if _, err := p.Period(); !errors.As(err, &bad) || bad.Name != "Amplitude" {
		t.Errorf("amplitude in degrees: %v", err)
	}
	p = swing
	p.Bob.Mass = -1
	if _, err := p.Period(); !errors.As(err, &bad) || bad.Name != "Mass" {
		t.Errorf("negative mass: %v", err)
	}
	if _, err := swing.Harmonics(pendulum.Station{At: swing.Place(0.1), Axis: r3.Vec{Z: 1}}, 2); err == nil {
		t.Error("a station that the bob sweeps over was accepted")
	}
	p = swing
	p.RodMass, p.RodLength = 1, 2
	if _, _, err := p.Attraction(0, r3.Vec{Z: 1}); err == nil {
		t.Error("a station on the rod was accepted")
	}
}

// A narrow ellipse turns by (3/8) a b/L² of its angle for small half axes a and b,
// from the first term of the perturbation of the harmonic swing; awkward starts
// against 50-digit quadrature of the first integrals.
func TestNarrowEllipse(t *testing.T) {
	s := pendulum.Spherical{Length: 1, Gravity: 9.81, Theta: 0.01}
	for _, b := range []float64{1e-4, 1e-7, 1e-9} {
		s.Speed = b * math.Sqrt(s.Gravity/s.Length)
		_, azimuth, _, err := s.Turn()
		if err != nil {
			t.Fatal(err)
		}
		want := 3 * math.Pi / 16 * s.Theta * b
		near(t, "turning of the ellipse", azimuth-math.Pi/2, want, 1e-4*want+1e-15)
	}
	for _, c := range []struct{ theta, speed, other, azimuth, duration float64 }{
		{3.14, 0.002, 3.8438615640580984e-7, 1.8650771885911157, 3.5807218990697366},
		{1, 1e-6, 2.1180414594398391e-7, 1.5707964680228839, 0.70745326390321486},
		{3.1415, 30, 8.9309072737388706e-5, 3.1415925087045726, 0.17990641310912751},
	} {
		s := pendulum.Spherical{Length: 1.75, Gravity: 9.81, Theta: c.theta, Speed: c.speed}
		other, azimuth, duration, err := s.Turn()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "other turning point", other, c.other, 1e-12*c.other)
		near(t, "azimuth", azimuth, c.azimuth, 1e-11)
		near(t, "duration", duration, c.duration, 1e-11)
	}
}

// Hundreds of sizes away a flat bob is its mass and quadrupole; the next term is
// 1e-11 of them there. Differences of far ends would lose 1e-10.
func TestFlatBobFarAway(t *testing.T) {
	for _, b := range []pendulum.Bob{
		{Shape: pendulum.Cylinder, Mass: 5, Radius: 0.5, Height: 2e-4},
		{Shape: pendulum.Box, Mass: 5, Along: 0.7, Across: 0.7, Height: 2e-4},
	} {
		x2, z2 := b.Radius*b.Radius/4, b.Height*b.Height/12
		if b.Shape == pendulum.Box {
			x2 = b.Along * b.Along / 12
		}
		for _, angle := range []float64{0.3, 0.8, 1.4} {
			d := 450.0
			sin, cos := math.Sincos(angle)
			pull, _, err := b.Attraction(r3.Vec{X: d * sin, Z: d * cos})
			if err != nil {
				t.Fatal(err)
			}
			// U = GM/d (1 + (z2 - x2)(3 cos² - 1)/(2 d²)), along the line outwards.
			want := -gravlab.G * b.Mass / (d * d) * (1 + 1.5*(z2-x2)*(3*cos*cos-1)/(d*d))
			near(t, "pull of a flat bob", pull.X*sin+pull.Z*cos, want, 1e-11*math.Abs(want))
		}
	}
}

// On a string the motion does not depend on the mass of the bob, extended or not,
// and nobody has to invent one.
func TestWithoutMass(t *testing.T) {
	for _, bob := range []pendulum.Bob{{}, {Shape: pendulum.Sphere, Radius: 0.2}} {
		without := pendulum.Pendulum{Bob: bob, Length: 2, Gravity: 9.81, Amplitude: 0.7, Damping: 0.01}
		with := without
		with.Bob.Mass = 7
		if got, want := gravlab.Must(without.Period()), gravlab.Must(with.Period()); math.Abs(got/want-1) > 1e-15 {
			t.Errorf("period %g, want %g", got, want)
		}
		if got, want := gravlab.Must(without.Quality()), gravlab.Must(with.Quality()); math.Abs(got/want-1) > 1e-15 {
			t.Errorf("quality %g, want %g", got, want)
		}
		if got, want := gravlab.Must(without.Motion()).Period, gravlab.Must(with.Motion()).Period; math.Abs(got/want-1) > 1e-15 {
			t.Errorf("period of the motion %g, want %g", got, want)
		}
		times := []float64{-1, 0, 0.3, 5}
		got, want := gravlab.Must(without.Angle(times)), gravlab.Must(with.Angle(times))
		for i := range want {
			near(t, "angle", got[i], want[i], 1e-9)
		}
		if _, _, err := without.Integrate([]float64{0, 1}, 0); err != nil {
			t.Error(err)
		}
		_, inertia := without.Inertia()
		_, tension := without.LargestTension()
		_, pull := without.Pull(0.1, pendulum.Station{At: r3.Vec{Z: 3}, Axis: r3.Vec{Z: 1}})
		for _, err := range []error{inertia, tension, pull} {
			if err == nil || !strings.Contains(err.Error(), "Mass") {
				t.Errorf("without a mass: %v, want an error about it", err)
			}
		}
	}
	e, a := laboratory(18)
	a.Pendulum.Bob.Mass = 0
	r, err := e.Record(rand.New(rand.NewPCG(3, 3)))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := a.Detect(r); err != nil {
		t.Errorf("the mass is what is looked for: %v", err)
	}
}

// A place a hair's breadth beside the middle of the rod is on it, where its pull has
// no bounds.
func TestBesideTheRod(t *testing.T) {
	p := pendulum.Pendulum{Bob: pendulum.Bob{Shape: pendulum.Sphere, Mass: 1, Radius: 0.05}, Length: 1, RodMass: 0.1, RodLength: 0.9, Gravity: 9.81, Amplitude: 0.1}
	for _, beside := range []float64{0, 5e-324, 1e-160, 1e-10} {
		if pull, _, err := p.Attraction(0, r3.Vec{Y: beside, Z: 0.5}); err == nil {
			t.Errorf("%g m beside the rod: %v without an error", beside, pull)
		}
	}
	if _, _, err := p.Attraction(0, r3.Vec{Y: 1e-3, Z: 0.5}); err != nil {
		t.Error(err)
	}
}
