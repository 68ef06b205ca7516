// Package sensorcases holds the known answers of package sensor.
package sensorcases

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/gravlab/sensor"
	"gravity.example/gravlab/signal"
	"gravity.example/testdata"
)

// Cases returns every comparison of package sensor with a number from elsewhere.
func Cases() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("sensor") {
		cases = append(cases, calls.Case(m, tolerance(m)))
	}
	cases = append(cases, worked()...)
	cases = append(cases, trade()...)
	cases = append(cases, thermal()...)
	return cases
}

func tolerance(m testdata.ModelCheck) check.Tolerance {
	switch m.Call {
	case "DiscFringe":
		return check.Tolerance{Rel: 1e-11, Why: "integral equation on a fixed grid of nodes"}
	case "Crossing":
		return check.Tolerance{Rel: 1e-11, Why: "bisection to float64; the crossing of two near curves loses digits"}
	case "Budget.RMS":
		return check.Tolerance{Rel: 1e-10, Why: "quadrature asked for 1e-10"}
	}
	return check.Tolerance{Rel: 1e-13, Why: "closed form in float64"}
}

// suspension reads a suspension with viscous damping; a mass or a quality that a row
// leaves out takes no part in what it asks for.
func suspension(m testdata.ModelCheck) sensor.Suspension {
	s := sensor.Suspension{Mass: 1, Frequency: m.Float("f0"), Q: 1}
	for name, field := range map[string]*float64{"Q": &s.Q, "m": &s.Mass, "T": &s.Temperature} {
		if _, ok := m.Inputs[name]; ok {
			*field = m.Float(name)
		}
	}
	return s
}

func plates(m testdata.ModelCheck) sensor.Plates {
	return sensor.Plates{Area: m.Float("A"), Gap: m.Float("gap"), Permittivity: m.Float("eps0")}
}

// floors returns the noise of a row's readout and its white acceleration noise.
func floors(m testdata.ModelCheck) (readout, white sensor.Noise, err error) {
	if readout, err = suspension(m).ReadoutNoise(m.Float("x_noise")); err != nil {
		return readout, white, err
	}
	white, err = sensor.White("white", m.Float("a_noise"))
	return readout, white, err
}

// density returns the amplitude density of a noise at f.
func density(noise sensor.Noise, err error, f float64) (float64, error) {
	if err != nil {
		return 0, err
	}
	return noise.Density(f), nil
}

var calls = rows.Calls{
	"Suspension.Sag": func(m testdata.ModelCheck) (float64, error) { return suspension(m).Sag(m.Float("g")) },
	"Suspension.Response modulus": func(m testdata.ModelCheck) (float64, error) {
		r, err := suspension(m).Response(m.Float("f"))
		return cmplx.Abs(r), err
	},
	"Suspension.FirstPeak":  func(m testdata.ModelCheck) (float64, error) { return suspension(m).FirstPeak() },
	"Suspension.ThermalRMS": func(m testdata.ModelCheck) (float64, error) { return suspension(m).ThermalRMS() },
	"Suspension.ThermalNoise viscous": func(m testdata.ModelCheck) (float64, error) {
		s := suspension(m)
		noise, err := s.ThermalNoise()
		return density(noise, err, s.Frequency)
	},
	"Suspension.ThermalNoise structural": func(m testdata.ModelCheck) (float64, error) {
		s := suspension(m)
		s.Damping = sensor.Structural
		noise, err := s.ThermalNoise()
		return density(noise, err, m.Float("f"))
	},
	"Suspension.ReadoutNoise": func(m testdata.ModelCheck) (float64, error) {
		noise, err := suspension(m).ReadoutNoise(m.Float("x_noise"))
		return density(noise, err, m.Float("f"))
	},
	"Crossing": func(m testdata.ModelCheck) (float64, error) {
		readout, white, err := floors(m)
		if err != nil {
			return 0, err
		}
		f0 := m.Float("f0")
		return sensor.Crossing(readout, white, f0, 1000*f0)
	},
	"Budget.RMS": func(m testdata.ModelCheck) (float64, error) {
		readout, white, err := floors(m)
		if err != nil {
			return 0, err
		}
		return sensor.Budget{Suspension: suspension(m), Sources: []sensor.Noise{readout, white}}.RMS(m.Float("f1"), m.Float("f2"))
	},
	"Plates.PairGradient": func(m testdata.ModelCheck) (float64, error) { return plates(m).PairGradient() },
	"Comb.Gradient": func(m testdata.ModelCheck) (float64, error) {
		return sensor.Comb{Pairs: int(m.Float("n")), Width: m.Float("w"), Gap: m.Float("gap"), Permittivity: m.Float("eps0")}.Gradient()
	},
	"Plates.PullIn":     func(m testdata.ModelCheck) (float64, error) { return plates(m).PullIn(m.Float("k")) },
	"Plates.PairPullIn": func(m testdata.ModelCheck) (float64, error) { return plates(m).PairPullIn(m.Float("k")) },
	"Plates.PairSoftening": func(m testdata.ModelCheck) (float64, error) {
		v, err := plates(m).PairPullIn(m.Float("k"))
		if err != nil {
			return 0, err
		}
		return plates(m).PairSoftening(m.Float("k"), v/2)
	},
	"DiscFringe": func(m testdata.ModelCheck) (float64, error) {
		return sensor.DiscFringe(m.Float("R"), m.Float("d"))
	},
	"Amplifier.Displacement": func(m testdata.ModelCheck) (float64, error) {
		return sensor.Amplifier{Voltage: m.Float("e_n"), Current: m.Float("i_n"), Capacitance: m.Float("C"), Sensitivity: m.Float("s")}.Displacement(m.Float("f"))
	},
	"Strips.Alternating": func(m testdata.ModelCheck) (float64, error) {
		return sensor.Strips{Count: int(m.Float("N")), Pitch: m.Float("pitch"), CorrelationLength: m.Float("corr_length"), Sigma: m.Float("sigma")}.Alternating()
	},
	"GenerationRecombination.RMS": func(m testdata.ModelCheck) (float64, error) {
		return sensor.GenerationRecombination{Variance: m.Float("var"), Lifetime: m.Float("tau")}.RMS(m.Float("f1"), m.Float("f2"))
	},
	"AllanPowerLaw white":       allan(0),
	"AllanPowerLaw flicker":     allan(-1),
	"AllanPowerLaw random walk": allan(-2),
	"VerticalTiltNoise": func(m testdata.ModelCheck) (float64, error) {
		noise, err := sensor.VerticalTiltNoise(m.Float("g"), m.Float("e0"), m.Float("d"))
		return density(noise, err, 1)
	},
}

func allan(exponent int) func(m testdata.ModelCheck) (float64, error) {
	return func(m testdata.ModelCheck) (float64, error) {
		return sensor.AllanPowerLaw(m.Float("h"), exponent, m.Float("tau"))
	}
}

// worked holds the printed exercises on a mass and a spring.
func worked() []check.Case {
	var cases []check.Case
	row := func(id, printed, unit string, scale float64, got func() (float64, error)) {
		r := testdata.Find(testdata.Examples, id)
		if r["published_answer"] != printed {
			panic(fmt.Sprintf("sensorcases: %s prints %q, not %q", id, r["published_answer"], printed))
		}
		how := check.Read
		if strings.Contains(r["how_known"], "memory") {
			how = check.Memory
		}
		tol := check.Digits(printed)
		tol.Abs *= scale
		cases = append(cases, check.Case{
			ID: "sensor-" + id, Quantity: r["asked"] + ": " + r["inputs"], Unit: unit, Want: r.Float("published_answer") * scale,
			Tol: tol, Source: r["source"], Known: how, Published: how == check.Read, Got: got,
		})
	}
	const g = 9.80
	row("spring-01", "1.57e5", "N/m", 1, func() (float64, error) { return sensor.SpringConstant(120, 0.75e-2, g) })
	row("spring-02", "77", "kg", 1, func() (float64, error) {
		k, err := sensor.SpringConstant(1, 0.48e-2, g) // per kilogram
		return 1.57e5 / k, err
	})
	row("spring-03", "1.23e3", "N/m", 1, func() (float64, error) { return sensor.SpringConstant(10, 8e-2, g) })
	row("spring-04", "6.88", "kg", 1, func() (float64, error) {
		full, err := sensor.SpringConstant(10, 8e-2, g)
		if err != nil {
			return 0, err
		}
		k, err := sensor.SpringConstant(1, 5.5e-2, g)
		return full / k, err
	})
	row("spring-05", "4.00", "m", 1e-3, func() (float64, error) {
		k, err := sensor.SpringConstant(10, 8e-2, g)
		if err != nil {
			return 0, err
		}
		f, err := sensor.FrequencyFromSag(10*g/k, g)
		if err != nil {
			return 0, err
		}
		sag, err := sensor.Suspension{Mass: 10, Frequency: f, Q: 1}.Sag(g)
		return sag * 0.5 / 10, err
	})
	row("spring-07", "0.738", "s", 1, func() (float64, error) {
		// The row's inputs are those of the exercise before it: 900 kg on springs
		// of 6.53e4 N/m (from memory). Sag and period follow from each other.
		f, err := sensor.FrequencyFromSag(900*g/6.53e4, g)
		return 1 / f, err
	})
	row("spring-08", "2.37", "N/m", 1, func() (float64, error) {
		return sensor.Suspension{Mass: 0.0150, Frequency: 1 / 0.500, Q: 1}.Stiffness()
	})
	row("spring-09", "0.389", "kg", 1, func() (float64, error) {
		k, err := sensor.Suspension{Mass: 0.500, Frequency: 1 / 1.50, Q: 1}.Stiffness()
		if err != nil {
			return 0, err
		}
		perKilogram, err := sensor.Suspension{Mass: 1, Frequency: 1 / 2.00, Q: 1}.Stiffness()
		return k/perKilogram - 0.500, err
	})
	row("spring-10", "314", "N/m", 1, func() (float64, error) { return sensor.SpringConstant(8.0, 0.250, g) })
	row("spring-11", "1.00", "s", 1, func() (float64, error) {
		f, err := sensor.FrequencyFromSag(0.250, g)
		return 1 / f, err
	})
	row("spring-12", "1.25", "m/s", 1, func() (float64, error) {
		f, err := sensor.FrequencyFromSag(0.250, g)
		return 2 * math.Pi * f * 0.200, err
	})
	row("spring-13", "0.123", "m", 1, func() (float64, error) {
		k, err := sensor.SpringConstant(0.500, 1, g)
		return k / 40.0, err
	})
	row("spring-15", "6.7", "Hz", 1, func() (float64, error) {
		return sensor.FrequencyFromSag(1.4e-12, 0.25e-9*9.81)
	})
	return cases
}

// trade holds the facts that people who build such sensors carry in their heads.
func trade() []check.Case {
	const source = "common practice, no source"
	row := func(id, quantity, unit string, want float64, tol check.Tolerance, got func() (float64, error)) check.Case {
		return check.Case{ID: "sensor-trade-" + id, Quantity: quantity, Unit: unit, Want: want, Tol: tol, Source: source, Known: check.Practice, Got: got}
	}
	const nanog = 1e-9 * gravlab.StandardGravity
	rough := check.Tolerance{Rel: 0.2, Why: "said as a round number"}
	mems := testdata.Find(testdata.Values, "mems_noise")
	return []check.Case{
		row("pair", "resonance implied by 1.4 pm for 0.25 ng", "Hz", 6.7, check.Digits("6.7"), func() (float64, error) {
			return sensor.FrequencyFromSag(1.4e-12, 0.25*nanog)
		}),
		row("apple", "distance at which a 0.1 kg apple pulls 0.25 ng", "m", 0.05, check.Digits("0.05"), func() (float64, error) {
			return math.Sqrt(gravlab.G * 0.1 / (0.25 * nanog)), nil
		}),
		row("gold", "distance of neighbouring atoms in gold, from density 19300 kg/m³ and molar mass 0.196967 kg/mol (face-centred cubic)", "m", 288e-12, check.Tolerance{Abs: 1e-12, Why: "half a unit of the digits of the density and of the length"}, func() (float64, error) {
			const avogadro = 6.02214076e23
			return math.Cbrt(4*0.196967/(19300*avogadro)) / math.Sqrt2, nil
		}),
		row("tunnel-pull", "pull missing over an open tunnel 2 m across, axis 10 m down, rock of 2400 kg/m³, in units of 1e-9 g", "ng", 10, rough, func() (float64, error) {
			return 2 * gravlab.G * math.Pi * 1 * 2400 / 10 / nanog, nil
		}),
		row("tunnel-gradient", "vertical gradient over the same tunnel", "E", 10, rough, func() (float64, error) {
			return 2 * gravlab.G * math.Pi * 1 * 2400 / (10 * 10) / gravlab.Eotvos, nil
		}),
		row("water", "infinite layer of water 5 cm thick, in units of 1e-9 g", "ng", 2.1, check.Digits("2.1"), func() (float64, error) {
			return 2 * math.Pi * gravlab.G * 1000 * 0.05 / nanog, nil
		}),
		{
			ID: "sensor-mems-sag", Quantity: "sag of a micromachined sensor with a resonance of 3.1 Hz", Unit: "m", Want: 25.8e-3,
			Tol: check.Tolerance{Abs: 0.05e-3, Why: "half a unit of the last digit"}, Source: "resonance: " + mems["source"] + "; sag by force balance", Known: check.Computed,
			Got: func() (float64, error) {
				return sensor.Suspension{Mass: 1e-4, Frequency: 3.1, Q: 100}.Sag(gravlab.StandardGravity)
			},
		},
		{
			ID: "sensor-allan-white-record", Quantity: "Allan deviation of the published 8 µGal/√Hz as white noise over 100 s, through the spectral integral", Unit: "m/s²",
			Want: 8e-8 / math.Sqrt(200), Tol: check.Tolerance{Rel: 1e-3, Why: "spectrum cut at 100 Hz: 1/(π²·100 Hz·100 s)"},
			Source: "density: " + mems["source"] + "; √(h/(2τ)), IEEE Std 1139 (from memory)", Known: check.Computed,
			Got: func() (float64, error) {
				white, err := sensor.White("white", 8*gravlab.MicroGal)
				if err != nil {
					return 0, err
				}
				return sensor.Budget{Suspension: sensor.Suspension{Mass: 1e-4, Frequency: 3.1, Q: 100}, Sources: []sensor.Noise{white}}.AllanDeviation(100, 100)
			},
		},
		{
			ID: "sensor-band-white", Quantity: "rms of the published 8 µGal/√Hz between 0.1 and 1 Hz, if white", Unit: "m/s²",
			Want: 8e-8 * math.Sqrt(0.9), Tol: check.Tolerance{Rel: 1e-10, Why: "quadrature asked for 1e-10"},
			Source: "density: " + mems["source"] + "; width of the band, rooted", Known: check.Computed,
			Got: func() (float64, error) {
				r, _, err := signal.BandRMS(func(float64) float64 { return 64e-16 }, 0.1, 1)
				return r, err
			},
		},
	}
}

// thermal holds the acceleration noise of three suspensions.
func thermal() []check.Case {
	var cases []check.Case
	for id, s := range map[string]sensor.Suspension{
		"brownian_calc1": {Mass: 1, Frequency: 1, Q: 100, Temperature: 300},
		"brownian_calc2": {Mass: 0.1, Frequency: 0.1, Q: 1000, Temperature: 300},
		"brownian_calc3": {Mass: 0.25e-3, Frequency: 6, Q: 200, Temperature: 300},
	} {
		r := testdata.Find(testdata.Values, id)
		cases = append(cases, check.Case{
			ID: "sensor-" + id, Quantity: r["quantity"] + ": " + r["conditions"], Unit: "m/s²/√Hz", Want: r.Float("value"),
			Tol: check.Digits(r["value"]), Source: "formula of T. B. Gabrielson, IEEE Trans. Electron Devices 40, 903 (1993), evaluated apart", Known: check.Computed,
			Got: func() (float64, error) {
				n, err := s.ThermalNoise()
				if err != nil {
					return 0, err
				}
				return n.Density(s.Frequency), nil
			},
		})
	}
	return cases
}
