package figure

import "encoding/json"

// Package json looks at a type once: see package wire.
func init() {
	if _, _, err := new(Figure).Pack(); err != nil {
		panic(err)
	}
	if _, err := json.Marshal(Sketch{}); err != nil {
		panic(err)
	}
}
