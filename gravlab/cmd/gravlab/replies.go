package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/term"
)

var repliesCommand = command{
	name: "replies", args: "--out FILE.zip MARKS",
	short: "pack the replies of a lab, ready to be given back",
	long: `
Packs the replies that gravlab mark wrote into one archive with a folder per student,
named as it came; or, with --each, into one archive per student. The same replies give the
same bytes.

--out FILE.zip  the archive; with --each the folder for the archives
--each          one archive per student
--form FORMS    which forms, with commas between: whole, short (two pages: right answers
                one line each, the rest with what was entered, the slip, and the
                reasoning), large (the short form in large print). Without this
                flag: whole,short
--large IDS     students who get large print as well, with commas between their ids
--term TERM     puts each student's page of a term along (see gravlab help total)

Example:

  gravlab replies --out replies-01.zip marks-01`,
	run: runReplies,
}

func runReplies(_ context.Context, c *call) error {
	var g term.GiveBack
	c.flags.StringVar(&g.Out, "out", "", "")
	c.flags.BoolVar(&g.Each, "each", false, "")
	c.flags.StringVar(&g.Pages, "term", "", "")
	forms := c.flags.String("form", "whole,short", "")
	large := c.flags.String("large", "", "")
	args, err := c.parse()
	const hint = "gravlab replies --out replies-01.zip marks-01"
	switch {
	case err != nil:
		return err
	case len(args) != 1 || g.Out == "":
		return usageError{errors.New("needs --out and one folder of marks books"), hint}
	case !g.Each && !strings.HasSuffix(strings.ToLower(g.Out), ".zip"):
		return usageError{fmt.Errorf("--out is %q, and an archive ends in .zip", g.Out), hint}
	}
	known := map[string]string{"whole": marking.WholeReply, "short": marking.ShortReply, "large": marking.LargePrint}
	for form := range strings.SplitSeq(*forms, ",") {
		name, ok := known[strings.TrimSpace(form)]
		if !ok {
			return usageError{fmt.Errorf("--form has %q; the forms are whole, short and large", form), hint}
		}
		g.Forms = append(g.Forms, name)
	}
	if g.Book, err = marking.ReadBook(args[0]); err != nil {
		return usageError{err, ""}
	}
	class := marking.Class{}
	for _, r := range g.Book.Rows {
		class.Students = append(class.Students, marking.Student{ID: r.ID})
	}
	g.Large = map[string]bool{}
	for id := range strings.FieldsFuncSeq(*large, func(r rune) bool { return r == ',' || r == ' ' }) {
		s, ok := class.Find(id)
		if !ok {
			return usageError{fmt.Errorf("--large: the book in %s has no student %q", args[0], id), ""}
		}
		g.Large[s.ID] = true
	}
	given, none, err := g.Write()
	if marking.IsInput(err) {
		return usageError{err, ""}
	} else if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%s of lab %s", some(given, "reply", "replies"), g.Book.Lab)
	if none > 0 {
		fmt.Fprintf(c.out, "; %s none, since nothing of theirs was handed in", some(none, "student gets", "students get"))
	}
	fmt.Fprintf(c.out, "\n%s\n", g.Out)
	return nil
}
