package fieldday

// A Body is what the anomalies say about one body under the field.
type Body struct {
	Lines []string // in words
	Fits  []BodyFit
}

// A BodyFit is one kind of body fitted to the stations on the map.
type BodyFit struct {
	Kind string
	Chi2 float64
	DoF  int
	Text string
}
