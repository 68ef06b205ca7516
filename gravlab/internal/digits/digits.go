// Package digits says to how many digits a number is written by its uncertainty, and
// which steps of an axis read well.
// It stands apart so that a program which only prints a table links no units.
package digits

import (
	"math"
	"strconv"
	"strings"
)

// Place is the power of ten of the last digit to write of a value with the standard
// uncertainty u, finite and above zero: two digits of an uncertainty that begins
// with 1 or 2 (one where the second would be 0), else one. Common practice, no
// source; JCGM 100, 7.2.6 allows at most two (from memory).
func Place(u float64) int {
	// Through the decimal text: a logarithm rounds wrongly next to powers of ten.
	digits, exponent := Leading(u, 1) // d.d
	if (digits[0] == '1' || digits[0] == '2') && digits[2] != '0' {
		return exponent - 1
	}
	_, exponent = Leading(u, 0) // 9.6 rounds to 10
	return exponent
}

// Decimals is how many decimals a value with the standard uncertainty u is written
// with: 4 for 0.0012, 3 for 0.004, 0 for 30. It is 0 as well where u is not a finite
// number above zero.
func Decimals(u float64) int {
	if !(u > 0) || math.IsInf(u, 1) {
		return 0
	}
	return max(0, -Place(u))
}

// Leading returns v > 0 rounded to one digit and the given decimals, and its power of ten.
func Leading(v float64, decimals int) (digits string, exponent int) {
	digits, exponentText, _ := strings.Cut(strconv.FormatFloat(v, 'e', decimals, 64), "e")
	exponent, _ = strconv.Atoi(exponentText)
	return digits, exponent
}

// Nice is 1, 2 or 5 times a power of ten, not below v, which is above zero.
func Nice(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if v <= m*p*(1+1e-9) {
			return m * p
		}
	}
	return 10 * p
}
