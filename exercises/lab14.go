package exercises

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

var whatsInTheTruck = Lab{
	ID: "14-whats-in-the-truck", Title: "What's in the truck", Minutes: 90,
	Tracks: []Track{SurveyHire}, BuildsOn: []string{"10-buried-sphere"}, Graded: true,
	Build: buildWhatsInTheTruck,
}

func buildWhatsInTheTruck(d *Draw) Paper {
	pass, empties := drawPass(d), drawEmpties(d)
	return Paper{
		Recordings: []Recording{pass.recording(), empties.recording()},
		Questions: []Question{
			truckClosest(d), truckTwoLoads(d), truckRow(d), truckDetermined(),
			pass.speed(), pass.apart(), pass.cargo(),
			truckHeight(d), truckDensity(d), truckResolvable(d),
			truckTilt(d), truckPerson(d),
			empties.rate(), truckBaseRate(d), truckThreshold(d), truckWording(),
		},
	}
}

// acrossPull is the horizontal part, across the lane, of the pull of a mass y
// away and h higher than the sensor.
func acrossPull(m, y, h float64) float64 {
	r := math.Hypot(y, h)
	return gravlab.G * m * y / (r * r * r)
}

func truckClosest(d *Draw) Question {
	m, y, h := d.Between("closest mass", 4, 9, 0.5), d.Between("closest distance", 2.2, 3.4, 0.1), d.Between("closest height", 1.0, 1.5, 0.1)
	pull := acrossPull(1000*m, y, h)
	station := testdata.Find("worked_examples.csv", "newton-09") // 370 t, 150 kg, 20 m, G = 6.67e-11
	return Question{
		ID: "closest", Kind: judge.Number, Marks: 2, Title: "At the closest pass",
		Prompt: fmt.Sprintf("A sensor beside the lane reads acceleration in the direction *across* the lane, horizontally. A load of %.1f t passes; at the closest its centre is %.1f m away across the lane and %.1f m higher than the sensor. What is the pull that the sensor reads then?", m, y, h),
		Unit:   "nm/s²", Tol: judge.Tolerance{Rel: 0.006, Why: "G of 6.67e-11 (0.06 % low) and three digits carried"},
		Solve: valueOf(pull),
		Slips: []Slip{
			{Name: "the whole pull given for its part along the axis", Value: valueOf(gravlab.G * 1000 * m / (y*y + h*h)), Fix: "The pull points up to the load; the sensor reads only the part across the lane."},
			{Name: "the height left out", Value: valueOf(gravlab.G * 1000 * m / (y * y)), Fix: "The load is higher than the sensor: the distance is the slant."},
			{Name: "the distance to the side of the vehicle", Value: valueOf(acrossPull(1000*m, y-1.2, h)), Fix: "A load pulls from its centre, not from the vehicle's side."},
		},
		Range:     [2]float64{1e-8, 1.2e-7},
		Hints:     [2]string{"Slant distance first, from height and way across.", "G m/r² times the cosine y/r."},
		Worked:    fmt.Sprintf("%%%%\n// The pull points along the slant; across the lane is y/r of it.\nm, y, h := %s, %s, %s // kg, m, m\nr := math.Hypot(y, h)\na := gravlab.G * m * y / (r * r * r)\nsheet.Number(\"closest\", a*1e9, \"nm/s²\")", lit(1000*m), lit(y), lit(h)),
		Reasoning: "$a = \\frac{Gm}{r^2}\\cdot\\frac{y}{r}$ with $r^2 = y^2 + h^2$. Several tonnes at three metres pull with some billionths of $g$.",
		Source: Source{Text: station["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "newton-09", Got: 150 * acrossPull(370000, 20, 0) * 6.67e-11 / gravlab.G, Want: station.Float("published_answer"), Within: 0.005e-6}},
	}
}

// alongPull is the pull along the lane of loads, on a sensor y to the side on
// the level of the road, at the time t.
func alongPull(loads []buried.Load, speed, y, t float64) float64 {
	return gravlab.Must(buried.Pass{Loads: loads, Speed: speed}.Attraction(r3.Vec{Y: y}, t)).X
}

func truckTwoLoads(d *Draw) Question {
	front := buried.Load{X: d.Between("two front place", -1.8, -1.0, 0.1), Mass: d.Between("two front mass", 1600, 2400, 100), Height: 1.1}
	rear := buried.Load{X: d.Between("two rear place", 1.5, 2.2, 0.1), Mass: d.Between("two rear mass", 4000, 6000, 100), Height: 1.5}
	v, y, t := d.Pick("two speed", 4.5, 5.4, 6.3, 7.2), d.Between("two side", 2, 3, 0.1), d.Between("two time", 0.4, 0.8, 0.1)
	loads := []buried.Load{front, rear}
	right := alongPull(loads, v/3.6, y, t)
	flat := []buried.Load{{X: front.X, Mass: front.Mass}, {X: rear.X, Mass: rear.Mass}}
	total := front.Mass + rear.Mass
	middle := []buried.Load{{X: (front.X*front.Mass + rear.X*rear.Mass) / total, Mass: total, Height: (1.1*front.Mass + 1.5*rear.Mass) / total}}
	wrong := apartFrom(right, 0.06*math.Abs(right), alongPull(loads, v, y, t), alongPull(loads[1:], v/3.6, y, t), alongPull(flat, v/3.6, y, t), alongPull(middle, v/3.6, y, t))
	exact := testdata.Find("model_checks.csv", "buried-truck-01")
	return Question{
		ID: "two-loads", Kind: judge.Number, Marks: 3, Title: "Two loads on the move",
		Prompt: fmt.Sprintf("A vehicle drives past at %.1f km/h in the direction of $+x$, along the lane. When the clock reads 0 one load of %g kg, 1.1 m above the road, is at $x = %.1f\\ \\mathrm{m}$, and another of %g kg, 1.5 m above the road, at $x = %.1f\\ \\mathrm{m}$. A sensor stands at $x = 0$ beside the lane, %.1f m from the middle line, on the level of the road, and reads along $+x$. What is the pull of both loads at %.1f s?", v, front.Mass, front.X, rear.Mass, rear.X, y, t),
		Unit:   "nm/s²", Tol: judge.Tolerance{Rel: 0.008, Why: "a sum of two terms of unlike sign, three digits carried in each"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "km/h taken for m/s", Value: valueOf(wrong[0]), Fix: "The time is in seconds: turn the speed into m/s, over 3.6."},
			{Name: "the lighter load left out", Value: valueOf(wrong[1]), Fix: "Both loads pull at the same time, each from its own place."},
			{Name: "the heights left out", Value: valueOf(wrong[2]), Fix: "The loads are above the road: their distance from the sensor is larger."},
			{Name: "both loads put into their centre of mass", Value: valueOf(wrong[3]), Fix: "From so near the two are no single point. Add the two pulls."},
		},
		Range: [2]float64{2e-9, 4e-8},
		Hints: [2]string{"Where is each load at that time? Then G m x/r³ for each, with its own r.", "r² = x² + y² + h² for each. buried.Pass with Attraction does the same."},
		Worked: fmt.Sprintf("%%%%\n// Each load pulls from where it is at that moment; the axis takes the x part.\npass := buried.Pass{Speed: %s / 3.6, Loads: []buried.Load{\n\t{X: %s, Mass: %s, Height: 1.1}, {X: %s, Mass: %s, Height: 1.5}}}\npull := gravlab.Must(pass.Attraction(r3.Vec{Y: %s}, %s))\nsheet.Number(\"two-loads\", pull.X*1e9, \"nm/s²\")",
			lit(v), lit(front.X), lit(front.Mass), lit(rear.X), lit(rear.Mass), lit(y), lit(t)),
		Reasoning: "Pulls add as vectors. At the time $t$ load $i$ is at $x_i = X_i + v t$ and pulls along $x$ with $G m_i x_i/(x_i^2 + y^2 + h_i^2)^{3/2}$.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "buried-truck-01",
			Got:  alongPull([]buried.Load{{X: -1.4, Mass: 1900, Height: 1.1}, {X: 1.9, Mass: 5200, Height: 1.5}}, 1.7, 2.2, 0.6),
			Want: exact.Float("value"), Within: 1e-12 * 1.3e-8}},
	}
}

// designRow is the pull of a load over a sensor in the lane, and its derivatives
// by the load's place and mass: nm/s², nm/s² per m, nm/s² per t. a holds place X
// (m), mass (t), speed (m/s), time (s) and the height d of the load over the
// sensor (m).
func designRow(a []float64) []float64 {
	x, m, d := a[0]+a[2]*a[3], a[1], a[4]
	r2 := x*x + d*d
	pull := gravlab.G * 1e12 * m * d / (r2 * math.Sqrt(r2))
	return []float64{pull, -3 * pull * x / r2, pull / m}
}

func truckRow(d *Draw) Question {
	random := d.Rand("row calls")
	var calls [][]float64
	for range 8 {
		at := func(lo, hi float64) float64 { return clean(math.Round((lo+(hi-lo)*random.Float64())*10) / 10) }
		calls = append(calls, []float64{at(-8, -3), at(2, 6), at(1, 2), at(1.5, 4.5), at(2.2, 3.2)})
	}
	calls = append(calls, []float64{-4, 3, 1.5, 3.2, 2.5}, append([]float64(nil), calls[2]...))
	change := func(f func(a, row []float64)) func([]float64) []float64 {
		return func(a []float64) []float64 { row := designRow(a); f(a, row); return row }
	}
	exact := testdata.Find("model_checks.csv", "buried-truck-03") // one load of 800 kg, 0.8 m up, v = 1.7, sensor at (0, 1.8, 0.4), t = 0.6: x component
	// The parts along and across are as the ways: x along, up across.
	x, up := 1.7*0.6, math.Hypot(1.8, 0.8+0.4)
	return Question{
		ID: "row", Kind: judge.Function, Marks: 4, Title: "One row of the inversion",
		Prompt: "An inversion needs, for each reading, what the model says and how that changes with each unknown. Write a function `row` for a sensor that lies in the lane, straight under the middle line, and reads *upwards*. Its argument is a slice of five numbers: the place $X$ of the load along the lane at time 0 (m, the sensor is at 0), its mass $m$ (t), the speed $v$ (m/s), the time $t$ (s) and the height $d$ of the load over the sensor (m). " +
			"It returns three numbers: the pull $a$ in nm/s², its derivative by $X$ in nm/s² per m, and its derivative by $m$ in nm/s² per t.",
		Tol:  judge.Tolerance{Rel: 3e-3, Why: "G of 6.67e-11 is 0.06 % low; a difference quotient over a millimetre is better than that"},
		Stub: "func row(p []float64) []float64 {\n\tX, m, v, t, d := p[0], p[1], p[2], p[3], p[4]\n\t_, _, _, _, _ = X, m, v, t, d // take this line out once you use them all\n\treturn []float64{0, 0, 0}      // your formulas\n}\n\n%%\nsheet.Function(\"row\", row)",
		Function: &Function{
			Name: "row", Signature: judge.SliceToMany, Calls: calls, Right: designRow,
			Slips: []FunctionSlip{
				{Name: "the factor 3 left out of the derivative by the place", F: change(func(_, row []float64) { row[1] /= 3 }), Fix: "The power −3/2 comes down as a factor, and the inner derivative is 2x."},
				{Name: "the sign of the derivative by the place", F: change(func(_, row []float64) { row[1] = -row[1] }), Fix: "Before the load is over the sensor (x < 0), does moving it forward raise the pull or lower it?"},
				{Name: "the pull given for its derivative by the mass", F: change(func(_, row []float64) { row[2] = row[0] }), Fix: "The pull is proportional to the mass: the derivative is the pull of one tonne."},
				{Name: "kilograms for tonnes", F: change(func(_, row []float64) {
					for i := range row {
						row[i] /= 1000
					}
				}), Fix: "The mass comes in tonnes: 1 t is 1000 kg."},
			},
		},
		Hints:     [2]string{"Where is the load at that time? x = X + v t; then a = G m d/(x² + d²)^(3/2), in nm/s².", "By X: −3 a x/(x² + d²). By m: a/m. A small change and a difference do as well."},
		Worked:    "// At time t the load is at x = X + v t. The pull is proportional to m; by X the\n// power -3/2 comes down, with the inner derivative 2x.\nfunc row(p []float64) []float64 {\n\tX, m, v, t, d := p[0], p[1], p[2], p[3], p[4]\n\tx := X + v*t\n\tr2 := x*x + d*d\n\ta := gravlab.G * 1000 * m * d / math.Pow(r2, 1.5) * 1e9 // nm/s²\n\treturn []float64{a, -3 * a * x / r2, a / m}\n}\n\n%%\nsheet.Function(\"row\", row)",
		Reasoning: "$a = Gmd\\,(x^2+d^2)^{-3/2}$ with $x = X + vt$. So $\\partial a/\\partial X = -3ax/(x^2+d^2)$ and $\\partial a/\\partial m = a/m$. The first changes its sign as the load passes, the second does not: two different shapes, which is why place and mass can be told apart.",
		Source: Source{Text: "independently computed: " + exact["route"] + " (the part along the lane, which is a x/d)", Check: &SourceCheck{
			Table: "model_checks.csv", ID: "buried-truck-03",
			Got:  designRow([]float64{0, 0.8, 1.7, 0.6, up})[0] * 1e-9 * x / up,
			Want: exact.Float("value"), Within: 1e-12 * 4e-9}},
	}
}

func truckDetermined() Question {
	return Question{
		ID: "determined", Kind: judge.Choice, Marks: 1, Title: "What one sensor fixes",
		Prompt: "One load passes over *one* sensor at a known speed. Its height over the sensor is known to no better than half a metre, its size not at all. What does a good record fix best?",
		Options: []judge.Option{
			{Letter: "a", Text: "its density, since a denser load makes a sharper peak", Idea: "A ball pulls as if its mass were in its centre: at one mass a small dense one and a large light one make the same record."},
			{Letter: "b", Text: "its mass, since the pull is proportional to it", Idea: "It is, and to one over the square of the distance too. An error of the distance goes into the mass twice over."},
			{Letter: "c", Text: "its place along the vehicle", Right: true},
			{Letter: "d", Text: "its size, from the width of the peak", Idea: "The width is that of the distance from the sensor, not of the load."},
		},
		Worked:    "%%\nsheet.Choice(\"determined\", \"c\") // the moment of the peak needs neither mass nor distance",
		Reasoning: "The moment of the peak gives the place, whatever mass and height are. The height of the peak gives $m/d^2$. Mass and distance come apart only through the width of the peak, which costs precision, and through other sensors; density and size do not show at all.",
		Source:    Source{Text: "common practice, no source: the shell theorem"},
	}
}

func truckHeight(d *Draw) Question {
	uFit, uh, dist := d.Between("u fit", 2, 4, 0.5), d.Between("u height", 0.1, 0.2, 0.01), d.Between("height over sensor", 2.2, 3, 0.1)
	share := 100 * uh / dist
	return Question{
		ID: "u-height", Kind: judge.Number, Marks: 2, Title: "The height nobody measured",
		Prompt: fmt.Sprintf("A fit gives the mass of a load to %.1f %%, its height taken as exact. In truth nobody has measured it: it is %.1f m over the sensor with a standard uncertainty of %.2f m. At the peak the pull is $Gm/d^2$; count with that. What is the relative standard uncertainty of the mass, in per cent?", uFit, dist, uh),
		Unit:   "%", Tol: judge.Tolerance{Rel: 0.02, Why: "an uncertainty is stated with two digits"},
		Solve: valueOf(math.Hypot(uFit, 2*share) / 100),
		Slips: []Slip{
			{Name: "the exponent of the distance left out", Value: valueOf(math.Hypot(uFit, share) / 100), Fix: "The distance is squared: its relative uncertainty counts twice."},
			{Name: "added instead of in quadrature", Value: valueOf((uFit + 2*share) / 100), Fix: "Independent errors add in squares."},
			{Name: "the height left out", Value: valueOf(uFit / 100), Fix: "The fit knows nothing of the height: its uncertainty comes on top."},
		},
		Range:     [2]float64{0.06, 0.19},
		Hints:     [2]string{"m is proportional to a d²: which relative uncertainty comes from d?", "u² = u_fit² + (2 u_d/d)²."},
		Worked:    fmt.Sprintf("%%%%\n// m goes as a d²: the distance counts twice; independent parts add in squares.\nufit, ud, d := %s/100, %s, %s\nu := math.Hypot(ufit, 2*ud/d)\nsheet.Number(\"u-height\", 100*u, \"%%\")", lit(uFit), lit(uh), lit(dist)),
		Reasoning: "$m = a d^2/G$, so $u(m)/m$ has the parts $u(a)/a$ and $2u(d)/d$. The unknown height is nearly all of it: no longer record and no quieter sensor helps, a second sensor at another distance does.",
		Source:    Source{Text: "JCGM 100:2008, 5.1.2 and 5.1.6 (from memory)"},
	}
}

func truckDensity(d *Draw) Question {
	m := d.Between("crate mass", 2, 5, 0.1)
	l, w, h := d.Between("crate length", 1.1, 1.4, 0.05), d.Between("crate width", 0.8, 1, 0.05), d.Between("crate height", 0.7, 0.95, 0.05)
	v := l * w * h
	return Question{
		ID: "density", Kind: judge.Number, Marks: 2, Title: "What a crate allows",
		Prompt: fmt.Sprintf("The fit gives a load of %.1f t. It stands in a crate of %.2f m by %.2f m by %.2f m inside; the loading space of the vehicle is 6.0 m by 2.4 m by 2.5 m. What is the *least* mean density that this load can have?", m, l, w, h),
		Unit:   "kg/m³", Tol: judge.Tolerance{Rel: 0.008, Why: "three digits carried"},
		Solve: valueOf(1000 * m / v),
		Slips: []Slip{
			{Name: "the volume of the loading space", Value: valueOf(1000 * m / (6 * 2.4 * 2.5)), Fix: "The load is in its crate; the rest of the space is empty."},
			{Name: "the crate taken for a ball as wide as it is high", Value: valueOf(1000 * m / (math.Pi / 6 * h * h * h)), Fix: "The least density is that of a load that fills all of the crate."},
		},
		Range:     [2]float64{1400, 9000},
		Hints:     [2]string{"The load is least dense if it fills all the room that it has.", "Mass over the volume of the crate."},
		Worked:    fmt.Sprintf("%%%%\n// Least dense where it fills the crate; anything smaller is denser.\nV := %s * %s * %s // m³\nsheet.Number(\"density\", %s/V, \"kg/m³\")", lit(l), lit(w), lit(h), lit(1000*m)),
		Reasoning: "Gravity gives no density; mass with a room to put it in gives a *bound*. Everything lighter than $m/V$ is excluded, if mass and crate are right. Everything denser stays possible: a small lump of lead in a large crate looks the same.",
		Source:    Source{Text: "common practice, no source"},
	}
}

// resolvableMass is the standard uncertainty of a mass that passes over a sensor
// with white noise (amplitude density, one-sided) at the distance d.
func resolvableMass(density, d, v float64) float64 {
	return d * d / gravlab.G * density * math.Sqrt(4*v/(3*math.Pi*d))
}

func truckResolvable(d *Draw) Question {
	density, dist, v := d.Between("sensor density", 2, 6, 0.5), d.Between("sensor distance", 2.2, 3, 0.1), d.Pick("sensor speed", 3.6, 4.5, 5.4, 6.3)
	n := density * 1e-9
	right := resolvableMass(n, dist, v/3.6)
	return Question{
		ID: "resolvable", Kind: judge.Number, Marks: 3, Title: "How light may a load be?",
		Prompt: fmt.Sprintf("A sensor in the lane has white noise of $%g\\ \\mathrm{nm\\,s^{-2}/\\sqrt{Hz}}$ (amplitude density, one-sided). A load passes %.1f m above it at %.1f km/h. With place, height and speed known, what is the standard uncertainty of its mass?", density, dist, v),
		Unit:   "kg", Tol: judge.Tolerance{Rel: 0.02, Why: "an uncertainty is stated with two digits"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "km/h taken for m/s", Value: valueOf(resolvableMass(n, dist, v)), Fix: "The pass lasts d/v seconds with v in m/s."},
			{Name: "a two-sided density", Value: valueOf(right * math.Sqrt2), Fix: "One-sided: SNR² is twice the energy of the signal over the density squared."},
			{Name: "the distance not squared", Value: valueOf(right / dist), Fix: "The pull of a tonne falls with the square of the distance."},
			{Name: "the energy of a pulse as long as d/v and as high as the peak", Value: valueOf(right * math.Sqrt(3*math.Pi/8)), Fix: "The pulse is not a box: its energy has the factor 3π/8."},
		},
		Range:     [2]float64{40, 500},
		Hints:     [2]string{"The energy of the pulse of one kilogram: (G/d²)² × 3π/8 × d/v.", "u(m) = n/√(2 E₁), with E₁ the energy for one kilogram."},
		Worked:    fmt.Sprintf("%%%%\n// The pulse of one kilogram, its energy, and the filter's uncertainty n/sqrt(2E).\nn, d, v := %s, %s, %s/3.6 // m/s²/√Hz, m, m/s\npeak := gravlab.G / (d * d)\nE := peak * peak * 3 * math.Pi / 8 * d / v\nsheet.Number(\"resolvable\", n/math.Sqrt(2*E), \"kg\")", goFloat(n, 2), lit(dist), lit(v)),
		Reasoning: "For a known shape in white noise $\\mathrm{SNR}^2 = 2E/n^2$. With $E = E_1 m^2$ that is $u(m) = n/\\sqrt{2E_1}$. It grows as $d^{3/2}$ and as $\\sqrt v$: half the distance helps far more than half the speed. Vibration of the road and a wandering zero make it worse.",
		Source:    Source{Text: "common practice, no source: matched filter in white noise, S. M. Kay, Fundamentals of Statistical Signal Processing II (1998), chapter 4 (from memory)"},
	}
}

func truckTilt(d *Draw) Question {
	young, poisson := d.Between("soil", 60, 200, 10), d.Pick("poisson", 0.25, 0.3, 0.35)
	const g = 9.81
	ratio := g * g * (1 - poisson*poisson) / (math.Pi * young * 1e6 * gravlab.G)
	m, r := d.Between("tilt mass", 12, 24, 1), d.Between("tilt distance", 3, 5, 0.5)
	return Question{
		ID: "tilt", Kind: judge.Number, Marks: 3, Title: "The ground gives way",
		Prompt: fmt.Sprintf("A vehicle of %g t stands %.1f m from a *horizontal* sensor that is set on the ground. Its wheels bend the ground: treat its weight as one load on an elastic half-space ($E = %g\\ \\mathrm{MPa}$, $\\nu = %.2f$), which tilts the ground at the distance $r$ by $F(1-\\nu^2)/(\\pi E r^2)$. How many times larger than the vehicle's pull is what the sensor reads because of the tilt? Take the mass at the same distance, $g = 9.81\\ \\mathrm{m/s^2}$.", m, r, young, poisson),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.012, Why: "g of 9.80 to 9.81 m/s² enters twice, three digits carried"},
		Solve: valueOf(ratio),
		Slips: []Slip{
			{Name: "a factor g left out", Value: valueOf(ratio / g), Fix: "The load is a weight, m g, and a tilted sensor reads g times the tilt: g enters twice."},
			{Name: "degrees for radians", Value: valueOf(ratio * 180 / math.Pi), Fix: "The formula gives the tilt in radians; leave it so."},
			{Name: "Poisson's ratio left out", Value: valueOf(ratio / (1 - poisson*poisson)), Fix: "The factor 1 − ν² belongs to the formula."},
			{Name: "the pull over the tilt", Value: valueOf(1 / ratio), Fix: "How many times larger is what the tilt does: tilt over pull."},
		},
		Range:     [2]float64{1800, 8000},
		Hints:     [2]string{"Tilt first, with F = m g; the sensor reads g times the tilt.", "Then G m/r² for the pull, and their ratio. Which quantities drop out?"},
		Worked:    fmt.Sprintf("%%%%\n// g times the tilt of the weight m g, over the pull G m/r².\nm, r := %s, %s // kg, m: both drop out\ntilt := gravlab.Must(buried.WheelTilt(m*9.81, r, %s, %s))\nratio := 9.81 * tilt / (gravlab.G * m / (r * r))\nsheet.Number(\"tilt\", ratio, \"1\")", lit(1000*m), lit(r), lit(young*1e6), lit(poisson)),
		Reasoning: "Tilt and pull both go as $m/r^2$, so mass and distance drop out: the ratio is $g^2(1-\\nu^2)/(\\pi E G)$, some thousands on any soil. It has the shape and the timing of a signal. So read vertically, where a tilt enters only with its square, on a foundation of its own, or read gradients.",
		Source:    Source{Text: "J. Boussinesq (1885), surface of an elastic half-space (from memory); gives the size only, since ground is layered"},
	}
}

// lineOfSightGradient is the gradient of the pull of a point along the line to it.
func lineOfSightGradient(m, r float64) float64 { return 2 * gravlab.G * m / (r * r * r) }

func truckPerson(d *Draw) Question {
	m, r := d.Between("person", 60, 95, 5), d.Between("person distance", 1.5, 2.5, 0.1)
	g := lineOfSightGradient(m, r)
	printed := testdata.Find("worked_examples.csv", "gradient-04") // a person at 2 m: about 1 E
	return Question{
		ID: "person", Kind: judge.Number, Marks: 2, Title: "The person beside the gate",
		Prompt: fmt.Sprintf("A gradiometer at the gate reads the gradient of the pull along the line to whoever stands there. What does a person of %g kg, taken for a point %.1f m away, add? Gradients are given in eotvos, $1\\ \\mathrm{E} = 10^{-9}\\ \\mathrm{s^{-2}}$.", m, r),
		Unit:   "E", Tol: judge.Tolerance{Rel: 0.006, Why: "G of 6.67e-11 (0.06 % low) and three digits carried"},
		Solve: valueOf(g),
		Slips: []Slip{
			{Name: "the factor 2 left out", Value: valueOf(g / 2), Fix: "Along the line to the mass the gradient is twice that across it, with the other sign."},
			{Name: "the square of the distance for its cube", Value: valueOf(g * r), Fix: "G m/r² is the pull; its change with the distance has one more power."},
			{Name: "the gradient across the line, with its sign", Value: valueOf(-g / 2), Fix: "Along the line, not across it."},
		},
		Range:     [2]float64{0.4e-9, 4e-9},
		Hints:     [2]string{"Differentiate G m/r² by r.", "2 G m/r³; 1 E is 1e-9 per second squared."},
		Worked:    fmt.Sprintf("%%%%\n// The derivative of G m/r² along the line is 2 G m/r³ in size.\nm, r := %s, %s // kg, m\nsheet.Number(\"person\", 2*gravlab.G*m/(r*r*r)/gravlab.Eotvos, \"E\")", lit(m), lit(r)),
		Reasoning: "$\\mathrm{d}(Gm/r^2)/\\mathrm{d}r = -2Gm/r^3$: in size about one eotvos for a person at two metres. Whoever walks about near the sensors is part of the signal: keep people away, or note where they stand.",
		Source: Source{Text: printed["source"], Published: true, Check: &SourceCheck{
			// Printed with one digit.
			Table: "worked_examples.csv", ID: "gradient-04", Got: lineOfSightGradient(75, 2) / gravlab.Eotvos, Want: printed.Float("published_answer"), Within: 0.5}},
	}
}

// trueShare is the probability that an alarm is true: prior, detection and false
// alarm probabilities by Bayes' rule.
func trueShare(prior, pd, pf float64) float64 {
	return prior * pd / (prior*pd + (1-prior)*pf)
}

func truckBaseRate(d *Draw) Question {
	n, pd, pf := d.Pick("one in", 200, 250, 400, 500, 800, 1000, 1500, 2000), d.Pick("pd", 90, 92, 95), d.Pick("pf", 1, 2, 3)
	prior := 1 / n
	right := trueShare(prior, pd/100, pf/100)
	wrong := apartFrom(right, 0.025*right, prior*pd/100/((1-prior)*pf/100))
	return Question{
		ID: "base-rate", Kind: judge.Number, Marks: 3, Title: "The bell rings",
		Prompt: fmt.Sprintf("One vehicle in %g carries what the gate looks for. When it does the gate rings with %g %%; when it does not it rings with %g %%. It rings. What is the probability that this vehicle carries it, in per cent?", n, pd, pf),
		Unit:   "%", Tol: judge.Tolerance{Rel: 0.01, Why: "two to three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the probability that a loaded vehicle rings", Value: valueOf(pd / 100), Fix: "That is the chance of a ring if it carries; asked is the chance that it carries if it rings."},
			{Name: "the probability that an empty vehicle does not ring", Value: valueOf(1 - pf/100), Fix: "Nearly all vehicles are empty, and a few per cent of very many are many."},
			{Name: "the share of all vehicles that carry and ring", Value: valueOf(prior * pd / 100), Fix: "Divide by all that ring: the true alarms and the false ones."},
			{Name: "true alarms over false alarms", Value: valueOf(wrong[0]), Fix: "That is a ratio of the two, odds. Divide by their sum."},
		},
		Range:     [2]float64{0.01, 0.35},
		Hints:     [2]string{"Of 100,000 vehicles: how many ring and carry, how many ring and do not?", "True alarms over all alarms."},
		Worked:    fmt.Sprintf("%%%%\n// True alarms over all alarms.\nprior, pd, pf := 1/%s, %s/100, %s/100\nhits := prior * pd\nfalseOnes := (1 - prior) * pf\nsheet.Number(\"base-rate\", 100*hits/(hits+falseOnes), \"%%\")", lit(n), lit(pd), lit(pf)),
		Reasoning: fmt.Sprintf("Of 100,000 vehicles %.0f carry and %.0f of them ring; of the others %.0f ring. Most alarms are false, however good the gate is, because what it looks for is rare. So a ring is a reason for a trained officer to look, and nothing more.", 1e5*prior, 1e3*prior*pd, 1e3*(1-prior)*pf),
		Source:    Source{Text: "common practice, no source: Bayes' rule"},
	}
}

func truckThreshold(d *Draw) Question {
	n, pd, share := d.Pick("threshold one in", 500, 1000, 2000, 5000), d.Pick("threshold pd", 80, 85, 90), d.Pick("wanted share", 20, 25, 30, 40)
	prior := 1 / n
	pf := func(share float64) float64 { return prior * pd / 100 * (1 - share) / share / (1 - prior) }
	s := share / 100
	return Question{
		ID: "false-alarms", Kind: judge.Number, Marks: 3, Title: "How quiet must an empty vehicle be?",
		Prompt: fmt.Sprintf("One vehicle in %g carries what the gate looks for, and then the gate rings with %g %%. The officers can open so many vehicles only if at least %g %% of the alarms are true. How large may the probability be, at most, that an empty vehicle rings? Give it in per cent.", n, pd, share),
		Unit:   "%", Tol: judge.Tolerance{Rel: 0.01, Why: "two to three digits carried"},
		Solve: valueOf(pf(s)),
		Slips: []Slip{
			{Name: "the wanted share turned round", Value: valueOf(pf(1 - s)), Fix: "So many of the alarms are to be true, not false."},
			{Name: "one true alarm for each false one", Value: valueOf(pf(0.5)), Fix: "The wanted share is not a half."},
			{Name: "true alarms over false alarms set to the share", Value: valueOf(prior * pd / 100 / s / (1 - prior)), Fix: "The share is of all alarms: true over true and false."},
			{Name: "what is left of the wanted share", Value: valueOf(1 - s), Fix: "That is the share of the alarms that are false, not the chance that an empty vehicle rings."},
		},
		Range:     [2]float64{1e-4, 0.01},
		Hints:     [2]string{"Write the share of true alarms with an unknown p for the empties, and solve for p.", "p = prior × Pd × (1 − share)/share/(1 − prior)."},
		Worked:    fmt.Sprintf("%%%%\n// share = true/(true+false), solved for the false alarms of the empty ones.\nprior, pd, share := 1/%s, %s/100, %s/100\nhits := prior * pd\nfalseOnes := hits * (1 - share) / share\nsheet.Number(\"false-alarms\", 100*falseOnes/(1-prior), \"%%\")", lit(n), lit(pd), lit(share)),
		Reasoning: "With true alarms $pP_d$ and false ones $(1-p)P_f$ the share of true ones is $s$ when $P_f = \\frac{p}{1-p}P_d\\frac{1-s}{s}$. A threshold that strict also misses more: state both, and how they were measured, on how many vehicles.",
		Source:    Source{Text: "common practice, no source: Bayes' rule"},
	}
}

func truckWording() Question {
	return Question{
		ID: "wording", Kind: judge.Choice, Marks: 1, Title: "What goes into the log",
		Prompt: "A closed van is declared as carrying furniture. The fit gives a compact load of 2.9 t with a standard uncertainty of 0.4 t over the rear axle. The gate rings for the empty ones of its kind with 1 %. Which entry is fair?",
		Options: []judge.Option{
			{Letter: "a", Text: "\"Carries about 3 t of lead or steel, not furniture.\"", Idea: "Gravity gives a mass and a place. Of what it is made does not show; books and tools are heavy too."},
			{Letter: "b", Text: "\"Declaration false with 99 %.\"", Idea: "1 % is how often an *innocent* van rings. How many of the ringing vans are innocent depends on how rare the others are."},
			{Letter: "c", Text: "\"A load of 2.9 t (standard uncertainty 0.4 t) over the rear axle, if its height is as assumed; more than expected from the declaration. A trained officer should look. Nothing is said about what it is.\"", Right: true},
			{Letter: "d", Text: "\"Nothing certain; let it drive on.\"", Idea: "The result is a reason to look. To leave it out is no fairer than to make too much of it."},
		},
		Worked:    "%%\nsheet.Choice(\"wording\", \"c\") // what was measured, how well, on which assumption, and who decides",
		Reasoning: "A fair entry says what was measured, how well, on which assumptions, and what it cannot say. A screening result is a reason for a trained officer to look, nothing more.",
		Source:    Source{Text: "common practice, no source"},
	}
}
