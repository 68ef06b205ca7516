package bank

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gravity.example/gravlab"
)

// RoundTo rounds to significant digits, as a prompt prints them.
func RoundTo(v float64, digits int) float64 {
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	return v
}

// LeadRadius is the radius in m of a sphere of lead with a mass in kg: what the balls
// and bobs of the labs are.
func LeadRadius(mass float64) float64 {
	return math.Cbrt(3 * mass / (4 * math.Pi * gravlab.LeadDensity))
}

// tex writes a number for TeX: 1.23 \times 10^{-5}.
func tex(v float64, digits int) string {
	mantissa, exponent := split(v, digits)
	if exponent == 0 {
		return mantissa
	}
	return fmt.Sprintf("%s \\times 10^{%d}", mantissa, exponent)
}

// split writes v with significant digits as a mantissa and a power of ten,
// which is 0 where people would write the number out.
func split(v float64, digits int) (mantissa string, exponent int) {
	if v == 0 {
		return "0", 0
	}
	exponent = int(math.Floor(math.Log10(math.Abs(RoundTo(v, digits)))))
	if exponent >= -2 && exponent <= 4 {
		return strconv.FormatFloat(RoundTo(v, digits), 'f', max(0, digits-1-exponent), 64), 0
	}
	return strconv.FormatFloat(v/math.Pow(10, float64(exponent)), 'f', digits-1, 64), exponent
}

// fixed writes a number with a fixed number of decimals.
func fixed(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// signed is fixed with the sign as print has it, + or −.
func signed(v float64, decimals int) string {
	if v < 0 {
		return "−" + fixed(-v, decimals)
	}
	return "+" + fixed(v, decimals)
}

// lit writes a number as Go code that is a float64 also where it is whole: 9 as
// 9.0, so that 2*9.0/4 is not a division of whole numbers. With a number of digits it
// writes that many: 1.23e-5.
func lit(v float64, digits ...int) string {
	if len(digits) > 0 {
		return strings.Replace(strconv.FormatFloat(v, 'e', digits[0]-1, 64), "e-0", "e-", 1)
	}
	s := strconv.FormatFloat(v, 'g', -1, 64)
	if !strings.ContainsAny(s, ".e") {
		s += ".0"
	}
	return s
}
