package marking

import (
	"context"
	"encoding/json"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// victim names the variable that makes this test's program mark a class and
// nothing else: it holds the file that says which.
const victim = "GRAVLAB_MARKED"

// beMarked marks as a lecturer would, in a process of its own.
func beMarked(file string) {
	var m Marking
	text, err := os.ReadFile(file)
	if err == nil {
		err = json.Unmarshal(text, &struct {
			Class    *Class
			Key      *[]byte
			Returned *[]string
			Out      *string
		}{&m.Class, &m.Key, &m.Returned, &m.Out})
	}
	if err != nil {
		panic(err)
	}
	m.Start, m.Workers = start, 2
	if _, err := Mark(context.Background(), m); err != nil {
		panic(err)
	}
	if p, err := pool(); err == nil {
		p.Close()
	}
}

// Killed at random moments and run to the end, marking writes the same bytes
// as undisturbed. GRAVLAB_LONG kills at 50 moments.
func TestKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("starts and kills whole marking runs")
	}
	moments := 6
	if os.Getenv("GRAVLAB_LONG") != "" {
		moments = 50
	}
	c := newClassroom(t, swingLab, 8)
	for i := range c.Class.Students {
		p := c.sheet(i)
		s := worked(p)
		if i%2 == 1 {
			s.with("period", gives("period", "1", "s"), "g", "%%\npanic(1)")
		}
		c.hand(c.Class.Students[i].ID+"/a.ipynb", answered(t, p, s))
	}
	began := time.Now()
	c.mark()
	length := time.Since(began)
	want := c.books()

	job := filepath.Join(c.dir, "job.json")
	text, err := json.Marshal(map[string]any{"Class": c.Class, "Key": c.Key, "Returned": c.Returned, "Out": c.Out})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(job, text, 0o600); err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	killed, finished := 0, 0
	run := func(after time.Duration) {
		child := exec.Command(program)
		child.Env = append(os.Environ(), victim+"="+job)
		child.Stderr = os.Stderr
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		timer := time.AfterFunc(after, func() { child.Process.Kill() })
		err := child.Wait()
		if timer.Stop(); err != nil {
			killed++
			return
		}
		finished++
		sameBooks(t, "after kills", c.books(), want)
		os.RemoveAll(c.Out)
	}
	os.RemoveAll(c.Out)
	for killed < moments {
		// Most of the time goes into running; the writing at the end has a moment of
		// its own as often.
		after := time.Duration(random.Int64N(int64(length)))
		if random.IntN(2) == 0 {
			after = time.Duration(random.Int64N(int64(length) / 8))
		}
		run(after)
	}
	run(time.Hour)
	if finished == 0 {
		t.Error("no run was ever finished: nothing was compared")
	}
	t.Logf("killed at %d moments, run to the end %d times", killed, finished)
}
