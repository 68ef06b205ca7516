package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/term"
)

var totalCommand = command{
	name: "total", args: "--class LIST --rules RULES --out TERM",
	short: "add up the labs of a term",
	long: `
Adds up the marks books of a term's labs by your rules and writes into TERM:

  total.csv       one row per student: marks per lab, total, and how it came about
  pages/ID.html   the same for each student, with how each figure came about
  second.csv      a second marker's marks beside yours, with the differences
  changes.csv     what has changed since the first call, and why

RULES is a CSV file with the columns rule, lab, id, value, reason. Folders and files
in it are named from where it lies. Its rules:

  book       lab       marks-01              a lab that counts, and its marks book
  weight     lab       2                     without it 1
  best                 4                     the 4 labs with the highest percentages count
  resit      lab       marks-01-resit        marks book of a resit
  resits               replace               or average, or better
  due        lab       2026-11-03T18:00+01:00
  late       (lab)     10 % per day          or 2 marks per day, or 20 % once
  late most  (lab)     50 %                  or 5 marks
  extension  lab, id   2026-11-10T18:00+01:00
  handed     lab, id   2026-11-03T17:00+01:00   if the archive does not say, or is wrong
  excused    lab, id
  marks      lab, id   -2                    for one member of a group, for example
  second     lab       second-01.csv         columns id, question, marks, agreed, reason
  assigned   lab       2026-10-20            when it was handed out; for --roster
  results              2026-12-14            date of the results; for --roster

The date of handing in is that of the file in the archive of the whole class, if one
archive was marked. Rules that contradict each other are refused, with both lines. A total with
unread texts is provisional.

--class LIST    the class list of the term; the tables are in its dialect. Groups
                are rows of a lab's class list with a column members
--rules RULES   the table of rules
--out TERM      the folder to write into
--roster ROSTER the OneRoster set that the class list was made from: writes
                TERM/results.zip too, a OneRoster set with the results
--roster-class CLASS   which class of it, if it has several

Example:

  gravlab total --class class.csv --rules rules.csv --out term`,
	run: runTotal,
}

func runTotal(ctx context.Context, c *call) error {
	class := c.flags.String("class", "", "")
	rules := c.flags.String("rules", "", "")
	out := c.flags.String("out", "", "")
	from := c.flags.String("roster", "", "")
	of := c.flags.String("roster-class", "", "")
	args, err := c.parse()
	const hint = "gravlab total --class class.csv --rules rules.csv --out term"
	switch {
	case err != nil:
		return err
	case len(args) > 0:
		return usageError{fmt.Errorf("unexpected %s", strings.Join(args, " ")), hint}
	case *class == "" || *rules == "" || *out == "":
		return usageError{errors.New("needs --class, --rules and --out"), hint}
	}
	t := term.Total{Out: *out}
	if t.Class, err = marking.ReadClass(*class); err != nil {
		return usageError{err, ""}
	}
	warnGuess(c, *class, t.Class.Note)
	if t.Rules, err = term.ReadRules(*rules, t.Class); err != nil {
		return usageError{err, ""}
	}
	if *from != "" {
		if t.Roster, err = term.ReadRoster(*from); err == nil {
			t.Taught, err = t.Roster.Class(*of)
		}
		if err != nil {
			return usageError{err, ""}
		}
	}
	r, err := t.Write(ctx)
	if marking.IsInput(err) {
		return usageError{err, ""}
	} else if err != nil {
		return err
	}
	open := 0
	for _, s := range r.Students {
		if !s.Final() {
			open++
		}
	}
	fmt.Fprintf(c.out, "%s, %s", some(len(r.Labs), "lab", "labs"), some(len(r.Students), "student", "students"))
	if open > 0 {
		fmt.Fprintf(c.out, "; %s provisional", some(open, "total", "totals"))
	}
	if r.Changes > 0 {
		fmt.Fprintf(c.out, "; %s since the call before, see changes.csv", some(r.Changes, "figure has changed", "figures have changed"))
	}
	fmt.Fprintln(c.out)
	for i, remark := range r.Remarks {
		if i == 20 {
			fmt.Fprintf(c.err, "and %s\n", some(len(r.Remarks)-20, "more remark", "more remarks"))
			break
		}
		fmt.Fprintln(c.err, remark)
	}
	fmt.Fprintln(c.out, filepath.Join(*out, "total.csv"))
	if t.Roster != nil {
		fmt.Fprintln(c.out, filepath.Join(*out, "results.zip"))
	}
	return nil
}
