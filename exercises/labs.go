// Package exercises is the bank that comes with the program: a list of its labs, each a
// package of its own below this folder. README.md says how to write a question.
package exercises

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"gravity.example/exercises/lab00"
	"gravity.example/exercises/lab01"
	"gravity.example/exercises/lab02"
	"gravity.example/exercises/lab03"
	"gravity.example/exercises/lab04"
	"gravity.example/exercises/lab05"
	"gravity.example/exercises/lab06"
	"gravity.example/exercises/lab07"
	"gravity.example/exercises/lab08"
	"gravity.example/exercises/lab09"
	"gravity.example/exercises/lab10"
	"gravity.example/exercises/lab11"
	"gravity.example/exercises/lab12"
	"gravity.example/exercises/lab13"
	"gravity.example/exercises/lab14"
	"gravity.example/exercises/lab15"
	"gravity.example/exercises/lab16"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
)

// labs in the order in which they are taught.
var labs = []bank.Lab{
	lab00.Lab,
	lab01.Lab,
	lab02.Lab,
	lab03.Lab,
	lab04.Lab,
	lab05.Lab,
	lab06.Lab,
	lab07.Lab,
	lab08.Lab,
	lab09.Lab,
	lab10.Lab,
	lab11.Lab,
	lab12.Lab,
	lab13.Lab,
	lab14.Lab,
	lab15.Lab,
	lab16.Lab,
}

// Labs returns all labs in order.
func Labs() []bank.Lab {
	return labs
}

// Add puts labs into the bank, as a lecturer's own bank does when the program
// starts. A lab with the id of one that is there takes its place, so that an own bank
// may change a tolerance; two labs with one number and different ids are
// refused, and then nothing is added.
func Add(own ...bank.Lab) error {
	all := slices.Clone(labs)
	for _, l := range own {
		if !labID.MatchString(l.ID) || l.Build == nil {
			return fmt.Errorf("a lab has the id %q and needs one like 91-plumb-line: two digits, then words of small letters and digits with hyphens; and a Build", l.ID)
		}
		i := slices.IndexFunc(all, func(old bank.Lab) bool { return old.Number() == l.Number() })
		switch {
		case i < 0:
			all = append(all, l)
		case all[i].ID != l.ID:
			return fmt.Errorf("the labs %s and %s have the same number; take another for your own", all[i].ID, l.ID)
		default:
			all[i] = l
		}
	}
	labs = all
	return nil
}

var labID = regexp.MustCompile(`^[0-9]{2}(-[a-z0-9]+)+$`)

// Find returns the lab with an id or a number: "01-weighing-the-earth", "01", "1".
func Find(id string) (bank.Lab, error) {
	var known []string
	for _, l := range labs {
		if l.Is(id) {
			return l, nil
		}
		known = append(known, l.ID)
	}
	return bank.Lab{}, fmt.Errorf("there is no lab %q; the labs are %s", id, strings.Join(known, ", "))
}

// SheetOf returns the sheet that a notebook declares; ok is false when no cell
// from the bank declares one.
func SheetOf(nb *notebook.Notebook) (s bank.Sheet, ok bool, err error) {
	id, code, ok, err := bank.Declared(nb)
	if err != nil || !ok {
		return bank.Sheet{}, false, err
	}
	lab, err := Find(id)
	if err != nil {
		return bank.Sheet{}, false, err
	}
	return lab.Sheet(code).Worded(nb), true, nil
}
