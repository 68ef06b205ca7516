// Package arg checks the arguments of the models. Each function returns nil or
// a *gravlab.ArgumentError that names the argument, its value and what is
// allowed. errors.Join of several lists everything that is wrong at once.
package arg

import (
	"fmt"
	"math"
	"strings"

	"gravity.example/gravlab"
)

// Bad returns an error that says that name must be allowed.
func Bad(fn, name string, value any, allowed string) error {
	return &gravlab.ArgumentError{Func: fn, Name: name, Value: value, Allowed: allowed}
}

// Finite refuses NaN and infinities. what names the quantity and its unit.
func Finite(fn, name string, v float64, what string) error {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Bad(fn, name, v, "a finite "+what)
	}
	return nil
}

// Positive refuses everything but finite numbers above zero.
func Positive(fn, name string, v float64, what string) error {
	if !(v > 0) || math.IsInf(v, 1) {
		return Bad(fn, name, v, "a finite positive "+what)
	}
	return nil
}

// NonNegative refuses everything but finite numbers from zero up.
func NonNegative(fn, name string, v float64, what string) error {
	if !(v >= 0) || math.IsInf(v, 1) {
		return Bad(fn, name, v, "a finite "+what+", zero or more")
	}
	return nil
}

// Between refuses everything outside lo to hi, ends included.
func Between(fn, name string, v, lo, hi float64, what string) error {
	if !(v >= lo && v <= hi) {
		return Bad(fn, name, v, fmt.Sprintf("%s %s from %g to %g", article(what), what, lo, hi))
	}
	return nil
}

// SameLength refuses slices of unlike length.
func SameLength(fn, nameA string, a int, nameB string, b int) error {
	if a != b {
		return Bad(fn, nameB, fmt.Sprintf("of length %d", b), fmt.Sprintf("as many as %s, which has %d", nameA, a))
	}
	return nil
}

// AtLeast refuses slices shorter than n.
func AtLeast(fn, name string, length, n int) error {
	if length < n {
		return Bad(fn, name, fmt.Sprintf("of length %d", length), fmt.Sprintf("at least %d values", n))
	}
	return nil
}

// AllFinite refuses a slice that holds NaN or an infinity and says where.
func AllFinite(fn, name string, v []float64, what string) error {
	for i, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return Bad(fn, fmt.Sprintf("%s[%d]", name, i), x, "a finite "+what)
		}
	}
	return nil
}

// Rising refuses times (or places) that do not strictly increase, and NaN.
func Rising(fn, name string, v []float64, what string) error {
	for i, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return Bad(fn, fmt.Sprintf("%s[%d]", name, i), x, "a finite "+what)
		}
		if i > 0 && x <= v[i-1] {
			return Bad(fn, fmt.Sprintf("%s[%d]", name, i), x, fmt.Sprintf("%s %s above the one before it (%g): sort them and drop repeats", article(what), what, v[i-1]))
		}
	}
	return nil
}

// article is "an" before a vowel. No quantity here begins with a vowel that
// sounds like a consonant.
func article(what string) string {
	if what != "" && strings.ContainsRune("aeiouAEIOU", rune(what[0])) {
		return "an"
	}
	return "a"
}
