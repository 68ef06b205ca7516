package wire

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"unicode/utf8"
)

// The head of a frame is a list of those of its fields that are not empty: the number of the
// field, a byte, and its value. The numbers rise, so that no field comes twice. A text or Figure
// is its length and its bytes; Lengths and Columns are how many there are, and each; whole
// numbers are varints, as in encoding/binary, and lengths and counts unsigned ones. A truth value
// is there or not.
//
// Package json would do the same, and took a quarter of the bytes that a confined program has
// over those of fmt, which are to be read before it runs.

// texts lists the fields that are texts; their numbers begin with 0.
func (h *Head) texts() [14]*string {
	return [...]*string{
		(*string)(&h.Kind), &h.Lab, &h.Code, &h.Question, (*string)(&h.Form), &h.Unit, &h.Text,
		&h.Signature, &h.Token, &h.Fault, &h.Name, &h.MIME, &h.Pipe, &h.PipeBack,
	}
}

// The numbers of the other fields go on from there.
const (
	fieldFigure = 14 + iota
	fieldLengths
	fieldColumns
	fieldAt
	fieldTotal
	fieldAssessed
	fieldOwn
)

func (h *Head) append(dst []byte) []byte {
	for i, s := range h.texts() {
		if *s != "" {
			dst = appendText(append(dst, byte(i)), *s)
		}
	}
	if len(h.Figure) > 0 {
		dst = appendText(append(dst, fieldFigure), h.Figure)
	}
	if len(h.Lengths) > 0 {
		dst = binary.AppendUvarint(append(dst, fieldLengths), uint64(len(h.Lengths)))
		for _, n := range h.Lengths {
			dst = binary.AppendVarint(dst, int64(n))
		}
	}
	if len(h.Columns) > 0 {
		dst = binary.AppendUvarint(append(dst, fieldColumns), uint64(len(h.Columns)))
		for _, c := range h.Columns {
			dst = appendText(appendText(dst, c.Name), c.Unit)
		}
	}
	for i, n := range [...]int{h.At, h.Total} {
		if n != 0 {
			dst = binary.AppendVarint(append(dst, byte(fieldAt+i)), int64(n))
		}
	}
	for i, is := range [...]bool{h.Assessed, h.Own} {
		if is {
			dst = append(dst, byte(fieldAssessed+i))
		}
	}
	return dst
}

func appendText[T string | []byte](dst []byte, s T) []byte {
	return append(binary.AppendUvarint(dst, uint64(len(s))), s...)
}

var errHead = errors.New("the head of a frame is not one")

// decode fills an empty h from the whole of b, of which it keeps nothing. Bytes of a text that
// are not UTF-8 become U+FFFD each.
func (h *Head) decode(b []byte) error {
	texts := h.texts()
	for next := 0; len(b) > 0; {
		field := int(b[0])
		if field < next || field > fieldOwn {
			return fmt.Errorf("%w: field %d", errHead, field)
		}
		next = field + 1
		b = b[1:]
		ok := true
		switch field {
		default:
			*texts[field], ok = takeText(&b)
		case fieldFigure:
			var p []byte
			p, ok = take(&b)
			h.Figure = append([]byte(nil), p...)
		case fieldLengths:
			var n int
			if n, ok = takeCount(&b, 1); ok {
				h.Lengths = make([]int, n)
			}
			for i := 0; ok && i < n; i++ {
				h.Lengths[i], ok = takeWhole(&b)
			}
		case fieldColumns:
			var n int
			if n, ok = takeCount(&b, 2); ok {
				h.Columns = make([]Column, n)
			}
			for i := 0; ok && i < n; i++ {
				if h.Columns[i].Name, ok = takeText(&b); ok {
					h.Columns[i].Unit, ok = takeText(&b)
				}
			}
		case fieldAt:
			h.At, ok = takeWhole(&b)
		case fieldTotal:
			h.Total, ok = takeWhole(&b)
		case fieldAssessed:
			h.Assessed = true
		case fieldOwn:
			h.Own = true
		}
		if !ok {
			return fmt.Errorf("%w: the value of field %d", errHead, field)
		}
	}
	return nil
}

// takeCount takes a count of things off the front of b, each of which has some bytes at the
// least: what a sender claims is not believed beyond what is there.
func takeCount(b *[]byte, each int) (n int, ok bool) {
	u, size := binary.Uvarint(*b)
	if size <= 0 || u > uint64((len(*b)-size)/each) {
		return 0, false
	}
	*b = (*b)[size:]
	return int(u), true
}

func take(b *[]byte) (p []byte, ok bool) {
	n, ok := takeCount(b, 1)
	if !ok {
		return nil, false
	}
	p, *b = (*b)[:n], (*b)[n:]
	return p, true
}

func takeText(b *[]byte) (s string, ok bool) {
	p, ok := take(b)
	if s = string(p); !utf8.ValidString(s) {
		s = string([]rune(s))
	}
	return s, ok
}

func takeWhole(b *[]byte) (n int, ok bool) {
	v, size := binary.Varint(*b)
	if size <= 0 || v > math.MaxInt || v < math.MinInt {
		return 0, false
	}
	*b = (*b)[size:]
	return int(v), true
}
