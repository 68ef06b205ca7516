package buriedcases

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/internal/check"
	"gravity.example/testdata"
)

// book is the G of many textbooks and papers, m³ kg⁻¹ s⁻².
const book = 6.67e-11

// example compares with a row of worked_examples.csv.
func example(id, quantity, unit string, scale float64, tol check.Tolerance, got func() (float64, error)) check.Case {
	row := testdata.Find(testdata.Examples, id)
	tol.Abs *= scale
	return check.Case{
		ID: "buried-" + id, Quantity: quantity, Unit: unit, Want: row.Float("published_answer") * scale, Tol: tol,
		Source: row["source"], Known: check.Read, Published: true, Got: got,
	}
}

// digits is half a unit of the last digit that the row prints.
func digits(id string) check.Tolerance {
	return check.Digits(testdata.Find(testdata.Examples, id)["published_answer"])
}

// otherG widens a tolerance by the ratio of the source's G to CODATA 2018.
func otherG(t check.Tolerance, want float64) check.Tolerance {
	t.Abs += math.Abs(want) * (gravlab.G/book - 1)
	t.Why += ", and 0.064 % between the source's G of 6.67e-11 and CODATA 2018"
	return t
}

// pull is the size of a point's gravity at a distance.
func pull(mass, distance float64) (float64, error) {
	g, err := buried.Point{At: r3.Vec{Z: distance}, Mass: mass}.GZ(r3.Vec{})
	return g, err
}

func times(f float64) func(float64, error) (float64, error) {
	return func(v float64, err error) (float64, error) { return f * v, err }
}

func published() []check.Case {
	cases := []check.Case{
		example("newton-01", "force between two masses of 9000 kg, 10 m apart", "N", 1, digits("newton-01"), func() (float64, error) { return times(9000)(pull(9000, 10)) }),
		example("newton-02", "acceleration of each", "m/s²", 1, digits("newton-02"), func() (float64, error) { return pull(9000, 10) }),
		example("newton-03", "acceleration at 4 m", "m/s²", 1, digits("newton-03"), func() (float64, error) { return pull(9000, 4) }),
		example("newton-05", "force between two galaxies", "N", 1, digits("newton-05"), func() (float64, error) {
			m := 800e9 * 2.0e30
			return times(m)(pull(m, 2.5e6*9.5e15))
		}),
		example("newton-07", "force of a father on his child", "N", 1, digits("newton-07"), func() (float64, error) { return times(4.20)(pull(100, 0.200)) }),
		example("newton-08", "force of Jupiter on the child", "N", 1, digits("newton-08"), func() (float64, error) { return times(4.20)(pull(1.90e27, 6.29e11)) }),
		example("newton-09", "force of a space station on a person at 20 m", "N", 1, otherG(digits("newton-09"), 9.25e-6), func() (float64, error) { return times(150)(pull(370000, 20)) }),
		example("newton-10", "pull of an asteroid on the Earth", "m/s²", 1, digits("newton-10"), func() (float64, error) { return pull(5.0e13, 4*3.84e8) }),
		example("newton-11", "mass of a mountain that pulls 2.00 % of g at 10 km", "kg", 1, digits("newton-11"), func() (float64, error) {
			perKilogram, err := pull(1, 10e3)
			return 0.0200 * 9.80 / perKilogram, err
		}),
		example("newton-12", "added weight of 20 kg, 1 ft from a 350 lb sphere of lead", "mg", 1, digits("newton-12"), func() (float64, error) {
			g, err := buried.Sphere{Centre: r3.Vec{Z: 0.3048}, Radius: 0.1494, Contrast: 158.8 / (4 * math.Pi / 3 * 0.1494 * 0.1494 * 0.1494)}.GZ(r3.Vec{})
			return 20 * g / gravlab.StandardGravity * 1e6, err
		}),
		example("newton-13", "place between Sun and Earth where they pull equally", "km", 1, check.Tolerance{Abs: 0.005e8, Why: "half a unit of the third digit, as printed"}, func() (float64, error) {
			const d = 1.496e11
			both := buried.Sum{buried.Point{Mass: 1.99e30}, buried.Point{At: r3.Vec{X: d}, Mass: 5.97e24}}
			lo, hi := 0.5*d, 0.9999999*d
			for range 100 {
				g, err := both.Gravity(r3.Vec{X: (lo + hi) / 2})
				if err != nil {
					return 0, err
				}
				if g.X < 0 {
					lo = (lo + hi) / 2
				} else {
					hi = (lo + hi) / 2
				}
			}
			return lo / 1e3, nil
		}),
		example("sphere-04", "depth of a sphere over its half-width", "1", 1, digits("sphere-04"), func() (float64, error) { return buried.DepthFromHalfWidth(buried.PointShape, 1) }),
		example("sphere-05", "depth of a line over its half-width (measured on the profile)", "1", 1, check.Tolerance{Rel: 1e-9, Why: "exact in the source; bisection on the profile"}, func() (float64, error) {
			w, err := buried.HalfWidth(buried.InfiniteCylinder{Z: 7, Radius: 1, Contrast: -2000}, r3.Vec{}, r3.Vec{X: 1})
			return 7 / w, err
		}),
		example("sphere-06", "place of the steepest slope over a sphere, x/z", "1", 1, check.Tolerance{Abs: 1e-6, Why: "exact in the source; a maximum is found to the root of the rounding"}, func() (float64, error) {
			x, _, err := steepest(buried.Sphere{Centre: r3.Vec{Z: 9}, Radius: 2, Contrast: -1800}, 9)
			return x / 9, err
		}),
		example("slab-03", "slab of 1 m, 2670 kg/m³, with the source's G", "mGal", 1, digits("slab-03"), func() (float64, error) { return slab(2670, 1, book) }),
		example("slab-04", "the same with the older G of 6.6635e-11", "mGal", 1, digits("slab-04"), func() (float64, error) { return slab(2670, 1, 6.6635e-11) }),
		example("slab-05", "slab of 1 m of water", "m/s²", 1, digits("slab-05"), func() (float64, error) {
			return buried.Slab{Top: 3, Thickness: 1, Contrast: 1000}.GZ(r3.Vec{})
		}),
		example("slab-06", "slab of 5 cm of water", "µGal", 1, digits("slab-06"), func() (float64, error) {
			g, err := buried.Slab{Top: 3, Thickness: 0.05, Contrast: 1000}.GZ(r3.Vec{})
			return g / gravlab.MicroGal, err
		}),
		example("gradient-01", "vertical gradient of a spherical Earth", "E", 1, check.Tolerance{Abs: 5, Why: "half a unit of the third digit, as printed"}, func() (float64, error) {
			t, err := earth().Gradient(r3.Vec{})
			return t.ZZ / gravlab.Eotvos, err
		}),
		example("gradient-02", "its horizontal gradient, size", "E", 1, check.Tolerance{Abs: 5, Why: "half a unit of the third digit, as printed"}, func() (float64, error) {
			t, err := earth().Gradient(r3.Vec{})
			return -t.XX / gravlab.Eotvos, err
		}),
		example("gradient-04", "gradient of a person of 75 kg at 2 m", "E", 1, check.Tolerance{Abs: 0.5, Why: "the source says about 1 E"}, func() (float64, error) {
			t, err := buried.Point{At: r3.Vec{Z: 2}, Mass: 75}.Gradient(r3.Vec{})
			return t.ZZ / gravlab.Eotvos, err
		}),
	}
	factor := testdata.Find(testdata.Values, "bouguer_slab")
	cases = append(cases, check.Case{
		ID: "buried-bouguer-slab", Quantity: "slab of 1 m, 1000 kg/m³", Unit: "mGal", Want: factor.Float("value"),
		Tol:    check.Tolerance{Abs: 0.000005 + 0.04193*(gravlab.G/6.672e-11-1), Why: "half a unit of the last digit, and the source's G, taken as 6.672e-11 (of 1986, from memory)"},
		Source: factor["source"], Known: check.Read, Published: true,
		Got: func() (float64, error) { return slab(1000, 1, gravlab.G) },
	})
	gold := testdata.Find(testdata.Values, "westphal_radius")
	cases = append(cases, check.Case{
		ID: "buried-gold-radius", Quantity: "radius of a gold sphere of 90 mg", Unit: "mm", Want: gold.Float("value"), Tol: check.Digits("1"),
		Source: gold["source"], Known: check.Read, Published: true,
		Got: func() (float64, error) {
			r, err := buried.RadiusOfSphere(90e-6, testdataDensity("gold (element)"))
			return r * 1e3, err
		},
	})

	const trade = "common practice, no source"
	tunnel := buried.InfiniteCylinder{Z: 10, Radius: 1, Contrast: -2000}
	about := check.Tolerance{Rel: 0.25, Why: "a round number of the trade; the host's density is not stated (2000 kg/m³ taken)"}
	cases = append(cases,
		check.Case{ID: "buried-trade-tunnel-gz", Quantity: "open tunnel 2 m across, axis 10 m down: gz, size", Unit: "ng", Want: 10, Tol: about, Source: trade, Known: check.Practice,
			Got: func() (float64, error) {
				g, err := tunnel.GZ(r3.Vec{})
				return -g / gravlab.StandardGravity * 1e9, err
			}},
		check.Case{ID: "buried-trade-tunnel-gradient", Quantity: "the same: g_zz, size", Unit: "E", Want: 10, Tol: about, Source: trade, Known: check.Practice,
			Got: func() (float64, error) {
				t, err := tunnel.Gradient(r3.Vec{})
				return -t.ZZ / gravlab.Eotvos, err
			}},
		check.Case{ID: "buried-trade-apple", Quantity: "distance at which an apple of 0.1 kg pulls 0.25 ng", Unit: "m", Want: 0.05, Tol: check.Tolerance{Abs: 0.005, Why: "about 5 cm"}, Source: trade, Known: check.Practice,
			Got: func() (float64, error) {
				g, err := pull(0.1, 1)
				return math.Sqrt(g / (0.25e-9 * gravlab.StandardGravity)), err
			}},
		check.Case{ID: "buried-trade-gauss", Quantity: "excess mass for 1 mGal over 1 m²", Unit: "t", Want: 23.85, Tol: check.Digits("23.85"), Source: trade + " (check value of textbooks)", Known: check.Practice,
			Got: func() (float64, error) {
				c, err := buried.ExcessMass([]float64{0, 1}, []float64{0, 1}, [][]float64{{1e-5, 1e-5}, {1e-5, 1e-5}}, r3.Vec{X: 0.5, Y: 0.5, Z: 1})
				return c.Integral / 1e3, err
			}},
		check.Case{ID: "buried-trade-wheel-tilt", Quantity: "tilt at 3 m from 200 kN on ground of 100 MPa", Unit: "rad", Want: 6e-5, Tol: check.Tolerance{Abs: 0.5e-5, Why: "one digit is given; Poisson's ratio taken as 0.3"}, Source: "elastic half-space, J. Boussinesq (1885), from memory", Known: check.Memory,
			Got: func() (float64, error) { return buried.BoussinesqTilt(200e3, 3, 100e6, 0.3) }},
	)
	row := testdata.Find(testdata.Examples, "cylinder-02")
	cases = append(cases, check.Case{
		ID: "buried-cylinder-02", Quantity: "empty tunnel of 10 m radius, axis 50 m down in 2800 kg/m³: gz, size", Unit: "mGal", Want: row.Float("published_answer"),
		Tol: check.Digits(row["published_answer"]), Source: row["source"], Known: check.Memory,
		Got: func() (float64, error) {
			g, err := buried.InfiniteCylinder{Z: 50, Radius: 10, Contrast: -2800}.GZ(r3.Vec{})
			return -g / gravlab.MilliGal, err
		},
	})
	return append(cases, recomputed()...)
}

// recomputed compares with exercises whose answers are not printed: the numbers
// are those of an independent recomputation.
func recomputed() []check.Case {
	row := func(id string) testdata.Row { return testdata.Find(testdata.Examples, id) }
	given := func(id, quantity, unit string, tol check.Tolerance, got func() (float64, error)) check.Case {
		return check.Case{ID: "buried-" + id, Quantity: quantity, Unit: unit, Want: row(id).Float("recomputed"), Tol: tol,
			Source: "recomputed independently with G = 6.67430e-11; the question: " + row(id)["source"], Known: check.Computed, Got: got}
	}
	six := check.Tolerance{Rel: 1e-5, Why: "the recomputed value is given to six digits"}
	return []check.Case{
		given("cavity-01", "filled cavity, largest anomaly", "mGal", six, func() (float64, error) {
			g, err := buried.Sphere{Centre: r3.Vec{Z: 15}, Radius: 8, Contrast: -900}.GZ(r3.Vec{})
			return g / gravlab.MilliGal, err
		}),
		given("cavity-02", "empty room, largest anomaly", "mGal", six, func() (float64, error) {
			g, err := buried.Sphere{Centre: r3.Vec{Z: 80}, Radius: 20, Contrast: -2400}.GZ(r3.Vec{})
			return g / gravlab.MilliGal, err
		}),
		given("slab-01", "wide sill of 30 m, 500 kg/m³", "mGal", six, func() (float64, error) { return slab(500, 30, gravlab.G) }),
		given("cylinder-01", "disc of radius 10 t and thickness t, on its top: fraction of the slab", "%", check.Tolerance{Rel: 1e-5, Why: "the recomputed value is given to six digits (the printed 98 % is wrong)"}, func() (float64, error) {
			g, err := buried.Cylinder{Centre: r3.Vec{Z: 0.5}, Axis: r3.Vec{Z: 1}, Radius: 10, Length: 1, Contrast: 2000}.GZ(r3.Vec{})
			s, _ := slab(2000, 1, gravlab.G)
			return 100 * g / gravlab.MilliGal / s, err
		}),
		given("prism-01", "prism of 1 km, gz at the origin", "mGal", check.Tolerance{Rel: 1e-5, Why: "the recomputed value is given to six digits (the printed 2.360 is wrong in the third digit)"}, func() (float64, error) {
			g, err := buried.Prism{Min: r3.Vec{X: -500, Y: 500, Z: 500}, Max: r3.Vec{X: 500, Y: 1500, Z: 1500}, Contrast: 1000}.GZ(r3.Vec{})
			return g / gravlab.MilliGal, err
		}),
	}
}

// slab is the gravity of a slab in mGal, turned to the G of a source.
func slab(density, thickness, g float64) (float64, error) {
	v, err := buried.Slab{Thickness: thickness, Contrast: density}.GZ(r3.Vec{Z: -1})
	return v / gravlab.MilliGal * g / gravlab.G, err
}

// earth is a point of the Earth's mass, one mean radius below the station.
func earth() buried.Point {
	radius := testdata.Find(testdata.Values, "grs80_R3").Float("value")
	return buried.Point{At: r3.Vec{Z: radius}, Mass: testdata.Find(testdata.Values, "grs80_GM").Float("value") / gravlab.G}
}

func testdataDensity(material string) float64 {
	for _, row := range testdata.Table("densities.csv") {
		if row["material"] == material {
			return row.Float("density_kg_m3")
		}
	}
	panic("buriedcases: densities.csv has no " + material)
}
