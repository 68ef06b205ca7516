package kernel_test

import (
	"context"
	"fmt"
	"log"
	"time"

	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/notebook"
)

// A notebook is run from top to bottom, and written with its outputs.
func ExampleRun() {
	nb, err := notebook.ReadFile("notebooks/01-weighing-the-earth.ipynb", notebook.Options{NeedKernel: true})
	if err != nil {
		log.Fatal(err)
	}
	result, err := kernel.Run(context.Background(), nb, kernel.RunOptions{Timeout: time.Minute})
	if err != nil {
		log.Print(err) // what was run until then is in nb
	}
	for _, cell := range result.Failed() {
		fmt.Printf("cell %d %s: %s\n", cell.Index+1, cell.Outcome, cell.Reason)
	}
	if err := nb.WriteFile("out/01-weighing-the-earth.ipynb"); err != nil {
		log.Fatal(err)
	}
}
