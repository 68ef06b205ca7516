// Package modules sees to it that the modules which the clone requires are on this
// machine before anything is compiled.
//
// `go run` fetches what the program itself links and no more. A cell may import
// other packages, and it is compiled in a workspace that needs the go.mod of every
// module of the graph, with GOPROXY=off, since nothing may be fetched behind the
// reader's back. So all of them are fetched together, once, and the reader is told.
package modules

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strings"
)

// Fetch makes sure that all modules which the go.mod in clone requires are in Go's
// module cache. If they are, it uses no network and says nothing (some 15 ms); otherwise it
// says so and fetches them from where Go is set to fetch modules.
func Fetch(ctx context.Context, clone string, say func(string)) error {
	program, err := exec.LookPath("go")
	if err != nil {
		return fmt.Errorf("there is no Go on the PATH (%w): install Go 1.26 or later, or put the folder that holds the go program on the PATH", err)
	}
	download := func(args, env []string) *exec.Cmd {
		cmd := exec.CommandContext(ctx, program, append([]string{"mod", "download"}, args...)...)
		cmd.Dir = clone
		cmd.Env = append(append(os.Environ(), "GOWORK=off"), env...)
		return cmd
	}
	if download(nil, []string{"GOPROXY=off"}).Run() == nil {
		return nil
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if say == nil {
		say = func(string) {}
	}
	say("fetching the Go modules that code needs (once)")
	// With -x it names each file that it has fetched; those of a module end with
	// its zip.
	cmd := download([]string{"-x"}, nil)
	pipe, err := cmd.StderrPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	var words []string
	n := 0
	for lines := bufio.NewScanner(pipe); lines.Scan(); {
		line := lines.Text()
		switch {
		case !strings.HasPrefix(line, "#"):
			words = append(words, line)
		case strings.Contains(line, ".zip: 200"):
			if n++; n%10 == 0 {
				say(fmt.Sprintf("fetching Go modules: %d so far", n))
			}
		}
	}
	err = cmd.Wait()
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return context.Cause(ctx)
	}
	return &MissingError{said: strings.Join(words[max(0, len(words)-3):], "\n")}
}

// A MissingError says that modules are not there and cannot be fetched.
type MissingError struct{ said string }

func (e *MissingError) Error() string {
	return "the Go modules that code needs are not all on this machine, and they cannot be fetched: connect it to the network and try again; after that it works offline. Go said:\n" + e.said
}
