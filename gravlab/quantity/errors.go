package quantity

import (
	"errors"
	"fmt"
)

// Kinds of refusal: errors.Is(err, ErrNoUnit) and so on.
var (
	ErrEmpty       = errors.New("nothing was typed")
	ErrUnreadable  = errors.New("this cannot be read as a number with a unit")
	ErrNotFinite   = errors.New("this is not a finite number")
	ErrRange       = errors.New("this number is too large or too small")
	ErrNoUnit      = errors.New("the unit is missing")
	ErrUnknownUnit = errors.New("this unit is not known")
	ErrDimension   = errors.New("this is a unit of something else")
	ErrAmbiguous   = errors.New("this can be read in two ways")
	ErrUncertainty = errors.New("this uncertainty cannot be used")
)

// Kinds of ErrDimension that say more: of two units behind a number one is meant.
var (
	errTwice    = &dimensionKind{"the unit is given twice"}
	errTwoUnits = &dimensionKind{"one number has two units"}
)

type dimensionKind struct{ text string }

func (k *dimensionKind) Error() string { return k.text }
func (k *dimensionKind) Unwrap() error { return ErrDimension }

// An InputError refuses typed text. It wraps one of the kinds above and asks
// for what should be typed instead.
type InputError struct {
	Text string // as typed
	Kind error  // one of the Err variables, or what wraps one and says more
	Ask  string // what to type, or the question

	// Number and Unit are what could be read where the unit is at fault: the
	// number as typed, in whatever unit, and for ErrDimension the unit. They
	// allow a verdict "right number, wrong or missing unit".
	Number    float64
	HasNumber bool
	Unit      Unit
}

func (e *InputError) Error() string {
	text := e.Text
	if len(text) > 60 {
		text = string([]rune(text)[:min(40, len([]rune(text)))]) + "…"
	}
	if e.Kind == ErrEmpty {
		return fmt.Sprintf("%v: %s", e.Kind, e.Ask)
	}
	return fmt.Sprintf("%q: %v: %s", text, e.Kind, e.Ask)
}

// Unwrap returns the kind.
func (e *InputError) Unwrap() error { return e.Kind }

func refuse(text string, kind error, ask string, values ...any) *InputError {
	return &InputError{Text: text, Kind: kind, Ask: fmt.Sprintf(ask, values...)}
}
