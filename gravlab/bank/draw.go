package bank

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
)

// Draw draws a sheet's numbers. Every name has a stream of its own, so that a
// new number in a lab leaves the others as they were.
type Draw struct {
	lab  string
	code Code
	key  []byte // of a sealed sheet, else nil
}

// Rand is the stream of random numbers with a name.
func (d *Draw) Rand(name string) *rand.Rand {
	if d.key != nil {
		return keyedRand(d.key, name)
	}
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%s", d.lab, d.code, name))
	return rand.New(rand.NewPCG(binary.LittleEndian.Uint64(sum[:8]), binary.LittleEndian.Uint64(sum[8:16])))
}

// Between draws one of lo, lo+step, … up to hi, free of the dust of binary
// fractions: it prints as people write it.
func (d *Draw) Between(name string, lo, hi, step float64) float64 {
	n := int(math.Round((hi - lo) / step))
	return Clean(lo + step*float64(d.Rand(name).IntN(n+1)))
}

// Pick draws one of the values.
func (d *Draw) Pick(name string, values ...float64) float64 {
	return values[d.Rand(name).IntN(len(values))]
}

// Clean rounds to twelve significant digits.
func Clean(v float64) float64 {
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	return v
}

// Draw draws the numbers of the lab's sheet with a code.
func (l Lab) Draw(code Code) *Draw {
	d := &Draw{lab: l.ID, code: code}
	if code.Sealed() {
		d.key = l.key
	}
	return d
}

// Code is the code of the sheet whose numbers are drawn.
func (d *Draw) Code() Code { return d.code }
