// Package pipe holds what passes between package machines and the program that reaches other
// machines.
package pipe

// A Message passes between a program and the carrier beside it.
type Message struct {
	Kind Kind
	Key  string // of the errand
	Body []byte // the errand, or what came back
	Text string // of Back, as the marker has it: the machine's name, as it gives it
}

// Kind says what a message is for.
type Kind string

// Of the kinds, a program that marks sends Put, Done and Distrust; one with a lab hour Box; one
// that lends Beat, Back and Fault. The carrier sends Put to those that lend, Back and Fault to the
// others, Places to a lab hour, and Note and End to all.
const (
	Put   Kind = "put"   // an errand is to be run
	Done  Kind = "done"  // what came back is taken, and may be removed
	Back  Kind = "back"  // an errand came back; without a body, it has to be run here
	Fault Kind = "fault" // it could not be run; Text says why
	Beat  Kind = "beat"  // the program that lends is alive
	Note  Kind = "note"  // for the person
	Box   Kind = "box"   // a box of a lab hour is to be run now
	// Places says how many boxes other machines run at once; Text is the number.
	Places Kind = "places"
	// Distrust says that nothing counts that has come back and is not taken.
	Distrust Kind = "distrust"
	End      Kind = "end" // the carrier cannot go on; Text says why
)
