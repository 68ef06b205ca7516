package survey

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
)

// refused wants an error that holds each of these texts.
func refused(t *testing.T, what string, err error, texts ...string) {
	t.Helper()
	if err == nil {
		t.Errorf("%s: no error", what)
		return
	}
	for _, text := range texts {
		if !strings.Contains(err.Error(), text) {
			t.Errorf("%s: %v; want %q in it", what, err, text)
		}
	}
}

func allowed(t *testing.T, what string, err error) {
	t.Helper()
	if err != nil {
		t.Errorf("%s: %v", what, err)
	}
}

func TestReportRefusesOtherUnits(t *testing.T) {
	for _, c := range []struct {
		what  string
		spoil func(*Row)
		texts []string
	}{
		{"latitude in degrees", func(r *Row) { r.Lat = 54.3 }, []string{"Lat of A1, by the wall is 54.3", "in radians", "did you mean degrees?"}},
		{"longitude in degrees", func(r *Row) { r.Lon = -12.3 }, []string{"Lon of A1, by the wall is -12.3", "in radians", "did you mean degrees?"}},
		{"no latitude", func(r *Row) { r.Lat = math.NaN() }, []string{"Lat of A1, by the wall is NaN"}},
		{"gravity in mGal", func(r *Row) { r.Gravity = 981370 }, []string{"Gravity of A1, by the wall", "mGal"}},
		{"gravity left out", func(r *Row) { r.Gravity = 0 }, []string{"Gravity of A1, by the wall is 0"}},
		{"uncertainty in µGal", func(r *Row) { r.UGravity = 5 }, []string{"UGravity of A1, by the wall is 5", "µGal"}},
		{"uncertainty below zero", func(r *Row) { r.UAnomaly = -1e-8 }, []string{"UAnomaly of A1, by the wall"}},
		{"no anomaly", func(r *Row) { r.Anomaly = Anomaly{} }, []string{"Anomaly of A1, by the wall is missing", "Reduction.At"}},
	} {
		r := sampleReport()
		c.spoil(&r.Rows[0])
		_, err := r.Text()
		refused(t, c.what, err, c.texts...)
	}
	r := sampleReport()
	r.Rows[0].Lon += 2 * math.Pi // counted eastward from 0
	allowed(t, "longitude of 357.6°", r.Validate())
	other := r.Rows[0]
	other.Station, other.Anomaly.Name = "A2", "free-air anomaly"
	r.Rows = append(r.Rows, other, Row{Station: "A3", Gravity: 9.81})
	err := r.Validate()
	refused(t, "two kinds", err, "Anomaly.Name of A2 is free-air anomaly", "has a Bouguer disturbance", "Anomaly of A3 is missing")
	if strings.Contains(err.Error(), "A1, by the wall") {
		t.Errorf("the first row is blamed: %v", err)
	}
	r = sampleReport()
	r.Datum.Density = 0
	refused(t, "no density", r.Validate(), "Datum.Density", "Bouguer")
	r.Rows[0].Anomaly.Name = "free-air disturbance"
	allowed(t, "free air without density", r.Validate())
}

// A factor that was forgotten leaves no tide in unseen: by the half hour the tide
// moves by hundreds of nm/s².
func TestJobRefusesAForgottenFactor(t *testing.T) {
	p := AshgillFarm()
	day, right := simulate(t, p, seeded(3))
	for _, permanent := range []earth.PermanentTide{earth.ZeroTide, earth.MeanTide} {
		p.Job.Factor, p.Job.Permanent = 0, permanent
		_, err := p.Job.Reduce(day.Readings)
		refused(t, "factor 0, "+permanent.String(), err, "Factor is 0", "1.16", "TideFree")
	}
	p.Job.Permanent = earth.TideFree
	left, err := p.Job.Reduce(day.Readings)
	allowed(t, "the tide left in on purpose", err)
	for i, r := range left {
		if r.Tide != 0 || right[i].Tide == 0 {
			t.Fatalf("reading %d has a tide of %g left in, %g taken out", i, r.Tide, right[i].Tide)
		}
	}
}

func TestDensityMustBeThatOfRock(t *testing.T) {
	r := Reduction{Ellipsoid: earth.GRS80, Heights: Orthometric, Plate: FlatPlate}
	for _, plate := range []Plate{FlatPlate, RoundedPlate} {
		r.Plate = plate
		_, err := r.At(9.81, 0.9, 200, 0)
		refused(t, plate.String()+" without density", err, "Density is 0", "NoPlate")
		_, err = r.PerMetre(0.9)
		refused(t, plate.String()+" without density", err, "Density is 0")
	}
	r.Plate = NoPlate
	_, err := r.At(9.81, 0.9, 200, 0)
	allowed(t, "free air without density", err)
	r.Plate = FlatPlate
	for density, hint := range map[float64]string{26700: "did you mean 2670?", 267000: "did you mean 2670?", 2.67: "did you mean 2670?", 2.67e6: "did you mean 2670?", 1e9: "from 0 to 10000", -1: "from 0 to 10000"} {
		r.Density = density
		refused(t, "density", r.Validate(), "Density", hint)
	}
	for _, density := range []float64{350, 917, 1000, 2670, 5200, 7600} { // snow, ice, water, rock, magnetite, galena
		r.Density = density
		allowed(t, "density", r.Validate())
	}
	_, err = Sector{Inner: 2, Outer: 16, Parts: 4, Height: 3}.Correction()
	refused(t, "sector without density", err, "Density is 0")
	refused(t, "grid without density", Terrain{Cell: 1, Heights: [][]float64{{1}}}.Validate(), "Density is 0")
}

func TestTieMustBeInSIUnits(t *testing.T) {
	p := AshgillFarm()
	_, reduced := simulate(t, p, seeded(4))
	adjust := func(tie Tie) error {
		tie.Station = "base"
		_, err := Adjust(reduced, []Tie{tie}, Drift{Degree: 1})
		return err
	}
	refused(t, "mGal", adjust(Tie{Value: 981456.78, U: 4e-8}), "base", "m/s²", "did you mean 9.8145678, from mGal?")
	refused(t, "µGal", adjust(Tie{Value: 981456780}), "did you mean 9.8145678, from µGal?")
	refused(t, "Gal", adjust(Tie{Value: 981.45678}), "did you mean 9.8145678, from Gal?")
	refused(t, "a difference in mGal", adjust(Tie{Value: 3.2}), "m/s²")
	refused(t, "none", adjust(Tie{Value: math.NaN()}), "NaN")
	refused(t, "uncertainty in µGal", adjust(Tie{Value: 9.8145678, U: 4}), "uncertainty of the tie at base is 4")
	refused(t, "a rate in µGal per year", adjust(Tie{Value: 9.8145678, Epoch: p.Start.AddDate(-3, 0, 0), Rate: -2}), "value of the tie at base")
	for _, honest := range []Tie{
		{Value: 9.8145678, U: 4e-8}, {Value: 9.7640, U: 1e-6}, {Value: 9.8337}, // a mountain of Peru, the Arctic Ocean
		{}, {Value: 0.05}, {Value: -3899e-8, U: 1e-3}, // bases of one's own
		{Value: 9.8145678, U: 4e-8, Epoch: p.Start.Add(-10 * 365 * 24 * time.Hour), Rate: -2e-8 / 31557600},
	} {
		allowed(t, "an honest tie", adjust(honest))
	}
}

func TestMeterMustBeInSIUnits(t *testing.T) {
	m := AshgillFarm().Job.Meter
	for _, scale := range []float64{1.000412e-5, 1.2, 0.8, 1000.412, 0, math.NaN()} {
		m.Scale, m.UScale = scale, 0
		refused(t, "scale to a table", m.Validate(), "Scale", "0.9 to 1.1")
	}
	m.Scale = 1
	allowed(t, "scale of a table", m.Validate())
	m.Table = []TableRow{{0, 0}, {7000, 7300}}
	refused(t, "table in mGal", m.Validate(), "Table[1]", "mGal")
	// Without a table: 1 takes the units for m/s², which only small values can be.
	m.Table = nil
	_, _, err := m.Gravity(3999.5)
	refused(t, "units taken for m/s²", err, "counter is 3999.5", "Scale", "1e-5")
	job := AshgillFarm().Job
	job.Meter = m
	_, err = job.Reduce([]Reading{{Station: "base", Time: AshgillFarm().Start, Counter: 3999.5, U: 0.003}})
	refused(t, "units taken for m/s²", err, "base at 2021-04-14 08:10 UTC", "Scale")
	for _, honest := range []struct{ scale, counter, want float64 }{{1, 0.0399, 0.0399}, {1, 9.8137, 9.8137}, {gravlab.MilliGal, 4000, 0.04}, {1e-8, 981370000, 9.8137}} {
		m.Scale = honest.scale
		v, _, err := m.Gravity(honest.counter)
		allowed(t, "an honest scale", err)
		near(t, "gravity", v, honest.want, 1e-12)
	}
	m.Scale = 1000
	refused(t, "scale without a table", m.Validate(), "Scale is 1000")
}

func seeded(n uint64) *rand.Rand { return rand.New(rand.NewPCG(n, 45)) }
