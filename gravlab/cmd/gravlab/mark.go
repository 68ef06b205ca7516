package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/machines"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/sandbox"
)

var markCommand = command{
	name: "mark", args: "--class LIST --out MARKS [flags] RETURNED...",
	short: "mark what a class handed in",
	long: `
Collects the notebooks in RETURNED (folders, notebooks, .zip and .tar.gz archives),
identifies each by its sheet code, not by its name, runs them confined, judges them and
writes into MARKS:

  marks.csv          one row per student
  replies/ID.html    a reply to each student who handed in a file
  class.html         spread of marks, figures per question, slips, who is missing
  remarks.csv        what you should look at, and each file that was not read
  remarks.html       sealed sheets: what you may want to talk about, both sides of it
  by-eye.html        the texts without names, with figures and rubric
  by-eye.csv         texts: read them, fill in the column marks, mark again

You can stop it at any time and start it again: nothing is run twice. The
notebooks are other people's programs; they get no files, no network and no
more than 256 MiB and a minute each.

Files with the same bytes count once. Of different files with one code, the one in
the folder that names the student (by id or full name) counts; if that does not decide,
none is marked until you name one in adjust.csv.

--class LIST      the class list of the handout
--key FILE        the class key; without this flag LIST with the ending .key
--out MARKS       the folder to write into
--lab LAB         which lab, if RETURNED holds sheets from several
--adjust FILE     your own decisions, which override the rest: columns id, question,
                  marks, reason; question "file" names, by its fingerprint, which of
                  several files with one code counts. Without this flag:
                  MARKS/adjust.csv
--reference FILE  your values for own recordings: columns id (or *), question,
                  value, u, unit, and perhaps allowed, the standard uncertainty
                  that a careful student reaches (without it: u)
--word WORD       the sheets of a resit, handed out with the same word
--judge-again     judges the stored answers by the bank as it is now; runs nothing.
                  Without it mark stops where the bank is not that of the handout
--bank DIR        use your own bank (see gravlab help handout)
--machines URL    let machines that lend their processors run the notebooks, by your
                  NATS with JetStream; --token-file, --creds and --tls-ca are those
                  of gravlab help lend
--machines-listen ADDRESS
                  the same without a NATS of your own: starts one here, and says
                  what to call on the other machines

Give the same --adjust, --reference and --bank each time: if one is missing and
marks would change, it stops and names the students.

Example:

  gravlab mark --class class.csv --out marks-01 returned`,
	run: runMark,
}

func runMark(ctx context.Context, c *call) error {
	var m marking.Marking
	class := c.flags.String("class", "", "")
	key := c.flags.String("key", "", "")
	bank := c.flags.String("bank", "", "")
	c.flags.StringVar(&m.Out, "out", "", "")
	c.flags.StringVar(&m.Lab, "lab", "", "")
	c.flags.StringVar(&m.Word, "word", "", "")
	c.flags.StringVar(&m.Adjust, "adjust", "", "")
	c.flags.StringVar(&m.Reference, "reference", "", "")
	c.flags.BoolVar(&m.JudgeAgain, "judge-again", false, "")
	var far reach
	far.helped(c)
	var err error
	m.Returned, err = c.parse()
	const hint = "gravlab mark --class class.csv --out marks-01 returned"
	switch {
	case err != nil:
		return err
	case *class == "" || m.Out == "":
		return usageError{errors.New("needs --class and --out"), hint}
	case len(m.Returned) == 0:
		return usageError{errors.New("where are the files that the students handed in?"), hint}
	}
	m.Bank = *bank
	if err := withBank(ctx, c, *bank); err != nil {
		return err
	}
	if m.Class, err = marking.ReadClass(*class); err != nil {
		return usageError{err, ""}
	}
	warnGuess(c, *class, m.Class.Note)
	if *key == "" {
		*key = keyBeside(*class)
	}
	var open bool
	if m.Key, open, err = marking.ReadKey(*key); err != nil {
		return usageError{err, ""}
	}
	warnOpen(c, *key, open)
	m.Records = *key
	show := newProgress(c.err)
	var pool *sandbox.Pool
	var queue *machines.Queue
	defer func() {
		if queue != nil {
			queue.Close()
		}
		if pool != nil {
			pool.Close()
		}
	}()
	m.Start = func(ctx context.Context) (marking.Runner, error) {
		clone, err := kernel.FindClone(show.say)
		if err != nil {
			return nil, err
		}
		if pool, err = sandbox.NewPool(ctx, sandbox.PoolOptions{Clone: clone, Log: show.say}); err != nil {
			return nil, err
		}
		if !far.wanted() {
			return pool.Run, nil
		}
		o, err := far.options(ctx, clone, show.say)
		if err != nil {
			return nil, err
		}
		if queue, err = machines.NewQueue(pool, o); err != nil {
			return nil, err
		}
		return queue.Run, nil
	}
	if far.wanted() {
		m.Workers = 512 // wait for other machines
	}
	m.Progress = func(p marking.Progress) {
		if p.Done == 0 && p.ToRun < p.Of && p.ToRun > 0 {
			show.say(fmt.Sprintf("%d of %d notebooks have to be run", p.ToRun, p.Of))
		}
		if p.ToRun > 0 { // what was run before takes no time, and says nothing about the rest
			show.count("notebooks", p.Ran, p.ToRun)
		}
	}
	s, err := marking.Mark(ctx, m)
	show.end()
	var changed *marking.ChangedBank
	switch {
	case marking.IsInput(err), errors.As(err, &changed):
		return usageError{err, ""}
	case errors.Is(err, context.Canceled):
		return errors.New("stopped; nothing is lost: the same command continues from here")
	case err != nil:
		return err
	}
	fmt.Fprintf(c.out, "lab %s: %s\n", s.Lab.ID, s.Counts())
	fmt.Fprintf(c.out, "%s, %d run now", some(s.Files, "notebook", "notebooks"), s.Ran)
	if s.Remarks > 0 {
		fmt.Fprintf(c.out, "; %s", some(s.Remarks, "remark", "remarks"))
	}
	if s.Waiting > 0 {
		fmt.Fprintf(c.out, "; %s", some(s.Waiting, "text to read", "texts to read"))
	}
	fmt.Fprintln(c.out)
	if n := len(s.Changed); n > 0 {
		fmt.Fprintf(c.err, "%s with other marks than last time for the same work, since the bank (--bank) or the references (--reference) changed: %s\n", some(n, "student", "students"), strings.Join(s.Changed, ", "))
	}
	for i, p := range s.Places {
		if i == 20 {
			fmt.Fprintf(c.err, "and %d more files to look for\n", len(s.Places)-20)
			break
		}
		what := []string{"see remarks.csv:"}
		if p.Student != "" {
			what = append(what, "code of "+p.Student+",")
		}
		if p.Print != "" {
			what = append(what, p.Print)
		}
		fmt.Fprintf(c.err, "%s %q\n", strings.Join(what, " "), p.File)
	}
	for _, name := range []string{"marks.csv", "class.html", "remarks.csv"} {
		fmt.Fprintln(c.out, filepath.Join(m.Out, name))
	}
	return nil
}
