// The program gravlab runs gravity labs, lists their questions, checks the
// models and installs the Jupyter kernel. Each command parses its arguments,
// calls one function and prints.
//
// What was asked for goes to standard output, everything else to standard
// error. The exit code is 0 when all is well, 1 when the work failed and 2 when
// the call or a file named in it cannot be used; every refusal says what to do.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"strings"
	"syscall"
)

func main() { os.Exit(program(os.Args[1:], os.Stdout, os.Stderr)) }

const (
	fine   = 0
	failed = 1
	usage  = 2
)

// A command is one verb of the program.
type command struct {
	name, args, short string
	long              string
	run               func(ctx context.Context, c *call) error
}

// A call is one use of a command.
type call struct {
	flags    *flag.FlagSet
	args     []string // as given, before flags are parsed
	out, err io.Writer
}

// say tells what goes on, on the error output.
func (c *call) say(what string) { fmt.Fprintln(c.err, what) }

// parse reads the flags, which may stand before, between and after the other
// arguments, and returns those.
func (c *call) parse() ([]string, error) {
	var rest []string
	args := c.args
	for {
		if err := c.flags.Parse(args); err != nil {
			return nil, usageError{flagError(err), "see gravlab help " + c.flags.Name()}
		}
		args = c.flags.Args()
		if len(args) == 0 {
			return rest, nil
		}
		// Everything after "--" is a plain argument.
		if n := len(c.args) - len(args); n > 0 && c.args[n-1] == "--" {
			return append(rest, args...), nil
		}
		rest, args = append(rest, args[0]), args[1:]
	}
}

// Beginnings of what package flag says of a call that cannot be understood.
const (
	unknownFlag = "flag provided but not defined: -"
	noValue     = "flag needs an argument: -"
)

var badValue = regexp.MustCompile(`^invalid (?:boolean )?value (".*") for (?:flag )?-(\S+): `)

// flagError says it as the program says the rest. flag.ErrHelp stays what it is.
func flagError(err error) error {
	text := err.Error()
	if name, ok := strings.CutPrefix(text, unknownFlag); ok {
		return fmt.Errorf("there is no flag --%s", name)
	}
	if name, ok := strings.CutPrefix(text, noValue); ok {
		return fmt.Errorf("--%s needs a value", name)
	}
	if m := badValue.FindStringSubmatch(text); m != nil {
		return fmt.Errorf("--%s cannot be %s", m[2], m[1])
	}
	return err
}

// A usageError is a call that cannot be understood, or a file that cannot be
// used, and a hint.
type usageError struct {
	error
	hint string
}

func (e usageError) Unwrap() error { return e.error }

// errFailed says that the work failed, which has been told already.
var errFailed = errors.New("failed")

// program is the whole program: arguments in, exit code out.
func program(args []string, out, errOut io.Writer) int {
	if len(args) == 0 || args[0] == "help" || args[0] == "-h" || args[0] == "--help" {
		return help(args, out, errOut)
	}
	for _, c := range commands() {
		if c.name != args[0] {
			continue
		}
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
		defer stop()
		flags := flag.NewFlagSet(c.name, flag.ContinueOnError)
		flags.SetOutput(io.Discard)
		err := c.run(ctx, &call{flags: flags, args: args[1:], out: out, err: errOut})
		return tell(c, err, out, errOut)
	}
	fmt.Fprintf(errOut, "gravlab: there is no command %q\n", args[0])
	if near := nearest(args[0]); near != "" {
		fmt.Fprintf(errOut, "did you mean gravlab %s?\n", near)
	}
	fmt.Fprintln(errOut, "gravlab help lists the commands")
	return usage
}

// tell prints what went wrong and returns the exit code.
func tell(c command, err error, out, errOut io.Writer) int {
	var wrong usageError
	switch {
	case err == nil:
		return fine
	case errors.Is(err, flag.ErrHelp):
		printHelp(out, c)
		return fine
	case errors.Is(err, errFailed):
		return failed
	case errors.As(err, &wrong):
		fmt.Fprintf(errOut, "gravlab %s: %v\n", c.name, wrong.error)
		if wrong.hint != "" {
			fmt.Fprintln(errOut, wrong.hint)
		}
		return usage
	default:
		fmt.Fprintf(errOut, "gravlab %s: %v\n", c.name, err)
		return failed
	}
}

func help(args []string, out, errOut io.Writer) int {
	if len(args) < 2 {
		fmt.Fprintf(out, "gravlab teaches how gravity is measured: checked models, labs with questions,\nand verdicts on answers.\n\nCommands:\n")
		for _, c := range commands() {
			fmt.Fprintf(out, "  %-11s%s\n", c.name, c.short)
		}
		fmt.Fprintf(out, "\ngravlab help COMMAND tells more.\n")
		if len(args) == 0 {
			return usage
		}
		return fine
	}
	for _, c := range commands() {
		if c.name == args[1] {
			printHelp(out, c)
			return fine
		}
	}
	fmt.Fprintf(errOut, "gravlab help: there is no command %q\n", args[1])
	return usage
}

func printHelp(w io.Writer, c command) {
	fmt.Fprintf(w, "gravlab %s %s\n\n%s\n", c.name, c.args, strings.TrimSpace(c.long))
}

// nearest finds a command that starts with the same two letters.
func nearest(name string) string {
	for _, c := range commands() {
		if len(name) > 1 && strings.HasPrefix(c.name, name[:2]) {
			return c.name
		}
	}
	return ""
}

func commands() []command {
	return []command{openCommand, runCommand, questionsCommand, verifyCommand, teachCommand, handoutCommand, markCommand, lendCommand, repliesCommand, totalCommand, rosterCommand, surveyCommand, keptCommand, forgetCommand, kernelCommand}
}
