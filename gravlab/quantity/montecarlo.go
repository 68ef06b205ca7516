package quantity

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
)

// A Shape is the distribution of an input about its value. U is its standard
// deviation, but for StudentT.
type Shape int

const (
	// Normal is the Gaussian distribution.
	Normal Shape = iota
	// Rectangular is even between Value ± sqrt(3) U: limits ±a have U = a/sqrt(3).
	Rectangular
	// Triangular falls evenly to zero at Value ± sqrt(6) U: limits ±a have
	// U = a/sqrt(6).
	Triangular
	// StudentT is Value + U t, t from Student's distribution with DoF degrees
	// of freedom: the mean of n readings with U = s/sqrt(n) and DoF = n-1. Its
	// standard deviation is larger than U, and infinite for DoF <= 2.
	StudentT
)

// A Distribution is a sample of a result, from [MonteCarlo].
type Distribution struct {
	Mean   float64
	U      float64   // standard deviation
	Values []float64 // rising
}

// blockSize is the number of trials that share one random stream. Blocks, not
// cores, own the streams: the same seed gives the same sample on any machine.
const blockSize = 4096

// MonteCarlo propagates distributions: it computes f for random inputs, trials
// times. Correlated inputs must be Normal. rng fixes the sample; the same seed
// gives the same values whatever the number of cores. f runs on several cores
// at once, so it must not write to shared variables, and must not keep x.
// About 1e6 trials give the ends of a 95 % interval to two digits.
// Source: JCGM 101:2008, 5.3, 6.4 and 7 (from memory).
//
// The errors are those of [Propagate], and one for an f that is not finite for
// some input drawn. A nil f or rng panics.
func MonteCarlo(rng *rand.Rand, f func(x []float64) float64, inputs []Input, correlation mat.Symmetric, trials int) (*Distribution, error) {
	const fn = "quantity.MonteCarlo"
	if err := checkInputs(fn, inputs, correlation); err != nil {
		return nil, err
	}
	if trials < 2 || trials > 100_000_000 {
		return nil, arg.Bad(fn, "trials", trials, "2 to 100 000 000")
	}
	for i, in := range inputs {
		if in.Shape == StudentT && !(in.DoF > 0) {
			return nil, arg.Bad(fn, "DoF of "+nameOf(in, i), in.DoF, "degrees of freedom above zero for StudentT")
		}
	}
	mix, err := mixing(fn, inputs, correlation)
	if err != nil {
		return nil, err
	}
	values := make([]float64, trials)
	blocks := (trials + blockSize - 1) / blockSize
	seeds := make([][2]uint64, blocks)
	for i := range seeds {
		seeds[i] = [2]uint64{rng.Uint64(), rng.Uint64()}
	}
	workers := min(runtime.GOMAXPROCS(0), blocks)
	failures := make([]error, workers)
	var group sync.WaitGroup
	for worker := range workers {
		group.Go(func() {
			for block := worker; block < blocks && failures[worker] == nil; block += workers {
				part := values[block*blockSize : min((block+1)*blockSize, trials)]
				s := sampler{rng: rand.New(rand.NewPCG(seeds[block][0], seeds[block][1])), inputs: inputs, mix: mix}
				failures[worker] = s.fill(f, part)
			}
		})
	}
	group.Wait()
	if err := errors.Join(failures...); err != nil {
		return nil, err
	}
	values = sorted(values, workers)
	d := &Distribution{Values: values}
	// About the middle value, sums of squares keep their digits.
	middle := values[trials/2]
	var sum, squares float64
	for _, v := range values {
		sum += v - middle
		squares += float64((v - middle) * (v - middle))
	}
	n := float64(trials)
	d.Mean = middle + sum/n
	d.U = math.Sqrt(math.Max(0, squares-sum*(sum/n)) / (n - 1))
	return d, nil
}

// Symmetric returns the probabilistically symmetric coverage interval: as many
// values below it as above. It returns an error unless 0 < p < 1 and the
// sample has a value outside the interval on either side.
// Source: JCGM 101:2008, 7.7 (from memory).
func (d *Distribution) Symmetric(p float64) (low, high float64, err error) {
	q, err := d.inside("quantity.Distribution.Symmetric", p)
	if err != nil {
		return 0, 0, err
	}
	r := (len(d.Values) - q) / 2
	return d.Values[r], d.Values[min(r+q, len(d.Values)-1)], nil
}

// Shortest returns the shortest coverage interval. For a distribution with one
// peak in the sample's interior its ends scatter more than those of Symmetric.
func (d *Distribution) Shortest(p float64) (low, high float64, err error) {
	q, err := d.inside("quantity.Distribution.Shortest", p)
	if err != nil {
		return 0, 0, err
	}
	best := 0
	for r := range len(d.Values) - q {
		if d.Values[r+q]-d.Values[r] < d.Values[best+q]-d.Values[best] {
			best = r
		}
	}
	return d.Values[best], d.Values[best+q], nil
}

// inside returns how many steps between values the interval must span.
func (d *Distribution) inside(fn string, p float64) (int, error) {
	m := len(d.Values)
	q := int(math.Floor(p*float64(m) + 0.5))
	if !(p > 0 && p < 1) || q < 1 || q > m-2 {
		return 0, arg.Bad(fn, "p", p, fmt.Sprintf("a probability between 0 and 1 that leaves some of the %d values on either side", m))
	}
	return q, nil
}

// mixed says how the correlated inputs follow from independent normal numbers.
type mixed struct {
	inputs []int
	root   *mat.Dense
}

func mixing(fn string, inputs []Input, correlation mat.Symmetric) (*mixed, error) {
	if correlation == nil {
		return nil, nil
	}
	m := &mixed{}
	for i, in := range inputs {
		for j := range inputs {
			if i != j && correlation.At(i, j) != 0 {
				if in.Shape != Normal {
					return nil, arg.Bad(fn, "Shape of "+nameOf(in, i), in.Shape.String(), "Normal for an input that is correlated with another")
				}
				m.inputs = append(m.inputs, i)
				break
			}
		}
	}
	if len(m.inputs) == 0 {
		return nil, nil
	}
	part := mat.NewSymDense(len(m.inputs), nil)
	for k, i := range m.inputs {
		for l, j := range m.inputs {
			part.SetSym(k, l, correlation.At(i, j))
		}
	}
	var ok bool
	if m.root, ok = root(part); !ok {
		return nil, arg.Bad(fn, "correlation", "not positive semidefinite", "coefficients that can occur together")
	}
	return m, nil
}

// A sampler draws the inputs of the trials of one block. Products are rounded
// one by one, so that no machine fuses them with the sum that follows.
type sampler struct {
	rng    *rand.Rand
	inputs []Input
	mix    *mixed
}

func (s *sampler) fill(f func([]float64) float64, values []float64) error {
	x := make([]float64, len(s.inputs))
	var z []float64
	if s.mix != nil {
		z = make([]float64, len(s.mix.inputs))
	}
	for trial := range values {
		for i := range s.inputs {
			if in := &s.inputs[i]; in.Shape == Normal {
				x[i] = in.Value + float64(in.U*s.rng.NormFloat64())
			} else {
				x[i] = s.draw(in)
			}
		}
		if s.mix != nil {
			for k := range z {
				z[k] = s.rng.NormFloat64()
			}
			for k, i := range s.mix.inputs {
				sum := 0.0
				for l, v := range z {
					sum += float64(s.mix.root.At(k, l) * v)
				}
				x[i] = s.inputs[i].Value + float64(s.inputs[i].U*sum)
			}
		}
		v := f(x)
		values[trial] = v
		if v-v != 0 {
			return arg.Bad("quantity.MonteCarlo", "f", v, fmt.Sprintf("a function that is finite for all inputs drawn; it is not at %v", x))
		}
	}
	return nil
}

// draw draws an input that is not Normal.
func (s *sampler) draw(in *Input) float64 {
	switch in.Shape {
	case Rectangular:
		return in.Value + float64(in.U*float64(math.Sqrt(3)*(2*s.rng.Float64()-1)))
	case Triangular:
		return in.Value + float64(in.U*float64(math.Sqrt(6)*(s.rng.Float64()-s.rng.Float64())))
	case StudentT:
		// R. W. Bailey, Math. Comp. 62 (1994) 779 (from memory): with u and v
		// even on (0, 1), cos(2 pi v) sqrt(nu (u^(-2/nu) - 1)) follows t.
		u := 1 - s.rng.Float64()
		size := math.Sqrt(float64(in.DoF * math.Expm1(float64(-2*math.Log(u))/in.DoF)))
		return in.Value + float64(in.U*float64(size*math.Cos(float64(2*math.Pi*s.rng.Float64()))))
	}
	panic("quantity: no such shape")
}

// sorted sorts in as many pieces as there are workers, then merges them.
func sorted(values []float64, workers int) []float64 {
	if workers < 2 || len(values) < 1<<16 {
		return radixSort(values)
	}
	half := len(values) / 2
	var group sync.WaitGroup
	var left, right []float64
	group.Go(func() { left = sorted(values[:half], workers/2) })
	right = sorted(values[half:], workers-workers/2)
	group.Wait()
	out := make([]float64, 0, len(values))
	i, j := 0, 0
	for i < len(left) && j < len(right) {
		if right[j] < left[i] {
			out = append(out, right[j])
			j++
		} else {
			out = append(out, left[i])
			i++
		}
	}
	return append(append(out, left[i:]...), right[j:]...)
}

// key is a number whose order is that of finite values.
func key(v float64) uint64 {
	b := math.Float64bits(v)
	return b ^ (uint64(int64(b)>>63) | 1<<63)
}

// radixSort sorts finite values by the digits of their keys, in a time that grows in proportion
// to their number; for a million it takes a quarter of the time of comparing them. The last digits
// decide seldom: values that agree in all the others are compared. The result may be another slice;
// values is its scratch space.
func radixSort(values []float64) []float64 {
	const (
		bits   = 11
		mask   = 1<<bits - 1
		from   = 22 // digits begin above these bits
		digits = 4  // from + bits * digits is at least 64
	)
	if len(values) < 1<<10 {
		slices.Sort(values)
		return values
	}
	var counts [digits][1 << bits]uint32 // small enough for the fastest cache
	for _, v := range values {
		k := key(v)
		for d := range counts {
			counts[d][k>>(from+d*bits)&mask]++
		}
	}
	read, write := values, make([]float64, len(values))
	for d := range counts {
		next, shift := &counts[d], from+d*bits
		if next[key(read[0])>>shift&mask] == uint32(len(values)) {
			continue // all have this digit, as they have most of the exponent
		}
		at := uint32(0)
		for digit, n := range next {
			next[digit] = at
			at += n
		}
		for _, v := range read {
			place := &next[key(v)>>shift&mask]
			write[*place] = v
			*place++
		}
		read, write = write, read
	}
	begin, first := 0, key(read[0])>>from
	for i, v := range read {
		k := key(v) >> from
		if k == first {
			continue
		}
		if i-begin > 1 {
			slices.Sort(read[begin:i])
		}
		begin, first = i, k
	}
	slices.Sort(read[begin:])
	return read
}

// String names the shape.
func (s Shape) String() string {
	if s < Normal || s > StudentT {
		return fmt.Sprintf("Shape(%d)", int(s))
	}
	return [...]string{"Normal", "Rectangular", "Triangular", "StudentT"}[s]
}
