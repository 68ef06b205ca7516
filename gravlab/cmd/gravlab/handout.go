package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/notebook"
)

var handoutCommand = command{
	name: "handout", args: "--class LIST --lab LAB --out DIR [flags]",
	short: "hand out a lab to a class, each student with their own numbers",
	long: `
Writes DIR/ID/ for each student of the class list, with the lab's notebook, which
carries the student's own sheet code and numbers, and the sheet's recordings as
CSV files; and DIR/handout.csv, the list of codes, which is for you alone. The
same key and list give the same bytes.

--class LIST      CSV file with a column id (or ID number, Student ID); a column
                  name, or First name and Last name, and others are kept. Titles
                  above the header do no harm
--lab LAB         01 or 01-weighing-the-earth
--out DIR         where the folders go
--key FILE        the class key: without it nobody can tell whose sheet a file
                  is. Made if it is not there, readable by you alone; keep it.
                  Without this flag: LIST with the ending .key
--assessed        cells say what was understood, not whether it is right
--answers         worked copies for you instead: into another DIR
--notebook FILE   another notebook than the lab's own
--bank DIR        use your own bank: a folder of Go files, as exercises/README.md
                  says; it is compiled into the program for this call

A file that is there and differs is left alone, since somebody may have worked
in it; the exit code is then 1.

Example:

  gravlab handout --class class.csv --lab 01 --out handout-01 --assessed`,
	run: runHandout,
}

func runHandout(ctx context.Context, c *call) error {
	class := c.flags.String("class", "", "")
	lab := c.flags.String("lab", "", "")
	out := c.flags.String("out", "", "")
	key := c.flags.String("key", "", "")
	assessed := c.flags.Bool("assessed", false, "")
	answers := c.flags.Bool("answers", false, "")
	book := c.flags.String("notebook", "", "")
	bank := c.flags.String("bank", "", "")
	args, err := c.parse()
	const hint = "gravlab handout --class class.csv --lab 01 --out handout-01"
	switch {
	case err != nil:
		return err
	case len(args) > 0:
		return usageError{fmt.Errorf("cannot understand %q", args), hint}
	case *class == "" || *lab == "" || *out == "":
		return usageError{errors.New("needs --class, --lab and --out"), hint}
	}
	if err := withBank(ctx, c, *bank); err != nil {
		return err
	}
	h := marking.Handout{Out: *out, Assessed: *assessed, Answers: *answers}
	if h.Class, err = marking.ReadClass(*class); err != nil {
		return usageError{err, ""}
	}
	warnGuess(c, *class, h.Class.Note)
	if h.Lab, err = exercises.Find(*lab); err != nil {
		hint := "a lab of a bank of your own needs --bank DIR"
		if *bank != "" {
			hint = ""
		}
		return usageError{err, hint}
	}
	if h.Notebook, err = readLab(c, h.Lab, *book, *bank); err != nil {
		return err
	}
	if *key == "" {
		*key = keyBeside(*class)
	}
	if list := filepath.Join(*out, marking.ListName); !exists(*key) && exists(list) {
		return usageError{fmt.Errorf("%s is the list of an earlier handout, and its class key is not at %s", list, *key), "give that key with --key, or hand out into another folder with --out"}
	}
	var made, open bool
	if h.Key, made, open, err = marking.MakeKey(*key); marking.IsInput(err) {
		return usageError{err, ""}
	} else if err != nil {
		return err
	}
	if made {
		fmt.Fprintf(c.err, "made the class key %s: keep it, and keep it to yourself\n", *key)
	}
	warnOpen(c, *key, open)
	show := newProgress(c.err)
	h.Progress = func(done, of int) { show.count("students", done, of) }
	kept, err := h.Write(ctx)
	show.end()
	if marking.IsInput(err) {
		return usageError{err, ""}
	} else if err != nil {
		return err
	}
	written := len(h.Class.Students)
	for _, k := range kept {
		if strings.HasSuffix(k, ".ipynb") {
			written--
		}
	}
	one, many := "sheet", "sheets"
	if *answers {
		one, many = "worked copy", "worked copies"
	}
	fmt.Fprintf(c.out, "%s of lab %s in %s\n%s\n", some(written, one, many), h.Lab.ID, *out, filepath.Join(*out, marking.ListName))
	if len(kept) > 0 {
		for i, k := range kept {
			if i == 10 {
				fmt.Fprintf(c.err, "and %d more\n", len(kept)-10)
				break
			}
			fmt.Fprintf(c.err, "left alone, because it is there and differs: %s\n", k)
		}
		fmt.Fprintln(c.err, "take them away, or hand out into another folder with --out")
		return errFailed
	}
	return nil
}

// readLab reads the notebook of a lab, or makes a plain one for a lab of an own bank.
func readLab(c *call, lab bank.Lab, path, bank string) (*notebook.Notebook, error) {
	if path == "" {
		var err error
		if path, err = labNotebook(c, bank, lab.ID); err != nil {
			return nil, err
		}
	}
	if path == "" {
		return marking.PlainNotebook(lab), nil
	}
	nb, err := notebook.ReadFile(path, notebook.Options{})
	if err != nil {
		return nil, usageError{err, ""}
	}
	return nb, nil
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// keyBeside is where the class key lies if nobody says otherwise.
func keyBeside(class string) string {
	return strings.TrimSuffix(class, filepath.Ext(class)) + ".key"
}

func warnOpen(c *call, key string, open bool) {
	if open {
		fmt.Fprintf(c.err, "others on this machine may read %s: chmod 600 %s keeps it yours\n", key, key)
	}
}

func warnGuess(c *call, class, note string) {
	if note != "" {
		fmt.Fprintf(c.err, "%s %s\n", class, note)
	}
}
