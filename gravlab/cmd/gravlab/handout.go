package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/notebook"
)

var handoutCommand = command{
	name: "handout", args: "--class LIST --lab LAB --out DIR [flags]",
	short: "hand out a lab to a class, each student with their own numbers",
	long: `
Writes DIR/ID/ for each student of the class list, with the lab's notebook, which
carries the student's own sheet code and numbers, and the sheet's recordings as
CSV files; and, beside DIR, the list of codes DIR-codes.csv, which only you should
see. The same key and list give the same bytes. What each sheet was is kept beside
the key, in KEY-LAB-assessed.handout or KEY-LAB-practice.handout: mark stops if the
bank has changed since.

--class LIST      CSV file with a column id (or ID number, Student ID); a column
                  name, or First name and Last name, and others are kept. Titles
                  above the header do no harm
--lab LAB         01 or 01-weighing-the-earth
--out DIR         where the folders go
--list FILE       where the list of codes goes instead
--key FILE        the class key: without it no one can tell whose sheet a file
                  is, or mark a sealed one. The first handout makes it, readable
                  by you alone; keep it. Without this flag: LIST with the ending .key
--new-key         make a new key although there is one beside the class list: for
                  another class
--assessed        sealed sheets, which count: their numbers come from the class key,
                  so that no program without it can tell what is right. Cells
                  show what was understood
--word WORD       other numbers for all, for a resit; mark with the same word
--answers         worked copies for you instead: into another DIR
--notebook FILE   another notebook than the lab's own
--bank DIR        use your own bank: a folder of Go files, as exercises/README.md
                  says; it is compiled into the program for this call, and
                  runs with your rights: use only a bank that you trust

A file that is already there and differs is left alone, since you may have worked
in it; a message says so, and the exit code is then 1.

Example:

  gravlab handout --class class.csv --lab 01 --out handout-01 --assessed`,
	run: runHandout,
}

func runHandout(ctx context.Context, c *call) error {
	class := c.flags.String("class", "", "")
	lab := c.flags.String("lab", "", "")
	out := c.flags.String("out", "", "")
	key := c.flags.String("key", "", "")
	list := c.flags.String("list", "", "")
	newKey := c.flags.Bool("new-key", false, "")
	assessed := c.flags.Bool("assessed", false, "")
	answers := c.flags.Bool("answers", false, "")
	book := c.flags.String("notebook", "", "")
	bank := c.flags.String("bank", "", "")
	word := c.flags.String("word", "", "")
	args, err := c.parse()
	const hint = "gravlab handout --class class.csv --lab 01 --out handout-01"
	switch {
	case err != nil:
		return err
	case len(args) > 0:
		return usageError{fmt.Errorf("unexpected %s", strings.Join(args, " ")), hint}
	case *class == "" || *lab == "" || *out == "":
		return usageError{errors.New("needs --class, --lab and --out"), hint}
	}
	if err := withBank(ctx, c, *bank); err != nil {
		return err
	}
	if *list == "" {
		*list = marking.ListBeside(*out)
	}
	h := marking.Handout{Out: *out, List: *list, Assessed: *assessed, Answers: *answers}
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
	if err := mayMake(*key, *class, *list, *newKey); err != nil {
		return err
	}
	h.Word, h.Bank, h.Version = *word, *bank, cloneVersion(ctx)
	h.Record = marking.KeptPath(*key, h.Lab, *word, *assessed)
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
	h.Progress = func(p marking.Progress) { show.count("students", p.Done, p.Of) }
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
	fmt.Fprintf(c.out, "%s of lab %s in %s\n%s\n", some(written, one, many), h.Lab.ID, *out, *list)
	if len(kept) > 0 {
		for i, k := range kept {
			if i == 10 {
				fmt.Fprintf(c.err, "and %d more\n", len(kept)-10)
				break
			}
			fmt.Fprintf(c.err, "left alone, because it is there and differs: %s\n", k)
		}
		fmt.Fprintln(c.err, "delete them, or hand out into another folder with --out")
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

// cloneVersion names the state of the clone that the questions come from, for the record of
// a handout; empty where git does not know it.
func cloneVersion(ctx context.Context) string {
	clone, err := kernel.FindClone(func(string) {})
	if err != nil {
		return ""
	}
	out, err := exec.CommandContext(ctx, "git", "-C", clone, "describe", "--always", "--dirty").Output()
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(out))
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// mayMake reports whether a class key may be made if it is not there: a new one gives every
// student another sheet.
func mayMake(key, class, list string, asked bool) error {
	if exists(key) {
		if asked {
			return usageError{fmt.Errorf("--new-key: the class key %s is there already", key), "name a file for the new one with --key"}
		}
		return nil
	}
	if exists(list) {
		return usageError{fmt.Errorf("%s is the list of an earlier handout, and its class key is not at %s", list, key), "give that key with --key, or hand out into another folder with --out"}
	}
	others := marking.KeysIn(filepath.Dir(class))
	if there := filepath.Dir(key); there != filepath.Dir(class) {
		others = append(others, marking.KeysIn(there)...)
	}
	if len(others) > 0 && !asked {
		return usageError{fmt.Errorf("there is no class key %s, and a new one gives every student another sheet", key),
			fmt.Sprintf("with --key %s the students keep their sheets; --new-key makes a new key", others[0])}
	}
	return nil
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
