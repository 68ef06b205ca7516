package exercises

// What the labs that still stand in this folder use; it goes with the last of them.

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gravity.example/gravlab/bank"
)

type (
	Lab          = bank.Lab
	Paper        = bank.Sheet
	Draw         = bank.Draw
	Question     = bank.Question
	Known        = bank.Answers
	Slip         = bank.Slip
	Function     = bank.Function
	FunctionSlip = bank.FunctionSlip
	Source       = bank.Source
	SourceCheck  = bank.SourceCheck
	Recording    = bank.Recording
	Column       = bank.Column
	Track        = bank.Track
)

const (
	LaboratoryClass = bank.LaboratoryClass
	SurveyHire      = bank.SurveyHire
	PlanetarySpace  = bank.PlanetarySpace
)

var (
	clean        = bank.Clean
	roundTo      = bank.RoundTo
	NumberedCode = bank.NumberedCode
)

// tex writes a number for TeX: 1.23 \times 10^{-5}.
func tex(v float64, digits int) string {
	mantissa, exponent := split(v, digits)
	if exponent == 0 {
		return mantissa
	}
	return fmt.Sprintf("%s \\times 10^{%d}", mantissa, exponent)
}

// goFloat writes a number as Go code: 1.23e-05.
func goFloat(v float64, digits int) string {
	return strings.Replace(strconv.FormatFloat(v, 'e', digits-1, 64), "e-0", "e-", 1)
}

// split writes v with significant digits as a mantissa and a power of ten,
// which is 0 where people would write the number out.
func split(v float64, digits int) (mantissa string, exponent int) {
	if v == 0 {
		return "0", 0
	}
	exponent = int(math.Floor(math.Log10(math.Abs(roundTo(v, digits)))))
	if exponent >= -2 && exponent <= 4 {
		return strconv.FormatFloat(roundTo(v, digits), 'f', max(0, digits-1-exponent), 64), 0
	}
	return strconv.FormatFloat(v/math.Pow(10, float64(exponent)), 'f', digits-1, 64), exponent
}

// lit writes a number as Go code that is a float64 also where it is whole:
// 9 as 9.0, so that 2*9.0/4 is no division of whole numbers.
func lit(v float64) string {
	s := strconv.FormatFloat(v, 'g', -1, 64)
	if !strings.ContainsAny(s, ".e") {
		s += ".0"
	}
	return s
}

func sum(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s
}

func squares(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return s
}

// leadRadius is the radius of a lead sphere. Density 11350 kg/m³: D. R. Lide
// (ed.), CRC Handbook of Chemistry and Physics, 80th ed. (1999).
func leadRadius(mass float64) float64 { return math.Cbrt(3 * mass / (4 * math.Pi * 11350)) }
