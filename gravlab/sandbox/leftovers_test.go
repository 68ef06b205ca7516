//go:build unix

package sandbox

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A program that is killed with SIGKILL leaves no worker behind, and the next
// pool removes its folder.
func TestKilledParent(t *testing.T) {
	if os.Getenv(testParent) != "" {
		endless(t)
		return
	}
	temp := t.TempDir()
	cmd := exec.Command(os.Args[0], "-test.run=^TestKilledParent$", "-test.v")
	cmd.Env = append(os.Environ(), testParent+"=1", "TMPDIR="+temp)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	worker := 0
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if _, err := fmt.Sscanf(lines.Text(), "worker %d", &worker); err == nil {
			break
		}
	}
	if worker == 0 || !alive(worker) {
		t.Fatalf("no worker runs (%d)", worker)
	}
	cmd.Process.Kill()
	cmd.Wait()
	for range 500 {
		if !running(worker) {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if running(worker) {
		syscall.Kill(worker, syscall.SIGKILL)
		t.Error("the worker outlived its parent by ten seconds")
	}
	t.Setenv("TMPDIR", temp)
	sweep()
	if left, _ := os.ReadDir(temp); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// running is false for a process that has ended and that nobody has waited for yet.
func running(pid int) bool {
	out, err := exec.Command("ps", "-o", "stat=", "-p", fmt.Sprint(pid)).Output()
	return err == nil && !strings.HasPrefix(strings.TrimSpace(string(out)), "Z")
}

// endless is the parent that gets killed.
func endless(t *testing.T) {
	p, err := NewPool(context.Background(), PoolOptions{Workers: 1, Clone: "../.."})
	if err != nil {
		t.Fatal(err)
	}
	p.Run(context.Background(), Job{
		Notebook: book(t, "%%\nfmt.Println(1)\nfor {}"),
		Limits:   Limits{Cell: time.Minute},
		Output: func(int, []byte) {
			worker, err := exec.Command("pgrep", "-P", fmt.Sprint(os.Getpid()), "-f", workerArgument).Output()
			fmt.Printf("\nworker %s\n", strings.TrimSpace(string(worker)))
			if err != nil {
				t.Error(err)
			}
		},
	})
}
