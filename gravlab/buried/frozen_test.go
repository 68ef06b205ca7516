package buried

// µGal; changing these changes what classes were handed out.
var frozen = []float64{92, 88, 77, 81, 89}
