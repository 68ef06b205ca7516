package kernel

import (
	"context"
	"fmt"
	"os"
	"testing"
)

// TestMain lets the test program stand in for gravlab: front ends start it as
// `PROGRAM kernel serve FILE`, and a test kills one that runs a notebook.
func TestMain(m *testing.M) {
	if len(os.Args) == 4 && os.Args[1] == "kernel" && os.Args[2] == "serve" {
		if err := Serve(os.Args[3], ServeOptions{}); err != nil {
			fmt.Fprintln(os.Stderr, "gravlab:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	if len(os.Args) == 2 && os.Args[1] == "run-endless" {
		// As gravlab run does, with a cell that never ends.
		nb := book(Name, "go", "!setsid sleep 300 >/dev/null 2>&1 &\n%%\nfor {}")
		_, err := Run(context.Background(), nb, RunOptions{DataDir: os.TempDir()})
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(m.Run())
}
