package check

import (
	"fmt"
	"math"
	"testing"
)

func TestTolerance(t *testing.T) {
	tests := []struct {
		tol       Tolerance
		got, want float64
		accepts   bool
	}{
		{Tolerance{Abs: 0.5}, 10.5, 10, true},
		{Tolerance{Abs: 0.5}, 10.51, 10, false},
		{Tolerance{Rel: 0.01}, 99, 100, true},
		{Tolerance{Rel: 0.01}, 98.9, 100, false},
		{Tolerance{Rel: 0.01}, -99, 100, false},
		{Tolerance{Abs: 5, Rel: 0.01}, 96, 100, true},
		{Tolerance{Abs: 1}, math.NaN(), 1, false},
		{Tolerance{Rel: 1}, 1, math.NaN(), false},
		{Tolerance{Rel: 0.1}, 1e-9, 0, false},
	}
	for _, test := range tests {
		if got := test.tol.Accepts(test.got, test.want); got != test.accepts {
			t.Errorf("%+v.Accepts(%v, %v) = %v, want %v", test.tol, test.got, test.want, got, test.accepts)
		}
	}
}

func TestDigits(t *testing.T) {
	tests := []struct {
		text string
		abs  float64
	}{
		{"9.84e-10", 0.005e-10}, {"5.448", 0.0005}, {"421", 0.5}, {"-3.0e2", 5}, {"1839", 0.5},
	}
	for _, test := range tests {
		if got := Digits(test.text).Abs; math.Abs(got-test.abs) > 1e-6*test.abs {
			t.Errorf("Digits(%q).Abs = %g, want %g", test.text, got, test.abs)
		}
	}
}

type recorder struct{ errors, fatals int }

func (*recorder) Helper()                 {}
func (r *recorder) Errorf(string, ...any) { r.errors++ }
func (r *recorder) Fatalf(string, ...any) { r.fatals++ }

// TestTestCanFail holds the harness to its word: it must notice a wrong value,
// an error, a repeated ID, a missing reason and an empty table.
func TestTestCanFail(t *testing.T) {
	good := Case{ID: "a", Quantity: "q", Unit: "1", Want: 1, Tol: Tolerance{Abs: 0.1, Why: "w"}, Source: "s", Known: Computed,
		Got: func() (float64, error) { return 1, nil }}
	vary := func(f func(*Case)) []Case { c := good; f(&c); return []Case{c} }
	tests := []struct {
		name           string
		cases          []Case
		errors, fatals int
	}{
		{"good", []Case{good}, 0, 0},
		{"empty", nil, 0, 1},
		{"wrong", vary(func(c *Case) { c.Want = 2 }), 1, 0},
		{"error", vary(func(c *Case) { c.Got = func() (float64, error) { return 1, fmt.Errorf("no") } }), 1, 0},
		{"twice", []Case{good, good}, 1, 0},
		{"no reason", vary(func(c *Case) { c.Tol.Why = "" }), 1, 0},
		{"no tolerance", vary(func(c *Case) { c.Tol.Abs = 0 }), 1, 0},
		{"no source", vary(func(c *Case) { c.Source = "" }), 1, 0},
		{"NaN", vary(func(c *Case) { c.Got = func() (float64, error) { return math.NaN(), nil } }), 1, 0},
	}
	for _, test := range tests {
		r := &recorder{}
		func() {
			defer func() { recover() }()
			Test(r, test.cases)
		}()
		if r.errors != test.errors || r.fatals != test.fatals {
			t.Errorf("%s: %d errors and %d fatals, want %d and %d", test.name, r.errors, r.fatals, test.errors, test.fatals)
		}
	}
}
