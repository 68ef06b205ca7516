package main

import (
	"bytes"
	"context"
	"fmt"
	"strings"

	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/refcases"
)

var verifyCommand = command{
	name: "verify", args: "[--html FILE]",
	short: "check every model against published and computed values",
	long: `
Runs every comparison of a model with a published or independently computed
value and prints a table: quantity, ours, reference, difference, the
tolerance and its reason, source, and how the source is known. The last line is
"N checks, N agree"; the exit code is 1 if they do not all agree.

--html FILE    also writes the table as a page that loads nothing from anywhere`,
	run: runVerify,
}

func runVerify(_ context.Context, c *call) error {
	html := c.flags.String("html", "", "")
	args, err := c.parse()
	if err != nil {
		return err
	}
	if len(args) > 0 {
		return usageError{fmt.Errorf("unexpected %s", strings.Join(args, " ")), "gravlab verify takes no arguments, only --html FILE"}
	}
	r := refcases.Run(refcases.All(), nil)
	if *html != "" {
		var page bytes.Buffer
		if err := r.WriteHTML(&page); err != nil {
			return err
		}
		if err := atomicfile.WriteFile(*html, page.Bytes(), 0o644); err != nil {
			return err
		}
	}
	if err := r.WriteText(c.out); err != nil {
		return err
	}
	if r.Agree != r.N {
		return errFailed
	}
	return nil
}
