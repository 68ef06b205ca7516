package draw

import (
	"math"
	"strconv"
	"strings"

	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/internal/digits"
)

// A scale maps the values of an axis to 0 to 1 and knows its ticks.
type scale struct {
	lo, hi    float64
	log, flip bool
	ticks     []tick
	label     string // with the power of ten, the offset and the unit
}

type tick struct {
	at   float64
	text string // empty for a small tick
}

// norm maps a value; what is outside the range lies outside 0 to 1.
func (s *scale) norm(v float64) float64 {
	n := 0.0
	if s.log {
		n = math.Log(v/s.lo) / math.Log(s.hi/s.lo)
	} else {
		n = (v - s.lo) / (s.hi - s.lo)
	}
	if s.flip {
		n = 1 - n
	}
	return n
}

// newScale makes the scale of an axis for data from lo to hi. wanted is how many
// labelled ticks there is room for. tight keeps the range to the data.
func newScale(a figure.Axis, lo, hi float64, wanted int, tight bool) *scale {
	s := &scale{log: a.Log, flip: a.Flip}
	fixed := a.Min != 0 || a.Max != 0
	if fixed && a.Min < a.Max {
		lo, hi = a.Min, a.Max
	}
	if a.Log {
		s.logTicks(lo, hi, fixed, a)
		return s
	}
	if narrow(lo, hi) { // one value: make room on both sides
		lo, hi = widen(lo, hi)
	} else if !fixed && !tight {
		pad := 0.05 * (hi - lo)
		lo, hi = lo-pad, hi+pad
	}
	s.lo, s.hi = lo, hi
	s.linearTicks(wanted, a)
	return s
}

// narrow reports whether a range is too small to be told from one value.
func narrow(lo, hi float64) bool {
	return hi-lo <= 1e-12*math.Max(math.Abs(lo), math.Abs(hi)) || hi-lo < 1e-290
}

// widen makes room around one value.
func widen(lo, hi float64) (float64, float64) {
	pad := 0.1 * math.Max(math.Abs(lo), math.Abs(hi))
	if pad < 1e-200 {
		pad = 1
	}
	return lo - pad, hi + pad
}

// linearTicks puts ticks at multiples of 1, 2 or 5 times a power of ten.
func (s *scale) linearTicks(wanted int, a figure.Axis) {
	step := Nice((s.hi - s.lo) / float64(wanted))
	largest := math.Max(math.Abs(s.lo), math.Abs(s.hi))
	slack := 1e-9 + 1e-15*largest/step // rounding must not cost a tick at an end
	first := math.Ceil(s.lo/step - slack)
	last := math.Floor(s.hi/step + slack)

	// Values that differ only in their sixth digit are labelled by what they
	// differ by.
	offset := 0.0
	if step < 1e-5*largest {
		offset = first * step
		largest = s.hi - s.lo
	}
	power := 0
	if largest >= 1e5 || largest < 1e-2 {
		power = 3 * int(math.Floor(math.Log10(largest)/3))
	}
	unit := math.Pow(10, float64(power))
	decimals := max(0, int(-math.Floor(math.Log10(step/unit)+1e-9)))
	for i := range 1 + int(last-first) { // few: step goes with the range
		v := (first + float64(i)) * step
		s.ticks = append(s.ticks, tick{v, number((v-offset)/unit, decimals)})
	}
	s.label = axisLabel(a, offset, step, power)
}

// Nice is 1, 2 or 5 times a power of ten, not below v, which is above zero: a step of an
// axis, of contours or of a bar of scale that reads well.
func Nice(v float64) float64 { return digits.Nice(v) }

func axisLabel(a figure.Axis, offset, step float64, power int) string {
	label := strings.TrimSpace(a.Label)
	if offset != 0 {
		decimals := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
		sign := " − "
		if offset < 0 {
			sign = " + "
		}
		label += sign + number(math.Abs(offset), decimals)
		if a.Unit != "1" {
			label += " " + a.Unit
		}
	}
	factor := ""
	if power != 0 {
		factor = "10" + superscript(power)
	}
	unit := strings.TrimSpace(a.Unit)
	if unit == "1" {
		unit = ""
	}
	if both := strings.TrimSpace(factor + " " + unit); both != "" {
		label += " (" + both + ")"
	}
	return label
}

// logTicks labels powers of ten, or 1, 2 and 5 times them on a short axis.
func (s *scale) logTicks(lo, hi float64, fixed bool, a figure.Axis) {
	if narrow(lo, hi) {
		lo, hi = lo/2, hi*2
	} else if !fixed {
		pad := math.Pow(hi/lo, 0.04)
		lo, hi = lo/pad, hi*pad
	}
	s.lo, s.hi = lo, hi
	s.label = axisLabel(a, 0, 1, 0)
	d0, d1 := int(math.Floor(math.Log10(lo))), int(math.Ceil(math.Log10(hi)))
	decades := math.Log10(hi / lo)
	plain := lo >= 1e-3 && hi <= 1e4
	every := 1 + int(decades/8)
	for d := d0; d <= d1; d++ {
		for m := 1; m <= 9; m++ {
			v := float64(m) * math.Pow(10, float64(d))
			if v < lo*(1-1e-9) || v > hi*(1+1e-9) {
				continue
			}
			t := tick{at: v}
			switch {
			case m == 1 && d%every == 0 || (m == 2 || m == 5) && decades < 2:
				t.text = power(m, d, plain)
			case m > 1 && decades > 5:
				continue
			}
			s.ticks = append(s.ticks, t)
		}
	}
	labelled := 0
	for _, t := range s.ticks {
		if t.text != "" {
			labelled++
		}
	}
	if labelled < 2 { // less than an octave: number it as a straight axis
		s.ticks = nil
		s.linearTicks(4, a)
	}
}

func power(m, d int, plain bool) string {
	if plain {
		return number(float64(m)*math.Pow(10, float64(d)), max(0, -d))
	}
	if m == 1 {
		return "10" + superscript(d)
	}
	return strconv.Itoa(m) + "·10" + superscript(d)
}

func superscript(n int) string {
	return strings.Map(func(r rune) rune {
		for up, down := range raised {
			if down == r || down == '−' && r == '-' {
				return up
			}
		}
		return r
	}, strconv.Itoa(n))
}

// number writes v with a true minus sign and never as -0.
func number(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}
