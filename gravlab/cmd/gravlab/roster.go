package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"gravity.example/gravlab/term"
)

var rosterCommand = command{
	name: "roster", args: "[--class CLASS --out LIST] ROSTER",
	short: "make a class list from a OneRoster set of files",
	long: `
Reads a set of OneRoster CSV files (1EdTech, CSV binding 1.2.1): the zip archive that your
student office's system exports, or a folder with its files. Without --out it lists the
classes. With --out it writes the class list of one, which all other commands read.

--class CLASS   sourcedId or class code; not needed if there is one class only
--out LIST      the class list to write: columns id, name, sourcedId
--id COLUMN     which column of users.csv is the id: identifier (without this
                flag), username or sourcedId

gravlab total --roster ROSTER writes the results of a term for the same system.

Example:

  gravlab roster --class PHYS-2A --out class.csv roster.zip`,
	run: runRoster,
}

func runRoster(_ context.Context, c *call) error {
	id := c.flags.String("class", "", "")
	out := c.flags.String("out", "", "")
	column := c.flags.String("id", term.ByIdentifier, "")
	args, err := c.parse()
	const hint = "gravlab roster --class PHYS-2A --out class.csv roster.zip"
	columns := []string{term.ByIdentifier, term.ByUsername, term.BySourcedID}
	switch {
	case err != nil:
		return err
	case len(args) != 1:
		return usageError{errors.New("needs one roster: a zip archive or a folder"), hint}
	case !slices.Contains(columns, *column):
		return usageError{fmt.Errorf("--id is %q; it is identifier, username or sourcedId", *column), hint}
	case *out != "" && exists(*out):
		return usageError{fmt.Errorf("%s is there already", *out), "give another name with --out, or delete it"}
	}
	r, err := term.ReadRoster(args[0])
	if err != nil {
		return usageError{err, ""}
	}
	for _, remark := range r.Remarks {
		fmt.Fprintln(c.err, remark)
	}
	if *out == "" && *id == "" {
		for _, class := range r.Classes {
			fmt.Fprintf(c.out, "%-24s %-16s %s, %s\n", class.ID, class.Code, class.Title, some(len(class.Students), "student", "students"))
		}
		return nil
	}
	class, err := r.Class(*id)
	if err != nil {
		return usageError{err, "gravlab roster " + args[0] + " lists the classes"}
	}
	if *out == "" {
		return usageError{errors.New("where does the class list go?"), hint}
	}
	if err := r.WriteClass(class, *column, *out); err != nil {
		return usageError{err, ""}
	}
	fmt.Fprintf(c.out, "%s of %s\n%s\n", some(len(class.Students), "student", "students"), class.Title, *out)
	return nil
}
