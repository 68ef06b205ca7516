package bank

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
)

// A sealed sheet is one whose numbers come from the class key and not from its code: the
// code is a name, which ends in -S. Who has the key makes the sheet with
// Lab.WithKey(SheetKey(…)).Sheet(code). For everybody else Lab.Sheet gives a sheet with
// Sealed set: kinds, units, options and the forms of functions, and nothing that depends on
// the numbers.

// Keyed is what the class key is used for: HMAC-SHA-256 (RFC 2104, FIPS 198-1) of a purpose
// and of what it is about. Each part is preceded by its length, so that no two lists of
// parts have the same bytes. The purposes in use are practice, name, sealed, draw and
// entry.
func Keyed(key []byte, purpose string, parts ...string) []byte {
	mac := hmac.New(sha256.New, key)
	for _, part := range append([]string{"gravlab", purpose}, parts...) {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(part)))
		mac.Write(n[:])
		mac.Write([]byte(part))
	}
	return mac.Sum(nil)
}

// sealedEnd is how the name of a sealed sheet ends.
const sealedEnd = "-S"

// Sealed reports whether a code is the name of a sealed sheet.
func (c Code) Sealed() bool { return strings.HasSuffix(string(c), sealedEnd) }

// SealedCode is the name of a student's sealed sheet of a lab. word tells the sheets of a
// resit from the first ones, which have none. The name says nothing about the sheet's
// numbers.
func SealedCode(key []byte, lab, student, word string) Code {
	return codeFrom(Keyed(key, "name", lab, student, word)) + sealedEnd
}

// SheetKey is the key of one student's sealed sheet: 256 bits, of which nothing leads back
// to the class key or to another sheet's.
func SheetKey(key []byte, lab, student, word string) []byte {
	return Keyed(key, "sealed", lab, student, word)
}

// WithKey is the lab as who has the key of a sealed sheet knows it: Sheet, given the name
// of a sealed sheet, makes its numbers. Other codes give what they always give.
func (l Lab) WithKey(sheetKey []byte) Lab {
	l.key = sheetKey
	return l
}

// keyedRand is a stream of random numbers of a sealed sheet.
func keyedRand(sheetKey []byte, name string) *rand.Rand {
	return rand.New(rand.NewChaCha8([32]byte(Keyed(sheetKey, "draw", name))))
}

// ErrSealed says that a sealed sheet's numbers cannot be had without its key.
var ErrSealed = errors.New("this sheet is sealed: its numbers come from a key that your lecturer has, and not from this program")

// strip takes out of a sheet of the default numbers all that a sealed sheet does not have
// in common with it.
func (s *Sheet) strip() {
	s.Sealed, s.Fields = true, nil
	for i := range s.Questions {
		q := &s.Questions[i]
		q.Fields, q.Uses, q.Solve, q.U, q.Slips, q.USlips, q.Degrees, q.Range = nil, nil, nil, nil, nil, nil, nil, [2]float64{}
		q.Hints, q.Worked, q.Reasoning, q.Compare, q.Source.Check = [2]string{}, "", "", "", nil
		q.Prompt = ErrSealed.Error()
		options := append(q.Options[:0:0], q.Options...)
		for k := range options {
			options[k].Right, options[k].Idea = false, ""
		}
		q.Options = options
		if q.Function != nil {
			f := *q.Function
			f.Slips, f.Degrees = nil, nil
			q.Function = &f // its calls are those of the default sheet, which are public
		}
	}
	for i := range s.Recordings {
		id := s.Recordings[i].ID
		s.Recordings[i].Make = func() ([][]float64, error) { return nil, fmt.Errorf("recording %s: %w", id, ErrSealed) }
	}
}

var (
	optionLine = regexp.MustCompile(`(?m)^- \*\*([a-z])\*\* (.+)$`)
	marksLine  = regexp.MustCompile(`(?s)\n\*([0-9]{1,3}) marks?\. [^\n]*\*\s*$`)
)

// Worded is a sealed sheet with the words of its questions as they stand in a notebook: the
// prompt with the sheet's numbers, the options in their order, the marks. Any other sheet
// stays as it is. Nothing is believed but what is shown again.
func (s Sheet) Worded(nb *notebook.Notebook) Sheet {
	if !s.Sealed {
		return s
	}
	questions := append(s.Questions[:0:0], s.Questions...)
	for i := range questions {
		q := &questions[i]
		cell := nb.Question(s.Lab.FullID(q.ID), notebook.QuestionText)
		if cell == nil {
			continue
		}
		text := cell.Source
		if m := marksLine.FindStringSubmatchIndex(text); m != nil {
			if n, err := strconv.Atoi(text[m[2]:m[3]]); err == nil {
				q.Marks = n
			}
			text = text[:m[0]]
		}
		if head, rest, ok := strings.Cut(text, "\n"); ok && strings.HasPrefix(head, "### ") {
			q.Title, text = strings.TrimPrefix(head, "### "), rest
		}
		if q.Kind == judge.KindChoice {
			var options []judge.Option
			for _, m := range optionLine.FindAllStringSubmatch(text, -1) {
				options = append(options, judge.Option{Letter: m[1], Text: m[2]})
			}
			if len(options) == len(q.Options) {
				q.Options = options
				text = optionLine.ReplaceAllString(text, "")
			}
		}
		q.Prompt = strings.TrimSpace(text)
	}
	s.Questions = questions
	return s
}
