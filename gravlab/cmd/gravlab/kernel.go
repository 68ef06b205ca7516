package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"gravity.example/gravlab/kernel"
)

var kernelCommand = command{
	name: "kernel", args: "install | remove | where | serve CONNECTION_FILE",
	short: "make the labs' kernel known to Jupyter",
	long: `
install [--prefix DIR] [--complete]
    builds what the kernel needs, copies this program into your cache and
    writes the kernelspec "gravlab" into your Jupyter data folder
    (JUPYTER_DATA_DIR if set), or into DIR/share/jupyter. Do this again if
    you move the clone. --complete also builds gopls, which completes and
    explains code; it is downloaded the first time.
remove [--prefix DIR]
    deletes the kernelspec.
where [--prefix DIR]
    prints the folder of the kernelspec, and fails if it is not there.
serve CONNECTION_FILE
    runs the kernel; Jupyter calls it.`,
	run: runKernel,
}

func runKernel(ctx context.Context, c *call) error {
	prefix := c.flags.String("prefix", "", "")
	complete := c.flags.Bool("complete", false, "")
	args, err := c.parse()
	if err != nil {
		return err
	}
	if len(args) == 0 {
		return usageError{errors.New("which action? install, remove or where"), "see gravlab help kernel"}
	}
	switch verb := args[0]; {
	case verb == "install" && len(args) == 1:
		if *complete {
			if _, err := kernel.InstallGopls(ctx, c.say); err != nil {
				return err
			}
		}
		dir, err := kernel.Install(ctx, kernel.InstallOptions{Prefix: *prefix, Log: c.say})
		if err != nil {
			return err
		}
		fmt.Fprintf(c.out, "installed the kernel %q in %s\n", kernel.Name, dir)
		return nil
	case verb == "remove" && len(args) == 1:
		dir, was, err := kernel.Remove(*prefix)
		if err != nil {
			return err
		}
		if was {
			fmt.Fprintf(c.out, "removed %s\n", dir)
		} else {
			fmt.Fprintf(c.out, "there was no kernel in %s\n", dir)
		}
		return nil
	case verb == "where" && len(args) == 1:
		dir, err := kernel.SpecDir(*prefix)
		if err != nil {
			return err
		}
		fmt.Fprintln(c.out, dir)
		if _, err := os.Stat(dir); err != nil {
			return fmt.Errorf("the kernel is not installed there; gravlab kernel install does that")
		}
		return nil
	case verb == "serve" && len(args) == 2:
		return kernel.Serve(args[1], kernel.ServeOptions{})
	case verb == "serve":
		return usageError{errors.New("serve needs one CONNECTION_FILE"), "see gravlab help kernel"}
	case verb == "install" || verb == "remove" || verb == "where":
		return usageError{fmt.Errorf("unexpected %s", strings.Join(args[1:], " ")), "see gravlab help kernel"}
	default:
		return usageError{fmt.Errorf("there is no action %q: install, remove or where", verb), "see gravlab help kernel"}
	}
}
