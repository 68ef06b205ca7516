package marking

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"gravity.example/gravlab/machines"
)

// lender names the variable that makes this test's program lend its processors and nothing else: it
// holds the program that carries, the version, and the arguments, line by line.
const lender = "GRAVLAB_LENDER"

func beLent(text string) {
	args := strings.Split(text, "\n")
	p, err := pool()
	if err == nil {
		defer p.Close()
		err = machines.Lend(context.Background(), p, machines.Options{Carrier: args[0], Version: args[1], Args: args[2:],
			Log: func(text string) { fmt.Fprintln(os.Stderr, "lender:", text) }})
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "lender:", err)
		os.Exit(1)
	}
}

// startLender starts a process that lends to the server at an address.
func startLender(t testing.TB, carry, version, address, token string) *exec.Cmd {
	t.Helper()
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program)
	cmd.Env = append(os.Environ(), lender+"="+strings.Join([]string{carry, version, "--to", "nats://" + address, "--token-file", token}, "\n"))
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd
}

// freeAddress is one of this machine that no one listens at.
func freeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// waitFor waits until a file is there.
func waitFor(t testing.TB, path string) {
	t.Helper()
	for range 400 {
		if _, err := os.Stat(path); err == nil {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("%s did not come", path)
}

// A class is marked on machines that lend their processors, which are processes here: one, three of
// which one is killed and one stopped, with the same books and the same store as alone.
func TestMachines(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a server and several pools")
	}
	p, err := pool()
	if err != nil {
		t.Fatal(err)
	}
	carry, err := machines.Build(t.Context(), "../..", t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	version, err := machines.Version(t.Context(), "../..")
	if err != nil {
		t.Fatal(err)
	}
	c := newClassroom(t, swingLab, 16)
	c.manySorts()
	c.mark()
	want := c.books()

	for _, r := range []struct {
		what       string
		lenders    int
		kill, stop bool
	}{{"one lender", 1, false, false}, {"three lenders, one killed and one stopped", 3, true, true}} {
		dir, address := t.TempDir(), freeAddress(t)
		var mu sync.Mutex
		var told []string
		q, err := machines.NewQueue(p, machines.Options{Carrier: carry, Version: version, Args: []string{"--listen", address, "--dir", dir, "--ack-wait", "6s"},
			Log: func(text string) { mu.Lock(); told = append(told, text); mu.Unlock() }})
		if err != nil {
			t.Fatal(err)
		}
		token := filepath.Join(dir, "lend.token")
		waitFor(t, token)
		var all []*exec.Cmd
		for range r.lenders {
			cmd := startLender(t, carry, version, address, token)
			t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
			all = append(all, cmd)
		}
		disturbed := make(chan struct{})
		c.Out, c.Workers = t.TempDir(), 8
		c.Start = func(context.Context) (Runner, error) { return q.Run, nil }
		c.Progress = func(p Progress) {
			if p.Ran != 2 || disturbed == nil {
				return
			}
			close(disturbed)
			disturbed = nil
			if r.kill {
				all[0].Process.Kill()
			}
			if r.stop {
				pause(all[1].Process)
			}
		}
		began := time.Now()
		c.mark()
		if disturbed != nil {
			t.Error("nothing was disturbed")
		}
		sameBooks(t, r.what, c.books(), want)
		for _, cmd := range all {
			cmd.Process.Kill()
			cmd.Wait()
		}
		taken, again := q.Taken()
		if taken < 8 {
			t.Errorf("%s: only %d notebooks came back from them", r.what, taken)
		}
		if err := q.Close(); err != nil {
			t.Error(err)
		}
		t.Logf("%s: %d came back, %d of them run here too, in %v; told %q", r.what, taken, again, time.Since(began).Round(time.Second), told)
	}
}
