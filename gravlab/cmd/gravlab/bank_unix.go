//go:build unix

package main

import (
	"context"
	"fmt"
	"os"
	"syscall"
)

// goOn puts another program into the place of this one: signals reach it as they
// would have reached this one.
func goOn(_ context.Context, program string, args []string) error {
	err := syscall.Exec(program, append([]string{program}, args...), os.Environ())
	return fmt.Errorf("starting %s: %w", program, err)
}
