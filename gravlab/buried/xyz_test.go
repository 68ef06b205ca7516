package buried

import "gonum.org/v1/gonum/spatial/r3"

func xyz(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }
