package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/term"
)

var keptCommand = command{
	name: "kept", args: "--class LIST [--key FILE] [PLACE...]",
	short: "list what is kept about whom",
	long: `
Looks through the folder of the class list, or through the folders and files that you
name, and through this program's data folder, and lists every file that names a student
of the class: by id, by full name, or by the code of a sheet; in its name, in its text, or
inside an archive. What this program made in one folder, such as marks books, is one line.

Hidden folders are left out. Backups, mail and other computers are not looked through.

--class LIST    the class list
--key FILE      the class key, by which sheets are known; without this flag LIST
                with the ending .key
--of ID         only what names this student, for example when they ask

Example:

  gravlab kept --class class.csv`,
	run: func(ctx context.Context, c *call) error { return runKept(ctx, c, false) },
}

var forgetCommand = command{
	name: "forget", args: "--class LIST [--key FILE] [--keep PLACES] [--yes] [PLACE...]",
	short: "remove a class after the term",
	long: `
Removes what gravlab kept lists and this program made: sheets handed out and handed in,
archives with them, lists of codes, marks books with answers and replies, totals and pages,
rules, records of handouts, working copies and logs of answers, and at last the class list and
its key. It says what it removed, and what it kept: what you name with --keep, and files
that name a student and were not made by this program, which you look at yourself.

Without --yes it removes nothing and says what it would remove. Without the key no one can
tell later whose sheet a file was, or mark a sealed one.

--keep PLACES   files and folders to keep, with commas between, for example the totals
                that your examinations office requires
--yes           remove

Example:

  gravlab forget --class class.csv --keep term`,
	run: func(ctx context.Context, c *call) error { return runKept(ctx, c, true) },
}

func runKept(_ context.Context, c *call, forget bool) error {
	s := term.Search{}
	c.flags.StringVar(&s.List, "class", "", "")
	c.flags.StringVar(&s.KeyFile, "key", "", "")
	var keep, of string
	var yes bool
	hint := "gravlab kept --class class.csv"
	if forget {
		c.flags.StringVar(&keep, "keep", "", "")
		c.flags.BoolVar(&yes, "yes", false, "")
		hint = "gravlab forget --class class.csv"
	} else {
		c.flags.StringVar(&of, "of", "", "")
	}
	places, err := c.parse()
	switch {
	case err != nil:
		return err
	case s.List == "":
		return usageError{errors.New("needs --class"), hint}
	}
	if s.Class, err = marking.ReadClass(s.List); err != nil {
		return usageError{err, ""}
	}
	if of != "" {
		student, ok := s.Class.Find(of)
		if !ok {
			return usageError{fmt.Errorf("the class has no student %q", of), ""}
		}
		of = student.ID
	}
	asked := s.KeyFile != ""
	if !asked {
		s.KeyFile = keyBeside(s.List)
	}
	if exists(s.KeyFile) || asked {
		if s.Key, _, err = marking.ReadKey(s.KeyFile); err != nil {
			return usageError{err, ""}
		}
	} else {
		fmt.Fprintf(c.err, "there is no class key %s: sheets are not known by their codes\n", s.KeyFile)
	}
	if s.Places = places; len(places) == 0 {
		s.Places = []string{filepath.Dir(s.List)}
	}
	if s.Data, err = labserver.DataFolder(); err != nil {
		s.Data = ""
	}
	traces, unread, err := term.Kept(s)
	if marking.IsInput(err) {
		return usageError{err, ""}
	} else if err != nil {
		return err
	}
	for i, path := range unread {
		if i == 20 {
			fmt.Fprintf(c.err, "and %d more\n", len(unread)-20)
			break
		}
		fmt.Fprintf(c.err, "not looked through, since it is too large or cannot be read: %s\n", path)
	}
	if !forget {
		var shown []term.Trace
		for _, t := range traces {
			if of == "" || about(t, of) {
				shown = append(shown, t)
			}
		}
		printTraces(c, shown, len(s.Class.Students))
		fmt.Fprintf(c.out, "%s\n", some(len(shown), "place", "places"))
		return nil
	}
	var kept []string
	for place := range strings.SplitSeq(keep, ",") {
		if place = strings.TrimSpace(place); place == "" {
			continue
		}
		if !exists(place) {
			return usageError{fmt.Errorf("--keep: there is no %s", place), ""}
		}
		kept = append(kept, place)
	}
	if !yes {
		would, left := term.Sort(traces, kept)
		fmt.Fprintln(c.out, "would be removed:")
		printTraces(c, would, len(s.Class.Students))
		printKept(c, left, len(s.Class.Students))
		fmt.Fprintln(c.out, "nothing was removed; add --yes to remove")
		return nil
	}
	removed, left, err := term.Forget(traces, kept)
	fmt.Fprintln(c.out, "removed:")
	printTraces(c, removed, len(s.Class.Students))
	if err != nil {
		return err
	}
	printKept(c, left, len(s.Class.Students))
	fmt.Fprintln(c.err, "backups, mail, your platform and other computers were not looked through")
	return nil
}

func about(t term.Trace, id string) bool {
	for _, s := range t.Students {
		if s == id {
			return true
		}
	}
	return false
}

func printKept(c *call, traces []term.Trace, class int) {
	if len(traces) > 0 {
		fmt.Fprintln(c.out, "kept:")
		printTraces(c, traces, class)
	}
}

// mostAlike is how many folders beside each other may have files of one kind that have a line
// each.
const mostAlike = 3

// printTraces prints a line for each place: what it is, about whom, and where. Many files of one
// kind in the folders of students are one line.
func printTraces(c *call, traces []term.Trace, class int) {
	alike := func(t term.Trace) [2]string { return [2]string{t.Kind, filepath.Dir(filepath.Dir(t.Path))} }
	groups := map[[2]string]*term.Trace{}
	folders := map[[2]string]map[string]bool{}
	for _, t := range traces {
		if t.Files > 0 {
			continue
		}
		g := groups[alike(t)]
		if g == nil {
			g = &term.Trace{Kind: t.Kind, Path: filepath.Join(alike(t)[1], "*")}
			groups[alike(t)], folders[alike(t)] = g, map[string]bool{}
		}
		folders[alike(t)][filepath.Dir(t.Path)] = true
		g.Files++
		for _, id := range t.Students {
			if !about(*g, id) {
				g.Students = append(g.Students, id)
			}
		}
	}
	told := map[[2]string]bool{}
	for _, t := range traces {
		// What is not the program's has to be looked at one by one.
		if g := groups[alike(t)]; t.Files == 0 && t.Ours && len(folders[alike(t)]) > mostAlike {
			if told[alike(t)] {
				continue
			}
			told[alike(t)] = true
			t = *g
		}
		printTrace(c, t, class)
	}
}

func printTrace(c *call, t term.Trace, class int) {
	who := "the class"
	switch {
	case len(t.Students) == class && class > 1:
		who = "all students"
	case len(t.Students) > 4:
		who = fmt.Sprintf("%d students", len(t.Students))
	case len(t.Students) > 0:
		who = strings.Join(t.Students, ", ")
	}
	kind := t.Kind
	if t.Files > 0 {
		kind += fmt.Sprintf(" (%s)", some(t.Files, "file", "files"))
	}
	fmt.Fprintf(c.out, "  %-46s %-16s %s\n", kind, who, t.Path)
}
