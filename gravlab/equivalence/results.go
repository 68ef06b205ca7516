package equivalence

import (
	"math"

	"gravity.example/gravlab/fit"
)

// A Result is one published test of universality.
type Result struct {
	Experiment string
	Year       int
	Bodies     string
	Method     string
	Eta, U     float64 // estimate and standard uncertainty; U is 0 where only a limit was printed
	Bound      float64 // the printed limit, or the 95 % limit that follows from Eta and U
	Source     string
}

// Results returns published tests, oldest first. Estimates with separate
// statistical and systematic uncertainties have them combined in quadrature.
// Bounds printed without a confidence stand as printed.
func Results() []Result {
	results := []Result{
		{"Newton", 1686, "various substances", "pendulum", 0, 0, 1e-3, "Principia, Book III Prop. VI (1687); from memory"},
		{"Bessel", 1832, "various substances", "pendulum", 0, 0, 2e-5, "F. W. Bessel, Ann. Phys. Chem. 25, 401 (1832)"},
		{"Eötvös 1889", 1889, "various substances", "torsion balance, Earth", 0, 0, 1e-8, "R. v. Eötvös, Math. Naturwiss. Ber. Ungarn 8, 65 (1890)"},
		{"Eötvös, Pekár & Fekete", 1922, "various substances vs Pt etc.", "torsion balance, Earth", 0, 0, 3e-9, "R. v. Eötvös, D. Pekár, E. Fekete, Ann. Phys. 68, 11 (1922)"},
		{"Roll, Krotkov & Dicke", 1964, "Al-Au", "torsion balance, Sun", 1.3e-11, 1.0e-11, 0, "P. G. Roll, R. Krotkov, R. H. Dicke, Ann. Phys. (N.Y.) 26, 442 (1964); estimate from memory"},
		{"Braginsky & Panov", 1972, "Al-Pt", "torsion balance, Sun", -0.3e-12, 0.9e-12 / 2, 0, "V. B. Braginsky, V. I. Panov, Sov. Phys. JETP 34, 463 (1972); estimate and 95 % error from memory"},
		{"Williams et al. 2004", 2004, "Earth-Moon", "lunar laser ranging, Sun", -1.0e-13, 1.4e-13, 0, "J. G. Williams, S. G. Turyshev, D. H. Boggs, Phys. Rev. Lett. 93, 261101 (2004)"},
		{"Schlamminger et al.", 2008, "Be-Ti", "rotating torsion balance, Earth", 0.3e-13, 1.8e-13, 0, "S. Schlamminger et al., Phys. Rev. Lett. 100, 041101 (2008)"},
		{"Williams et al. 2012", 2012, "Earth-Moon", "lunar laser ranging, Sun", -0.8e-13, 1.3e-13, 0, "J. G. Williams, S. G. Turyshev, D. H. Boggs, Class. Quantum Grav. 29, 184004 (2012)"},
		{"Wagner et al.", 2012, "Be-Al", "rotating torsion balance, Earth", -0.7e-13, 1.3e-13, 0, "T. A. Wagner et al., Class. Quantum Grav. 29, 184002 (2012); number from memory"},
		{"Touboul et al. 2017", 2017, "Ti-Pt", "drag-free satellite", -1e-15, math.Hypot(9e-15, 9e-15), 0, "P. Touboul et al., Phys. Rev. Lett. 119, 231101 (2017)"},
		{"Touboul et al. 2022", 2022, "Ti-Pt", "drag-free satellite", -1.5e-15, math.Hypot(2.3e-15, 1.5e-15), 0, "P. Touboul et al., Phys. Rev. Lett. 129, 121102 (2022)"},
		{"Torsion balance, Sun", 2026, "Be-Al", "rotating torsion balance, Sun", 0, 0, 2.1e-13, "arXiv:2602.02815, 95 %"},
	}
	for i := range results {
		if r := &results[i]; r.U > 0 {
			r.Bound, _ = Limit(r.Eta, r.U, 0.95) // arguments from the table above
		}
	}
	return results
}

// Combine is the weighted mean of several independent estimates of the same η,
// in value and uncertainty. Results for different pairs of materials are
// different quantities: combining them needs a theory.
func Combine(results []Result) (eta, u float64, err error) {
	var x, ux []float64
	for _, r := range results {
		if r.U > 0 {
			x, ux = append(x, r.Eta), append(ux, r.U)
		}
	}
	m, err := fit.WeightedMean(x, ux)
	return m.Value, m.U, err
}
