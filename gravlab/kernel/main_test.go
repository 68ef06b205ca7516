package kernel

import (
	"fmt"
	"os"
	"testing"
)

// TestMain lets the test program stand in for gravlab: front ends start it as
// `PROGRAM kernel serve FILE`.
func TestMain(m *testing.M) {
	if len(os.Args) == 4 && os.Args[1] == "kernel" && os.Args[2] == "serve" {
		if err := Serve(os.Args[3], ServeOptions{}); err != nil {
			fmt.Fprintln(os.Stderr, "gravlab:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}
