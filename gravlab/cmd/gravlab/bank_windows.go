package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
)

// goOn runs another program in the place of this one. Ctrl-C reaches both.
func goOn(_ context.Context, program string, args []string) error {
	next := exec.Command(program, args...)
	next.Stdin, next.Stdout, next.Stderr = os.Stdin, os.Stdout, os.Stderr
	err := next.Run()
	var ended *exec.ExitError
	if errors.As(err, &ended) {
		os.Exit(ended.ExitCode())
	}
	if err != nil {
		return fmt.Errorf("starting %s: %w", program, err)
	}
	os.Exit(0)
	return nil
}
