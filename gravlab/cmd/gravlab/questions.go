package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
)

var questionsCommand = command{
	name: "questions", args: "[LAB | NOTEBOOK | --track NAME | --bank DIR | --into NOTEBOOK...]",
	short: "list the questions of the bank",
	long: `
Without a lab it lists the labs; with one (01, or 01-weighing-the-earth) its
questions with marks, kind and source; with a notebook those of its sheet.

--track NAME    lists the labs of a track: "laboratory class", "new survey
                hire", "planetary and space" (one word is enough)
--bank DIR      with the labs of your own bank. It is checked first: anything that
                would make the judge unfair, or stop it, is reported
--into NOTEBOOK...
                writes the bank's questions into the question cells of
                notebooks again. An answer cell that has been edited is left
                alone, and a message says so.`,
	run: runQuestions,
}

func runQuestions(ctx context.Context, c *call) error {
	into := c.flags.Bool("into", false, "")
	track := c.flags.String("track", "", "")
	dir := c.flags.String("bank", "", "")
	args, err := c.parse()
	if err == nil {
		err = withBank(ctx, c, *dir)
	}
	switch {
	case err != nil:
		return err
	case *into:
		return fillNotebooks(c, args)
	case len(args) == 0:
		return listLabs(c, *track)
	}
	for _, arg := range args {
		if strings.HasSuffix(arg, ".ipynb") {
			if err := listSheet(c, arg); err != nil {
				return err
			}
			continue
		}
		lab, err := exercises.Find(arg)
		if err != nil {
			return usageError{err, ""}
		}
		if err := listQuestions(c, lab); err != nil {
			return err
		}
	}
	return nil
}

func listLabs(c *call, track string) error {
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "lab\ttitle\tquestions\tmarks\tminutes\tbuilds on\ttracks")
	listed, questions, minutes, found := 0, 0, 0, false
	for _, lab := range exercises.Labs() {
		var tracks []string
		for _, t := range lab.Tracks {
			tracks = append(tracks, string(t))
		}
		all := strings.Join(tracks, ", ")
		if len(tracks) == 0 {
			all = "everyone"
		} else if track != "" {
			if !slices.ContainsFunc(tracks, func(t string) bool { return names(t, track) }) {
				continue
			}
			found = true
		}
		var on []string
		for _, id := range lab.BuildsOn {
			n, _, _ := strings.Cut(id, "-")
			on = append(on, n)
		}
		p := lab.Sheet("")
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%d\t%s\t%s\n", lab.ID, lab.Title, len(p.Questions), p.Marks(), lab.Minutes, strings.Join(on, ", "), all)
		listed, questions, minutes = listed+1, questions+len(p.Questions), minutes+lab.Minutes
	}
	if track != "" && !found {
		return usageError{fmt.Errorf("there is no track %q", track), `the tracks are "laboratory class", "new survey hire" and "planetary and space"; one word is enough`}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%s, %s, %d h %02d min\n", some(listed, "lab", "labs"), some(questions, "question", "questions"), minutes/60, minutes%60)
	return nil
}

// names reports whether words name a track: they stand in its name, one after the
// other.
func names(track, words string) bool {
	said := strings.Join(strings.Fields(strings.ToLower(words)), " ")
	return said != "" && strings.Contains(" "+track+" ", " "+said+" ")
}

// listSheet lists the questions of the sheet that a notebook declares.
func listSheet(c *call, path string) error {
	nb, err := notebook.ReadFile(path, notebook.Options{})
	if err != nil {
		return usageError{err, ""}
	}
	sheet, ok, err := exercises.SheetOf(nb)
	switch {
	case err != nil:
		return usageError{fmt.Errorf("%s: %w", path, err), ""}
	case !ok:
		return usageError{fmt.Errorf("%s: no cell declares a sheet", path), ""}
	case sheet.Sealed:
		fmt.Fprintf(c.out, "%s is sealed: its numbers come from your lecturer's key, so that its questions can be listed and not solved\n", sheet.Code)
	}
	return list(c, sheet)
}

func listQuestions(c *call, lab bank.Lab) error { return list(c, lab.Sheet("")) }

func list(c *call, p bank.Sheet) error {
	lab := p.Lab
	fmt.Fprintf(c.out, "%s: %s, %d marks\n", lab.ID, lab.Title, p.Marks())
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "question\tmarks\tkind\tslips\ttitle\tsource")
	for _, q := range p.Questions {
		slips := len(q.Slips) + len(q.USlips)
		if q.Function != nil {
			slips = len(q.Function.Slips)
		} else if len(q.Options) > 0 {
			slips = len(q.Options) - 1
		}
		source := q.Source.Text
		if q.Source.Published {
			source = "published: " + source
		}
		fmt.Fprintf(w, "%s\t%d\t%s\t%d\t%s\t%s\n", lab.FullID(q.ID), q.Marks, q.Kind, slips, q.Title, source)
	}
	return w.Flush()
}

func fillNotebooks(c *call, paths []string) error {
	if len(paths) == 0 {
		return usageError{fmt.Errorf("--into needs a notebook"), "gravlab questions --into notebooks/*.ipynb"}
	}
	for _, path := range paths {
		nb, err := notebook.ReadFile(path, notebook.Options{})
		if err != nil {
			return usageError{err, ""}
		}
		sheet, ok, err := exercises.SheetOf(nb)
		if err == nil && sheet.Sealed {
			err = bank.ErrSealed
		}
		if err != nil {
			return usageError{fmt.Errorf("%s: %w", path, err), ""}
		}
		if !ok {
			return usageError{fmt.Errorf("%s: no cell declares a sheet", path), "a lab's first code cell holds: var sheet = ask.Sheet(\"01-weighing-the-earth\", \"\")"}
		}
		kept, err := sheet.Fill(nb, false)
		if err != nil {
			return usageError{fmt.Errorf("%s: %w", path, err), ""}
		}
		if err := nb.WriteFile(path); err != nil {
			return err
		}
		fmt.Fprintf(c.out, "%s: %s\n", path, some(len(sheet.Questions), "question", "questions"))
		if len(kept) > 0 {
			fmt.Fprintf(c.out, "%s: left alone, because it has been edited: %s\n", path, strings.Join(kept, ", "))
		}
	}
	return nil
}
