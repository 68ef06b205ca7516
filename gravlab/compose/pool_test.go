package compose

import (
	"context"
	"os"
	"sync"
	"testing"

	"gravity.example/gravlab/notebook"
)

// pool is shared by the tests: two workers.
var pool = sync.OnceValues(func() (*Pool, error) {
	return NewPool(context.Background(), PoolOptions{Workers: 2})
})

func TestMain(m *testing.M) {
	code := m.Run()
	if p, err := pool(); err == nil {
		p.Close()
	}
	os.Exit(code)
}

func thePool(t testing.TB) *Pool {
	t.Helper()
	p, err := pool()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// book makes a notebook file of code cells.
func book(t testing.TB, cells ...string) []byte {
	t.Helper()
	nb := notebook.New("gravlab", "gravlab", "go")
	for i, c := range cells {
		nb.Cells = append(nb.Cells, notebook.NewCell(notebook.Code, "c"+string(rune('a'+i%26))+string(rune('a'+i/26%26))+string(rune('a'+i/676)), c))
	}
	file, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return file
}

func TestFirst(t *testing.T) {
	p := thePool(t)
	out, err := p.Run(t.Context(), Job{Notebook: book(t, "import \"fmt\"\nvar x = []int{1}", "%%\nx[0]++\nfmt.Println(x)", "%%\nfmt.Println(x)\npanic(\"no\")", "func f() int { return len(x) }\nvar y = f()\n%%\nfmt.Println(y, math.Pi)", "func f() int { return 7 }", "%%\nfmt.Println(y)")})
	t.Logf("%+v %v", out, err)
}
