package ask

import (
	"fmt"
	"strconv"
	"strings"

	"gravity.example/gravlab/wire"
)

// Function submits a function of your own. It has one of four forms:
//
//	func(float64) float64
//	func(float64, float64) float64
//	func([]float64) float64
//	func([]float64) []float64
//
// The lab server names the calls, this program makes them, and the lab server judges the
// results. A function has to give the same result for the same arguments, and
// it may change the slice that it is given.
func (c StudentSheet) Function(question string, f any) {
	signature, call := callable(f)
	if call == nil {
		if f == nil || signature != "" { // nothing written yet
			send(c.answer(question, wire.FormFunction), question, "no function yet")
			return
		}
		fmt.Printf("%s: not submitted: a function must be one of func(float64) float64, func(float64, float64) float64, func([]float64) float64, func([]float64) []float64; this one is %T\n", question, f)
		return
	}
	head := c.frame(wire.Function)
	head.Question, head.Signature = question, signature
	reply, err := wire.Exchange(head)
	if err != nil || reply.Kind != wire.Calls {
		report(reply, err, question, "a "+signature)
		return
	}
	calls, ok := wire.Split(reply.Numbers, reply.Lengths)
	if !ok {
		fmt.Printf("%s: not submitted: the lab server's calls cannot be read\n", question)
		return
	}
	values := c.frame(wire.Values)
	values.Question, values.Signature, values.Token = question, signature, reply.Token
	results := make([][]float64, len(calls))
	for i, args := range calls {
		var fault string
		if results[i], fault = try(call, args); fault != "" && values.Fault == "" {
			values.Fault = "panic in " + written(args) + ": " + fault
		}
	}
	values.Numbers, values.Lengths = wire.Join(results)
	send(values, question, "a "+signature)
}

// callable returns the signature of f and a way to call it; the call is nil if
// f is, and the signature empty if f has none of the four forms. The call gets
// a copy of its arguments, since a function may change its slice.
func callable(f any) (signature string, call func(args []float64) []float64) {
	switch f := f.(type) {
	case func(float64) float64:
		signature = "func(float64) float64"
		if f != nil {
			call = func(a []float64) []float64 { return []float64{f(a[0])} }
		}
	case func(float64, float64) float64:
		signature = "func(float64, float64) float64"
		if f != nil {
			call = func(a []float64) []float64 { return []float64{f(a[0], a[1])} }
		}
	case func([]float64) float64:
		signature = "func([]float64) float64"
		if f != nil {
			call = func(a []float64) []float64 { return []float64{f(append([]float64{}, a...))} }
		}
	case func([]float64) []float64:
		signature = "func([]float64) []float64"
		if f != nil {
			call = func(a []float64) []float64 { return append([]float64{}, f(append([]float64{}, a...))...) }
		}
	}
	return signature, call
}

// try makes one call; fault holds what the function panicked with.
func try(call func([]float64) []float64, args []float64) (result []float64, fault string) {
	defer func() {
		if r := recover(); r != nil {
			result, fault = nil, fmt.Sprint(r)
		}
	}()
	return call(args), ""
}

// written shows the arguments of a call, the first of many.
func written(args []float64) string {
	var parts []string
	for i, a := range args {
		if i == 4 {
			parts = append(parts, fmt.Sprintf("… (%d numbers)", len(args)))
			break
		}
		parts = append(parts, strconv.FormatFloat(a, 'g', 6, 64))
	}
	return "f(" + strings.Join(parts, ", ") + ")"
}
