// Package pipe holds what passes between package machines and the program that reaches other
// machines.
package pipe

// A Message passes between a program and the carrier beside it.
type Message struct {
	Kind Kind
	Key  string // of the errand
	Body []byte // the errand, or what came back
	Text string
}

// Kind says what a message is for.
type Kind string

// Of the kinds, a program that marks sends Put and Done; one that lends Beat, Back and Fault. The
// carrier sends Put to those that lend, Back and Fault to those that mark, and Note and End to
// either.
const (
	Put   Kind = "put"   // an errand is to be run
	Done  Kind = "done"  // what came back is taken, and may be removed
	Back  Kind = "back"  // an errand came back
	Fault Kind = "fault" // it could not be run; Text says why
	Beat  Kind = "beat"  // the program that lends is alive
	Note  Kind = "note"  // for the person
	End   Kind = "end"   // the carrier cannot go on; Text says why
)
