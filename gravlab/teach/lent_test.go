package teach

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"gravity.example/gravlab/machines"
	"gravity.example/gravlab/page"
	"gravity.example/gravlab/sandbox"
)

// lender names the variable that makes this test's program lend its processors and nothing else: it
// holds the program that carries, the version, how many places, and the arguments, line by line.
const lender = "GRAVLAB_LENDER"

func beLent(text string) error {
	args := strings.Split(text, "\n")
	places := 0
	fmt.Sscan(args[2], &places)
	p, err := sandbox.NewPool(context.Background(), sandbox.PoolOptions{Clone: "../..", Workers: places})
	if err != nil {
		return err
	}
	defer p.Close()
	return machines.Lend(context.Background(), p, machines.Options{Carrier: args[0], Version: args[1], Args: args[3:], Log: func(string) {}})
}

// A market is where test programs lend their processors.
type market struct {
	t              testing.TB
	carry, version string
	address, token string
	boxes          *machines.Boxes
	places         atomic.Int64
	sent, brought  atomic.Int64
	lost           atomic.Value // string: why the last one did not come back
}

func newMarket(t testing.TB) *market {
	t.Helper()
	m := &market{t: t}
	var err error
	if m.carry, err = machines.Build(t.Context(), "../..", t.TempDir()); err != nil {
		t.Fatal(err)
	}
	if m.version, err = machines.Version(t.Context(), "../.."); err != nil {
		t.Fatal(err)
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m.address = free.Addr().String()
	free.Close()
	return m
}

// reach is what Options.Lent takes; queue is told the places too.
func (m *market) reach(queue func(n int)) (func(context.Context, sandbox.Errand) (sandbox.Return, error), error) {
	dir := m.t.TempDir()
	m.token = filepath.Join(dir, "lend.token")
	var err error
	m.boxes, err = machines.NewBoxes(machines.Options{Carrier: m.carry, Version: m.version, Args: []string{"--listen", m.address, "--dir", dir}, Log: func(s string) { m.t.Log(s) }},
		func(n int) { m.places.Store(int64(n)); queue(n) })
	return func(ctx context.Context, e sandbox.Errand) (sandbox.Return, error) {
		m.sent.Add(1)
		r, err := m.boxes.Run(ctx, e)
		if err != nil {
			m.lost.Store(err.Error())
		} else {
			m.brought.Add(1)
		}
		return r, err
	}, err
}

// listens waits until the server does.
func (m *market) listens() {
	for began := time.Now(); time.Since(began) < 20*time.Second; time.Sleep(20 * time.Millisecond) {
		if _, err := os.Stat(m.token); err == nil {
			return
		}
	}
	m.t.Fatal("no server listens")
}

// lend starts a program that lends.
func (m *market) lend(version string, places int) *exec.Cmd {
	m.t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), lender+"="+strings.Join([]string{m.carry, version, fmt.Sprint(places), "--to", "nats://" + m.address, "--token-file", m.token}, "\n"))
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	m.t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	return cmd
}

func (m *market) await(places int64) {
	m.t.Helper()
	for began := time.Now(); m.places.Load() != places; time.Sleep(20 * time.Millisecond) {
		if time.Since(began) > time.Minute {
			m.t.Fatalf("%d places are lent, want %d", m.places.Load(), places)
		}
	}
}

// occupy takes the places of this machine, until the function that it returns is called.
func (c *Class) occupy() (end func()) {
	q := c.queue
	q.mu.Lock()
	defer q.mu.Unlock()
	var all []*entry
	for i := range q.places {
		e := &entry{who: fmt.Sprint("nobody ", i), state: running, since: q.now()}
		all, q.boxes = append(all, e), append(q.boxes, e)
	}
	return func() {
		for _, e := range all {
			q.leave(e, 0)
		}
	}
}

// What is run in boxes of lab 01.
var lentBoxes = []string{
	"%%\nfmt.Println(\"one\")\nfmt.Println(math.Sqrt2)",
	"%%\nrec := sheet.Recording(\"swing\")\nfmt.Println(rec.Len())\nshow.Plot(\"The light spot\", show.Axis(\"time\", \"s\"), show.Axis(\"position\", \"m\"), show.Points(\"read\", rec.Column(\"time\"), rec.Column(\"spot\")))\nfmt.Println(\"drawn\")",
	"%%\nsheet.Number(\"theta\", 0.002, \"rad\")\nfmt.Println(\"and\")\nsheet.Number(\"kappa\", 2e-7, \"N m/rad\")",
	"%%\nsheet.Number(\"nonsense\", 1, \"m\")",
	"%%\nfmt.Println(\"before\")\nvar list []float64\nfmt.Println(list[3])",
	"%%\nx := undeclared",
	"%%\nx := 0.0\nfor i := range 3_000_000 {\n\tx += math.Sqrt(float64(i))\n}\nfmt.Println(x)",
}

// runBox runs a box of a student and returns all that came to the page.
func (b *browser) runBox(source string) string {
	b.Helper()
	body, _ := json.Marshal(map[string]string{"tab": "a", "cell": "code-06", "source": source})
	status, _, text := b.send("POST", b.lab+"/run", string(body), nil)
	if status != 200 {
		b.Fatalf("%d %s", status, text)
	}
	var kept []string
	for line := range strings.Lines(text) {
		var e map[string]any
		if json.Unmarshal([]byte(line), &e) == nil {
			if e["say"] != nil {
				continue // how it waits, and where
			}
			// Printed text comes in pieces here, and in one from elsewhere.
			if more, ok := e["text"]; ok && len(e) == 1 && len(kept) > 0 && strings.HasPrefix(kept[len(kept)-1], "printed ") {
				kept[len(kept)-1] += more.(string)
				continue
			} else if ok && len(e) == 1 {
				kept = append(kept, "printed "+more.(string))
				continue
			}
			if len(e) > 0 {
				sorted := slices.Sorted(maps.Keys(e))
				text, _ := json.Marshal(e)
				kept = append(kept, fmt.Sprint(sorted)+string(text))
			}
		}
	}
	return strings.Join(kept, "\n")
}

// out is what a box put out, without how the student's answers stand.
func out(text string) string {
	text, _, _ = strings.Cut(text, "[end ")
	return text
}

// Boxes that run on other machines put out the same as here, and leave the same notebook; one that
// does not come back from there is run here, whatever became of the machine.
func TestLentBoxes(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a server and pools")
	}
	dir := t.TempDir()
	confined := func(c page.ConfinedOptions) page.Runner {
		return page.NewConfined("../..", func(string) {}, c)
	}
	o := options(t, dir)
	o.Workers, o.Runner, o.Labs = 1, confined, o.Labs[:1]
	alone := serve(t, o)
	ada := alone.student(0)
	want := []string{}
	ada.runBox(lentBoxes[0])
	for _, source := range lentBoxes {
		want = append(want, ada.runBox(source))
	}
	file := func(s *school) string {
		text, err := os.ReadFile(filepath.Join(s.class.work(lab01, "s1"), lab01+".ipynb"))
		if err != nil {
			t.Fatal(err)
		}
		// The figures beside it are drawn behind the reader's back, at any time.
		var nb struct{ Cells []map[string]any }
		if err := json.Unmarshal(text, &nb); err != nil {
			t.Fatal(err)
		}
		for _, c := range nb.Cells {
			if c["id"] == "code-06" {
				text, _ = json.MarshalIndent(c, "", " ")
			}
		}
		return string(text)
	}
	wantFile := file(alone)

	m := newMarket(t)
	o.Data, o.Lent = filepath.Join(dir, "lent"), m.reach
	s := serve(t, o)
	t.Cleanup(func() { m.boxes.Close() })
	ada = s.student(0)
	// Nobody lends: here.
	if got := ada.runBox(lentBoxes[0]); !strings.Contains(got, "1.414") || m.sent.Load() != 0 {
		t.Errorf("with nobody there, %d boxes were sent; %s", m.sent.Load(), got)
	}
	m.listens()
	m.lend("another", 1) // gets nothing
	first := m.lend(m.version, 1)
	m.await(1)

	free := s.class.occupy()
	for i, source := range lentBoxes {
		if got := ada.runBox(source); got != want[i] {
			t.Errorf("box %d on another machine:\n%s\nwant\n%s", i, got, want[i])
		}
	}
	if got := file(s); got != wantFile {
		t.Errorf("the notebooks differ: %s", firstDifference(got, wantFile))
	}
	if m.sent.Load() != int64(len(lentBoxes)) || m.brought.Load() != m.sent.Load() {
		t.Errorf("%d boxes were sent and %d came back: %v", m.sent.Load(), m.brought.Load(), m.lost.Load())
	}

	// A function's calls belong to this machine, and a recording of one's own is here.
	free()
	before := m.sent.Load()
	ada.runBox("%%\nsheet.Function(\"torque\", func(x float64) float64 { return x })")
	ada.runBox("%%\nsheet.OwnRecording(\"none.csv\")")
	if m.sent.Load() != before {
		t.Error("a box that has to run here was sent")
	}

	// The machine is killed while it has a box.
	free = s.class.occupy()
	began := time.Now()
	go func() {
		for m.sent.Load() == before {
			time.Sleep(5 * time.Millisecond)
		}
		time.Sleep(300 * time.Millisecond)
		first.Process.Kill()
		free()
	}()
	if got := ada.runBox(lentBoxes[6]); out(got) != out(want[6]) {
		t.Errorf("a machine was killed:\n%s\nwant\n%s", got, want[6])
	}
	t.Logf("killed: the box was there after %v; %v", time.Since(began).Round(10*time.Millisecond), m.lost.Load())
	m.await(0)

	// One place is taken by the first of two boxes; the second runs here.
	second := m.lend(m.version, 1)
	m.await(1)
	s.class.queue.lend(2) // more than there is
	free = s.class.occupy()
	before = m.sent.Load()
	over := make(chan string)
	go func() { over <- ada.runBox(lentBoxes[6]) }()
	for m.sent.Load() == before {
		time.Sleep(5 * time.Millisecond)
	}
	time.Sleep(100 * time.Millisecond)
	cleo := s.student(1)
	go func() {
		for m.lost.Load() == nil || !strings.Contains(m.lost.Load().(string), "no place") {
			time.Sleep(5 * time.Millisecond)
		}
		free()
	}()
	if got := cleo.runBox(lentBoxes[0]); !strings.Contains(got, "1.414") {
		t.Errorf("where the other machine is full: %s", got)
	}
	if got := <-over; out(got) != out(want[6]) {
		t.Errorf("the box that has the place: %s", got)
	}

	// A box that never ends comes back here, where it is ended. It is that of a student who has
	// used little: others are not sent away.
	free = s.class.occupy()
	before = m.brought.Load()
	go func() {
		for m.brought.Load() == before {
			time.Sleep(5 * time.Millisecond)
		}
		free()
	}()
	if got := s.student(2).runBox("%%\nfor i := 0; ; i++ {\n\tif i < 0 {\n\t\tbreak\n\t}\n}"); !strings.Contains(got, "Stopped") {
		t.Errorf("an endless box: %s", got)
	}
	second.Process.Kill()
}

// A thin box, from the request to its end, on this machine and on another one, which is a process
// here.
func BenchmarkLentBox(b *testing.B) {
	o := options(b, b.TempDir())
	o.Workers, o.Labs = 1, o.Labs[:1]
	o.Runner = func(c page.ConfinedOptions) page.Runner { return page.NewConfined("../..", func(string) {}, c) }
	m := newMarket(b)
	o.Lent = m.reach
	s := serve(b, o)
	b.Cleanup(func() { m.boxes.Close() })
	ada := s.student(0)
	ada.runBox(lentBoxes[0])
	m.listens()
	m.lend(m.version, 1)
	m.await(1)
	for _, where := range []string{"here", "away"} {
		b.Run(where, func(b *testing.B) {
			if where == "away" {
				defer s.class.occupy()()
			}
			n := 0
			for b.Loop() {
				n++
				s.class.queue.forget()
				if got := ada.runBox(fmt.Sprintf("%%%%\nfmt.Println(%d)", n)); !strings.Contains(got, "printed") && !strings.Contains(got, fmt.Sprint(n)) {
					b.Fatal(got)
				}
			}
		})
	}
	if m.brought.Load() == 0 {
		b.Error("no box was run away from here")
	}
}

// forget forgets what students have used.
func (q *queue) forget() {
	q.mu.Lock()
	defer q.mu.Unlock()
	clear(q.used)
}
