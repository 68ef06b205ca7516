package machines_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"gravity.example/gravlab/machines"
	"gravity.example/gravlab/sandbox"
)

// A runner stands for a pool: it finds in each notebook what it is told to.
type runner struct{ finds string }

func (r runner) Workers() int { return 4 }

func (r runner) Run(_ context.Context, j sandbox.Job) (sandbox.Outcome, error) {
	return sandbox.Outcome{Unread: r.finds + string(j.Notebook)}, nil
}

func (r runner) RunErrand(ctx context.Context, e sandbox.Errand) (sandbox.Return, error) {
	out, err := r.Run(ctx, sandbox.Job{Notebook: e.Notebook})
	return sandbox.Return{Outcome: out, Replies: sha256.Sum256(nil)}, err
}

// A machine that computes wrongly stops the marking, by name; and what else it has brought back
// does not count when marking goes on without it.
func TestWrongMachine(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program that reaches other machines, and starts a server")
	}
	carry, err := machines.Build(t.Context(), "../..", t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	dir, address := t.TempDir(), free.Addr().String()
	free.Close()
	log := func(text string) { t.Log(text) }
	const n = 30
	mark := func() (outcomes []string, errs []error) {
		q, err := machines.NewQueue(runner{"right "}, machines.Options{Carrier: carry, Version: "v", Args: []string{"--listen", address, "--dir", dir}, Log: log})
		if err != nil {
			t.Fatal(err)
		}
		outcomes, errs = make([]string, n), make([]error, n)
		var all sync.WaitGroup
		for k := range n {
			all.Go(func() {
				out, err := q.Run(t.Context(), sandbox.Job{Notebook: fmt.Append(nil, k),
					Supply:  func() (sandbox.Supply, bool) { return sandbox.Supply{}, true },
					Session: func(sandbox.Sheet) (func([]byte) []byte, error) { return func([]byte) []byte { return nil }, nil }})
				outcomes[k], errs[k] = out.Unread, err
			})
		}
		all.Wait()
		if err := q.Close(); err != nil {
			t.Error(err)
		}
		return outcomes, errs
	}
	lend := func(finds string) (end func()) {
		ctx, stop := context.WithCancel(context.Background())
		over := make(chan struct{})
		go func() {
			defer close(over)
			for ctx.Err() == nil { // there may be no server yet
				machines.Lend(ctx, runner{finds}, machines.Options{Carrier: carry, Version: "v",
					Args: []string{"--to", "nats://" + address, "--token-file", filepath.Join(dir, "lend.token")}, Log: func(string) {}})
			}
		}()
		return func() { stop(); <-over }
	}

	end := lend("wrong ")
	_, errs := mark()
	stopped := 0
	for _, err := range errs {
		if err != nil && strings.Contains(err.Error(), "does not find when it runs it too") {
			stopped++
		}
	}
	if stopped != n {
		t.Errorf("%d of %d notebooks say that a machine is wrong: %v", stopped, n, errs)
	}
	end()
	end = lend("right ")
	defer end()
	outcomes, errs := mark()
	for k := range n {
		if want := fmt.Sprint("right ", k); outcomes[k] != want || errs[k] != nil {
			t.Errorf("the second time: %q, %v; want %q", outcomes[k], errs[k], want)
		}
	}
}
