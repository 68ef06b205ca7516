package survey

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
)

// A sparse row of a design matrix.
type sparse struct {
	at    []int
	value []float64
}

func (s *sparse) add(at int, value float64) {
	s.at, s.value = append(s.at, at), append(s.value, value)
}

// station is the place of the row's station, -1 for none, and the rest of the row.
func (s sparse) station(stations int) (at int, rest sparse) {
	if len(s.at) > 0 && s.at[0] < stations {
		return s.at[0], sparse{s.at[1:], s.value[1:]}
	}
	return -1, s
}

// stationsApart solves observations of one station each. The columns of the stations
// have no observation in common, so that each is eliminated by taking its weighted mean off
// the observations at it; what is left are the few terms of the drift, which are fitted by
// orthogonal matrices as all else is (package fit). With the stations as D, the terms as B
// and S the covariance of the terms,
//
//	cov(stations) = D⁻¹ + A S Aᵀ,  cov(stations, terms) = −A S,  A = the mean terms at each station
//
// which is the inverse of the normal matrix by blocks (common practice, no source).
func stationsApart(rows []sparse, y, sigma []float64, stations, parameters int) (*fit.Result, error) {
	n, terms := len(rows), parameters-stations
	weight, mean := make([]float64, stations), make([]float64, stations)
	middle := mat.NewDense(stations, max(terms, 1), nil) // A
	reduced := mat.NewDense(n, max(terms, 1), nil)
	length := make([]float64, terms)
	for i, row := range rows {
		s, rest := row.station(stations)
		w := 1 / (sigma[i] * sigma[i])
		for k, j := range rest.at {
			reduced.Set(i, j-stations, rest.value[k])
			length[j-stations] += w * rest.value[k] * rest.value[k]
		}
		if s < 0 {
			continue
		}
		weight[s] += w
		mean[s] += w * y[i]
		for k, j := range rest.at {
			middle.Set(s, j-stations, middle.At(s, j-stations)+w*rest.value[k])
		}
	}
	for s := range stations {
		if weight[s] == 0 {
			return nil, fmt.Errorf("station %d of %d has no observation", s+1, stations)
		}
		mean[s] /= weight[s]
		for k := range terms {
			middle.Set(s, k, middle.At(s, k)/weight[s])
		}
	}
	r := &fit.Result{P: make([]float64, parameters), U: make([]float64, parameters), Cov: mat.NewSymDense(parameters, nil),
		DoF: n - parameters, Residuals: make([]float64, n), Names: make([]string, parameters)}
	for i := range r.Names {
		r.Names[i] = fmt.Sprintf("p%d", i)
	}
	left := make([]float64, n)
	square := make([]float64, terms)
	for i, row := range rows {
		left[i] = y[i]
		s, _ := row.station(stations)
		if s >= 0 {
			left[i] -= mean[s]
		}
		for k := range terms {
			v := reduced.At(i, k)
			if s >= 0 {
				v -= middle.At(s, k)
				reduced.Set(i, k, v)
			}
			square[k] += v * v / (sigma[i] * sigma[i])
		}
	}
	if terms > 0 {
		for k := range terms {
			if square[k] <= 1e-20*length[k] {
				r.Undetermined = append(r.Undetermined, r.Names[stations+k])
			}
		}
		if len(r.Undetermined) > 0 {
			return r, nil
		}
		of, err := fit.Linear(reduced, left, sigma)
		if err != nil {
			return nil, err
		}
		if r.Undetermined = of.Undetermined; len(r.Undetermined) > 0 {
			return r, nil
		}
		copy(r.P[stations:], of.P)
		for j := range terms {
			for k := j; k < terms; k++ {
				r.Cov.SetSym(stations+j, stations+k, of.Cov.At(j, k))
			}
		}
		var as mat.Dense
		as.Mul(middle, of.Cov)
		for s := range stations {
			for k := range terms {
				r.Cov.SetSym(s, stations+k, -as.At(s, k))
			}
		}
		a, b := as.RawMatrix(), middle.RawMatrix()
		for s := range stations {
			for q := s; q < stations; q++ {
				sum := 0.0
				for k := range terms {
					sum += a.Data[s*a.Stride+k] * b.Data[q*b.Stride+k]
				}
				r.Cov.SetSym(s, q, sum)
			}
		}
	}
	for s := range stations {
		r.P[s] = mean[s]
		for k := range terms {
			r.P[s] -= middle.At(s, k) * r.P[stations+k]
		}
		r.Cov.SetSym(s, s, r.Cov.At(s, s)+1/weight[s])
	}
	for i := range r.U {
		r.U[i] = math.Sqrt(r.Cov.At(i, i))
	}
	for i, row := range rows {
		v := y[i]
		for k, j := range row.at {
			v -= row.value[k] * r.P[j]
		}
		r.Residuals[i] = v
		r.Chi2 += v * v / (sigma[i] * sigma[i])
	}
	return r, nil
}
