//go:build !wasip1

package figure

import (
	"encoding/json"
	"fmt"
)

// packed is the head of a figure under way: everything but the long numbers,
// and how many of those each slice has.
type packed struct {
	Figure
	Counts []int `json:"counts"`
}

// Unpack puts a figure together again. Its slices share memory with numbers.
// The result may still be refused by Validate.
func Unpack(head []byte, numbers []float64) (*Figure, error) {
	var p packed
	if err := json.Unmarshal(head, &p); err != nil {
		return nil, fmt.Errorf("figure: the head cannot be read: %w", err)
	}
	all := p.slices()
	if len(all) != len(p.Counts) {
		return nil, fmt.Errorf("figure: the head counts %d slices; allowed: %d for its series", len(p.Counts), len(all))
	}
	rest := numbers
	for i, n := range p.Counts {
		if n < 0 || n > len(rest) {
			return nil, fmt.Errorf("figure: slice %d wants %d numbers and %d are left", i, n, len(rest))
		}
		if n > 0 {
			*all[i] = rest[:n:n]
		}
		rest = rest[n:]
	}
	if len(rest) > 0 {
		return nil, fmt.Errorf("figure: %d numbers are left over", len(rest))
	}
	return &p.Figure, nil
}
