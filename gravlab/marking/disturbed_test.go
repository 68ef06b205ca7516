//go:build linux

package marking

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"gravity.example/gravlab/machines"
)

// A cable is what a lender reaches the server through, and can be cut.
type cable struct {
	to string
	l  net.Listener

	mu  sync.Mutex
	cut bool
	all []net.Conn
}

func newCable(t testing.TB, to string) *cable {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	c := &cable{to: to, l: l}
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", to)
			c.mu.Lock()
			if err != nil || c.cut {
				near.Close()
				if err == nil {
					far.Close()
				}
			} else {
				c.all = append(c.all, near, far)
				go c.carry(near, far)
				go c.carry(far, near)
			}
			c.mu.Unlock()
		}
	}()
	return c
}

// carry loses what comes while the cable is cut: nobody is told that the other end is gone.
func (c *cable) carry(from, to net.Conn) {
	buf := make([]byte, 32<<10)
	for {
		n, err := from.Read(buf)
		c.mu.Lock()
		lost := c.cut
		c.mu.Unlock()
		if n > 0 && !lost {
			if _, err := to.Write(buf[:n]); err != nil {
				break
			}
		}
		if err == io.EOF || err != nil {
			break
		}
	}
	from.Close()
	to.Close()
}

// sever cuts the cable for a time, after which what hung on it is gone.
func (c *cable) sever(d time.Duration) {
	c.mu.Lock()
	c.cut = true
	c.mu.Unlock()
	time.Sleep(d)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.cut = false
	for _, conn := range c.all {
		conn.Close()
	}
	c.all = nil
}

// A fleet is a server in a carrier, and those that lend.
type fleet struct {
	t                          testing.TB
	carry, dir, address, token string
	q                          *machines.Queue
	lenders                    []*lent
	mu                         sync.Mutex
	told                       []string
}

type lent struct {
	cmd   *exec.Cmd
	cable *cable
}

const fleetVersion = "disturbed"

func (f *fleet) log(text string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.told = append(f.told, text)
}

func (f *fleet) serve() {
	p, err := pool()
	if err != nil {
		f.t.Fatal(err)
	}
	if f.q, err = machines.NewQueue(p, machines.Options{Carrier: f.carry, Version: fleetVersion, Args: []string{"--listen", f.address, "--dir", f.dir, "--ack-wait", "6s"}, Log: f.log}); err != nil {
		f.t.Fatal(err)
	}
	f.token = filepath.Join(f.dir, "lend.token")
	waitFor(f.t, f.token)
}

func (f *fleet) lend() *lent {
	f.t.Helper()
	cable := newCable(f.t, f.address)
	l := &lent{startLender(f.t, f.carry, fleetVersion, cable.l.Addr().String(), f.token), cable}
	f.t.Cleanup(func() { f.end(l) })
	return l
}

// end kills a lender and what carries for it, as a machine that is switched off.
func (f *fleet) end(l *lent) {
	for _, pid := range carriers(l.cmd.Process.Pid) {
		syscall.Kill(pid, syscall.SIGKILL)
	}
	l.cmd.Process.Kill()
	l.cmd.Wait()
}

// A mishap is done to a fleet at one moment. Those of a lender are done to the one named.
type mishap string

const (
	switchedOff  mishap = "switched off, and another one switched on"
	stoodStill   mishap = "stood still for 20 s"
	cutOff       mishap = "cut off for 8 s"
	serverKilled mishap = "the server was killed"
)

func (f *fleet) disturb(d mishap, i int, under *sync.WaitGroup) {
	l := f.lenders[i]
	switch d {
	case switchedOff:
		f.end(l)
		f.lenders[i] = f.lend()
	case stoodStill:
		l.cmd.Process.Signal(syscall.SIGSTOP)
		under.Go(func() {
			time.Sleep(20 * time.Second)
			l.cmd.Process.Signal(syscall.SIGCONT)
		})
	case cutOff:
		under.Go(func() { l.cable.sever(8 * time.Second) })
	case serverKilled:
		for _, pid := range carriers(os.Getpid()) {
			syscall.Kill(pid, syscall.SIGKILL)
		}
	}
}

// markThere marks a class on the fleet, again where the server was killed. calls is how often it
// was called.
func (c *classroom) markThere(f *fleet) (calls int) {
	c.t.Helper()
	c.Workers = 512
	for calls = 1; ; calls++ {
		c.Start = func(context.Context) (Runner, error) { return f.q.Run, nil }
		_, err := Mark(c.t.Context(), c.Marking)
		if err == nil {
			return calls
		}
		if !strings.Contains(err.Error(), "has ended") || calls == 5 {
			c.t.Fatal(err)
		}
		f.q.Close()
		f.serve()
	}
}

// The books of a class are the same bytes whatever happens to the machines that lend and to the
// server: 200 sheets with 1, 3 and 8 of them, disturbed in each way, and 24 sheets disturbed at 30
// random moments. It takes half an hour, and GRAVLAB_LONG runs it; GRAVLAB_SEED has other moments.
func TestMachinesDisturbed(t *testing.T) {
	if os.Getenv("GRAVLAB_LONG") == "" {
		t.Skip("takes half an hour: set GRAVLAB_LONG")
	}
	seed := uint64(1)
	fmt.Sscan(os.Getenv("GRAVLAB_SEED"), &seed)
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	carry, err := machines.Build(t.Context(), "../..", t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	newFleet := func(t *testing.T, n int) *fleet {
		f := &fleet{t: t, carry: carry, dir: t.TempDir(), address: freeAddress(t)}
		f.serve()
		for range n {
			f.lenders = append(f.lenders, f.lend())
		}
		return f
	}
	t.Run("moments", func(t *testing.T) {
		c := newClassroom(t, swingLab, 24)
		c.manySorts()
		c.mark()
		want := c.books()
		f := newFleet(t, 3)
		kinds := []mishap{switchedOff, stoodStill, cutOff, serverKilled}
		length := 10 * time.Second
		for i := 0; i < 30; {
			d, at, who := kinds[i%len(kinds)], time.Duration(random.Int64N(int64(length))), random.IntN(3)
			c.Out = t.TempDir()
			var under sync.WaitGroup
			moment := time.AfterFunc(at, func() { f.disturb(d, who, &under) })
			began := time.Now()
			calls := c.markThere(f)
			took := time.Since(began)
			sameBooks(t, fmt.Sprintf("moment %d", i), c.books(), want)
			if moment.Stop() { // it had not come yet
				length = took
				continue
			}
			i++
			under.Wait()
			taken, again := f.q.Taken()
			t.Logf("moment %d: lender %d, %s after %.2f s: %d calls, %.1f s; %d have come back to this queue, %d of them run here too", i, who, d, at.Seconds(), calls, took.Seconds(), taken, again)
			if t.Failed() {
				t.Logf("told: %q", f.told)
				return
			}
		}
		f.q.Close()
	})
	t.Run("200", func(t *testing.T) {
		c := newClassroom(t, swingLab, 200)
		c.manySorts()
		began := time.Now()
		c.mark()
		t.Logf("alone: %v", time.Since(began).Round(time.Second))
		want := c.books()
		for _, n := range []int{1, 3, 8} {
			f := newFleet(t, n)
			c.Out = t.TempDir()
			var under sync.WaitGroup
			// The fractions are of what has to be run; each disturbance is another lender's.
			moments := []struct {
				at float64
				d  mishap
			}{{0.2, stoodStill}, {0.4, cutOff}, {0.55, switchedOff}, {0.7, serverKilled}}
			var mu sync.Mutex
			done := 0
			c.Progress = func(p Progress) {
				mu.Lock()
				defer mu.Unlock()
				if done < len(moments) && float64(p.Done) > moments[done].at*float64(p.Of) {
					d, who := moments[done].d, done%n
					done++
					go f.disturb(d, who, &under)
				}
			}
			began := time.Now()
			calls := c.markThere(f)
			took := time.Since(began)
			c.Progress = nil
			sameBooks(t, fmt.Sprintf("%d lenders", n), c.books(), want)
			taken, again := f.q.Taken()
			t.Logf("%d lenders, %d mishaps: %d calls, %v; %d came back since the last call, %d of them run here too", n, done, calls, took.Round(time.Second), taken, again)
			if done != len(moments) {
				t.Errorf("%d lenders: only %d mishaps", n, done)
			}
			under.Wait()
			for _, l := range f.lenders {
				f.end(l)
			}
			f.q.Close()
		}
	})
}
