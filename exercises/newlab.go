package exercises

// NewLab makes a lab from what build returns for a sheet's numbers: for banks
// that do not stand in this package. Build is called with the same Draw for the
// same code and has to return the same paper.
func NewLab(l Lab, build func(d *Draw) Paper) Lab {
	l.build = build
	return l
}
