package figure

import "fmt"

// slices returns all data of f in a fixed order.
func (f *Figure) slices() []*[]float64 {
	var all []*[]float64
	add := func(list []Series) {
		for i := range list {
			all = append(all, &list[i].X, &list[i].Y, &list[i].U)
		}
	}
	add(f.Series)
	for i := range f.Under {
		add(f.Under[i].Series)
	}
	if f.Map != nil {
		all = append(all, &f.Map.X, &f.Map.Y, &f.Map.Z)
	}
	return all
}

// Pack splits a figure into a small JSON object and its numbers in one slice,
// as frames carry them.
func (f *Figure) Pack() (head []byte, numbers []float64, err error) {
	var o object
	o.within("", "{}", func() {
		o.figure(f)
		o.within("counts", "[]", func() {
			for _, s := range f.slices() {
				o.count("", len(*s))
				numbers = append(numbers, *s...)
			}
		})
	})
	if o.err != nil {
		return nil, nil, fmt.Errorf("figure: packing: %w", o.err)
	}
	return o.b, numbers, nil
}

// Pack makes a JSON object of a sketch, as frames carry it.
func (s *Sketch) Pack() ([]byte, error) {
	var o object
	o.within("", "{}", func() { o.sketch(s) })
	if o.err != nil {
		return nil, fmt.Errorf("sketch: packing: %w", o.err)
	}
	return o.b, nil
}
