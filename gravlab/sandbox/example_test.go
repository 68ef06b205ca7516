package sandbox_test

import (
	"context"
	"fmt"
	"strings"

	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
)

// A notebook is run confined. The cell that does not compile and the cell that
// panics cost no other cell anything, and values do not cross cells.
func Example() {
	ctx := context.Background()
	pool, err := sandbox.NewPool(ctx, sandbox.PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer pool.Close()
	nb := notebook.New("gravlab", "gravlab", "go")
	for i, source := range []string{
		"var g = 9.81 // m/s²",
		"%%\ng = 1.62\nfmt.Println(g, \"on the Moon\")",
		"%%\nfmt.Println(h)",
		"%%\nvar p *int\n*p = 1",
		"%%\nfmt.Println(g)",
	} {
		nb.Cells = append(nb.Cells, notebook.NewCell(notebook.Code, fmt.Sprint("cell-", i), source))
	}
	file, err := nb.Bytes()
	if err != nil {
		fmt.Println(err)
		return
	}
	out, err := pool.Run(ctx, sandbox.Job{Notebook: file})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range out.Cells {
		first, _, _ := strings.Cut(c.Output, "\n")
		fmt.Printf("%d %s, printed %q\n", c.Index+1, c.State, first)
		if c.Fault != "" {
			fmt.Println("  line", c.Line, c.Fault)
		}
	}
	fmt.Println(out.Remarks[0].Cell, out.Remarks[0].Line, out.Remarks[0].Text)
	// Output:
	// 1 ran, printed ""
	// 2 ran, printed "1.62 on the Moon"
	// 3 not built, printed ""
	// 4 failed, printed ""
	//   line 3 panic: runtime error: invalid memory address or nil pointer dereference
	// 5 ran, printed "9.81"
	// 3 2 h is not known here: is it spelt as where it was declared, and does that cell come before this one?
}

// A code box is run with the declarations of the boxes above it.
func ExamplePool_RunBox() {
	ctx := context.Background()
	pool, err := sandbox.NewPool(ctx, sandbox.PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer pool.Close()
	_, err = pool.RunBox(ctx, sandbox.Box{
		Above:  []string{"func kinetic(m, v float64) float64 { return 0.5 * m * v * v }"},
		Source: "%%\nfmt.Printf(\"%.1f J\\n\", kinetic(2, 3))",
		Output: func(text []byte) { fmt.Print(string(text)) },
	})
	if err != nil {
		fmt.Println(err)
	}
	// Output: 9.0 J
}
