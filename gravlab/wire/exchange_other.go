//go:build !unix && !wasip1

package wire

// pipes does nothing: notebooks run confined on this system.
func pipes(*Head) {}

// transport knows no way to a lab server: on this system the program runs labs
// confined (see gravlab run), and a program started by hand has no bench.
func transport([]byte) ([]byte, error) { return nil, ErrNoServer }
