// Package check compares numbers of ours with numbers from elsewhere. It holds
// the one tolerance rule of the project and the form of a known-answer case,
// which tests and the command gravlab verify both read.
package check

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Tolerance is how far a value may lie from its reference, and why. The
// difference may be as large as the larger of Abs and Rel times the size of
// the reference:
//
//	|got - want| <= max(Abs, Rel*|want|)
//
// Why says where the number comes from: the published digits, the error of the
// method, the reference's own error estimate. "It passes" is no reason.
type Tolerance struct {
	Abs float64
	Rel float64
	Why string
}

// Allowed is the largest difference that t accepts from want.
func (t Tolerance) Allowed(want float64) float64 {
	return math.Max(t.Abs, t.Rel*math.Abs(want))
}

// Accepts reports whether got agrees with want. NaN agrees with nothing.
func (t Tolerance) Accepts(got, want float64) bool {
	return math.Abs(got-want) <= t.Allowed(want)
}

// Digits is the tolerance of a published number: half a unit of the last digit
// that is printed. It panics when text is not a number; text is always a
// literal or a cell of a table in testdata. "9.84e-10" gives 0.005e-10.
func Digits(text string) Tolerance {
	text = strings.TrimSpace(text)
	mantissa, exponent := text, 0
	if i := strings.IndexAny(text, "eE"); i >= 0 {
		mantissa = text[:i]
		var err error
		if exponent, err = strconv.Atoi(text[i+1:]); err != nil {
			panic(fmt.Sprintf("check: %q is not a number", text))
		}
	}
	if _, err := strconv.ParseFloat(text, 64); err != nil {
		panic(fmt.Sprintf("check: %q is not a number", text))
	}
	decimals := 0
	if i := strings.IndexByte(mantissa, '.'); i >= 0 {
		decimals = len(mantissa) - i - 1
	}
	// The factor covers the rounding of the decimal text itself.
	half := 0.5 * math.Pow(10, float64(exponent-decimals)) * (1 + 1e-9)
	return Tolerance{Abs: half, Why: "half a unit of the last published digit"}
}

// Known says how a reference value is known.
type Known string

const (
	// Read means that the number was seen in the source or in a stored copy of it.
	Read Known = "read"
	// Computed means that the named general-purpose library, or an independent
	// route that the source describes, gave it.
	Computed Known = "computed"
	// Practice is a fact of the trade: common practice, no source.
	Practice Known = "common practice"
	// Memory means that the number has not been compared with its source.
	Memory Known = "from memory"
)

// A Case is one comparison of a model with a number from elsewhere.
type Case struct {
	ID        string // unique, e.g. "torsion-static-01"
	Quantity  string // what is compared, in a few words
	Unit      string // SI unit of Want, e.g. "m/s²"; "1" for a ratio
	Want      float64
	Tol       Tolerance
	Source    string // full citation, or how it was computed
	Known     Known
	Published bool // the reference is a published value (not one computed for us)
	Got       func() (float64, error)
}

// A Result is a Case that was run.
type Result struct {
	Case
	Got    float64
	Err    error
	Agrees bool
}

// Run runs one case. A case without a quantity, source, reason or tolerance is
// an error: it would prove nothing.
func Run(c Case) Result {
	r := Result{Case: c}
	switch {
	case c.ID == "" || c.Quantity == "" || c.Unit == "" || c.Source == "" || c.Known == "":
		r.Err = fmt.Errorf("case %q: ID, Quantity, Unit, Source and Known must all be given", c.ID)
		return r
	case c.Tol.Why == "":
		r.Err = fmt.Errorf("case %q: the tolerance has no reason", c.ID)
		return r
	case !(c.Tol.Abs > 0) && !(c.Tol.Rel > 0):
		r.Err = fmt.Errorf("case %q: the tolerance is zero", c.ID)
		return r
	case math.IsNaN(c.Want) || math.IsInf(c.Want, 0):
		r.Err = fmt.Errorf("case %q: the reference is %v", c.ID, c.Want)
		return r
	}
	r.Got, r.Err = c.Got()
	r.Agrees = r.Err == nil && c.Tol.Accepts(r.Got, c.Want)
	return r
}

// TB is the part of testing.TB that Test needs. (Importing testing here would
// link it into the program.)
type TB interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// Test runs all cases as parts of one test. No cases, or two with one ID, are
// a failure.
func Test(t TB, cases []Case) {
	t.Helper()
	if len(cases) == 0 {
		t.Fatalf("no cases: nothing was checked")
	}
	seen := map[string]bool{}
	for _, c := range cases {
		if seen[c.ID] {
			t.Errorf("%s: this ID is there twice", c.ID)
		}
		seen[c.ID] = true
		switch r := Run(c); {
		case r.Err != nil:
			t.Errorf("%s: %v", c.ID, r.Err)
		case !r.Agrees:
			t.Errorf("%s: %s = %.15g %s, want %.15g within %.3g (%s; %s)",
				c.ID, c.Quantity, r.Got, c.Unit, c.Want, c.Tol.Allowed(c.Want), c.Tol.Why, c.Source)
		}
	}
}
