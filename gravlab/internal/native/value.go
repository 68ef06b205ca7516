package native

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"time"
	"unsafe"
)

// Plain data travels as a list of numbers, field by field: a number, a truth value and a byte
// of a text are a number each (a whole number by its bits); before a text, a slice or what is
// pointed to stands how long it is plus one, and 0 for nil. What has an address or behaviour of
// its own (a function, an interface, a channel, a map) cannot travel.

var timeType = reflect.TypeFor[time.Time]()

// write appends v.
func write(list []float64, v reflect.Value) []float64 {
	switch v.Kind() {
	case reflect.Float64:
		return append(list, v.Float())
	case reflect.Int, reflect.Int64:
		return append(list, math.Float64frombits(uint64(v.Int())))
	case reflect.Uint8:
		return append(list, float64(v.Uint()))
	case reflect.Bool:
		if v.Bool() {
			return append(list, 1)
		}
		return append(list, 0)
	case reflect.Complex128:
		return append(list, real(v.Complex()), imag(v.Complex()))
	case reflect.String:
		s := v.String()
		list = append(list, float64(len(s)+1))
		for i := range len(s) {
			list = append(list, float64(s[i]))
		}
		return list
	case reflect.Pointer:
		if v.IsNil() {
			return append(list, 0)
		}
		return write(append(list, 1), v.Elem())
	case reflect.Slice:
		if v.IsNil() {
			return append(list, 0)
		}
		list = append(list, float64(v.Len()+1))
		if v.Type().Elem().Kind() == reflect.Float64 {
			return append(list, unsafe.Slice((*float64)(v.UnsafePointer()), v.Len())...)
		}
		for i := range v.Len() {
			list = write(list, v.Index(i))
		}
		return list
	case reflect.Array:
		for i := range v.Len() {
			list = write(list, v.Index(i))
		}
		return list
	case reflect.Struct:
		if v.Type() == timeType {
			t := reflect.NewAt(timeType, unsafe.Pointer(v.UnsafeAddr())).Interface().(*time.Time)
			return append(list, math.Float64frombits(uint64(t.Unix())), math.Float64frombits(uint64(t.Nanosecond())))
		}
		for i := range v.NumField() {
			list = write(list, v.Field(i))
		}
		return list
	}
	panic(fmt.Sprintf("a %v cannot be handed over", v.Type()))
}

// least is how many numbers a value of the type takes at the least.
func least(t reflect.Type) int {
	switch t.Kind() {
	case reflect.Complex128:
		return 2
	case reflect.Array:
		return t.Len() * least(t.Elem())
	case reflect.Struct:
		if t == timeType {
			return 2
		}
		n := 0
		for i := range t.NumField() {
			n += least(t.Field(i).Type)
		}
		return n
	}
	return 1
}

// A reader takes values off the front of a list. It panics at a list that write did not make.
type reader []float64

func (r *reader) number() float64 {
	if len(*r) == 0 {
		panic("the data end too soon")
	}
	f := (*r)[0]
	*r = (*r)[1:]
	return f
}

// length is of something whose parts take that many numbers each at the least; -1 is nil.
func (r *reader) length(each int) int {
	f := r.number() - 1
	if !(f >= -1 && f*float64(each) <= float64(len(*r))) || each < 1 {
		panic("the data have no such length")
	}
	return int(f)
}

func (r *reader) whole() int64 { return int64(math.Float64bits(r.number())) }

// read fills v, which is addressable.
func (r *reader) read(v reflect.Value) {
	if !v.CanSet() { // a field that is not exported
		v = reflect.NewAt(v.Type(), unsafe.Pointer(v.UnsafeAddr())).Elem()
	}
	switch t := v.Type(); v.Kind() {
	case reflect.Float64:
		v.SetFloat(r.number())
	case reflect.Int, reflect.Int64:
		v.SetInt(r.whole())
	case reflect.Uint8:
		v.SetUint(uint64(uint8(r.number())))
	case reflect.Bool:
		v.SetBool(r.number() == 1)
	case reflect.Complex128:
		re := r.number()
		v.SetComplex(complex(re, r.number()))
	case reflect.String:
		b := make([]byte, max(r.length(1), 0))
		for i := range b {
			b[i] = byte(r.number())
		}
		v.SetString(string(b))
	case reflect.Pointer:
		if r.length(least(t.Elem())) >= 0 {
			v.Set(reflect.New(t.Elem()))
			r.read(v.Elem())
		}
	case reflect.Slice:
		n := r.length(least(t.Elem()))
		if n < 0 {
			return
		}
		v.Set(reflect.MakeSlice(t, n, n))
		if t.Elem().Kind() == reflect.Float64 {
			copy(unsafe.Slice((*float64)(v.UnsafePointer()), n), *r)
			*r = (*r)[n:]
			return
		}
		for i := range n {
			r.read(v.Index(i))
		}
	case reflect.Array:
		for i := range v.Len() {
			r.read(v.Index(i))
		}
	case reflect.Struct:
		if t == timeType {
			s := r.whole()
			v.Set(reflect.ValueOf(time.Unix(s, r.whole()).UTC()))
			return
		}
		for i := range v.NumField() {
			r.read(v.Field(i))
		}
	default:
		panic(fmt.Sprintf("a %v cannot be handed over", t))
	}
}

func listOf[T any](v *T) []float64 { return write(nil, reflect.ValueOf(v).Elem()) }

func valueOf[T any](list []float64) (v T) {
	r := reader(list)
	r.read(reflect.ValueOf(&v).Elem())
	if len(r) > 0 {
		panic("the data are too long")
	}
	return v
}

// outcome is what a function returns. Known is which of the errors that callers look for its error
// wraps, from 1.
type outcome[T any] struct {
	Value  T
	Failed bool
	Said   string
	Known  int
}

func outcomeOf[T any](v T, err error, known []error) outcome[T] {
	if err == nil {
		return outcome[T]{Value: v}
	}
	return outcome[T]{v, true, err.Error(), slices.IndexFunc(known, func(k error) bool { return errors.Is(err, k) }) + 1}
}

func (o outcome[T]) result(known []error) (T, error) {
	if !o.Failed {
		return o.Value, nil
	}
	err := &failure{said: o.Said}
	if o.Known > 0 {
		err.wraps = known[o.Known-1]
	}
	return o.Value, err
}

// failure is an error that was returned on the other side.
type failure struct {
	said  string
	wraps error
}

func (f *failure) Error() string { return f.said }
func (f *failure) Unwrap() error { return f.wraps }
