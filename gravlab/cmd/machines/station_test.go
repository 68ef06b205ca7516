package main

import (
	"context"
	"encoding/gob"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"

	"gravity.example/gravlab/machines/pipe"
)

// A program stands for the one beside a carrier.
type program struct {
	mu    sync.Mutex
	enc   *gob.Encoder
	notes []string
	end   func()        // closes its output, which ends the carrier
	over  chan struct{} // closed when the carrier has ended
	err   error         // of the carrier
}

func (p *program) send(m pipe.Message) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.enc.Encode(m)
}

func (p *program) told(text string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Contains(strings.Join(p.notes, "\n"), text)
}

// beside starts a carrier in this process, and take is called with what it says.
func beside(t testing.TB, o options, take func(p *program, m pipe.Message)) *program {
	t.Helper()
	in, toCarrier := io.Pipe()
	fromCarrier, out := io.Pipe()
	l := &link{enc: gob.NewEncoder(out), dec: gob.NewDecoder(in)}
	p := &program{enc: gob.NewEncoder(toCarrier), over: make(chan struct{}), end: func() { toCarrier.Close() }}
	nc, err := connect(l, o)
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		dec := gob.NewDecoder(fromCarrier)
		for {
			var m pipe.Message
			if dec.Decode(&m) != nil {
				return
			}
			if m.Kind == pipe.Note || m.Kind == pipe.End {
				p.mu.Lock()
				p.notes = append(p.notes, m.Text)
				p.mu.Unlock()
			}
			take(p, m)
		}
	}()
	ctx, stop := context.WithCancel(context.Background())
	go func() {
		defer close(p.over)
		defer nc.Close()
		s, err := open(ctx, nc, o)
		switch {
		case err != nil:
		case o.role == "mark":
			err = s.mark(ctx, l)
		default:
			err = s.lend(ctx, l)
		}
		p.err = err
	}()
	t.Cleanup(func() { stop(); toCarrier.Close(); out.Close(); nc.Close() })
	return p
}

// A marker puts errands and counts what comes back, each once.
type marker struct {
	*program
	mu    sync.Mutex
	back  map[string]int
	fault map[string]string
	came  chan struct{}
}

func mark(t testing.TB, o options) *marker {
	o.role, o.version = "mark", "v"
	m := &marker{back: map[string]int{}, fault: map[string]string{}, came: make(chan struct{}, 100_000)}
	m.program = beside(t, o, func(p *program, in pipe.Message) {
		switch in.Kind {
		case pipe.Back:
			m.mu.Lock()
			if m.back[in.Key]++; string(in.Body[:min(len(in.Body), 5)]) != "done:" {
				m.back[in.Key] += 1000
			}
			m.mu.Unlock()
			p.send(pipe.Message{Kind: pipe.Done, Key: in.Key})
		case pipe.Fault:
			m.mu.Lock()
			m.fault[in.Key] = in.Text
			m.mu.Unlock()
			p.send(pipe.Message{Kind: pipe.Done, Key: in.Key})
		default:
			return
		}
		m.came <- struct{}{}
	})
	return m
}

// run puts n errands, some at a time, and waits until all have come back.
func (m *marker) run(t testing.TB, n, atOnce int, body func(k int) []byte) {
	t.Helper()
	limit := time.After(3 * time.Minute)
	for k := range n + atOnce {
		if k >= atOnce {
			select {
			case <-m.came:
			case <-m.over:
				t.Fatalf("the carrier has ended: %v", m.err)
			case <-limit:
				m.mu.Lock()
				defer m.mu.Unlock()
				t.Fatalf("%d of %d came back; told %q", len(m.back), n, m.notes)
			}
		}
		if k < n {
			m.send(pipe.Message{Kind: pipe.Put, Key: fmt.Sprintf("%032d", k), Body: body(k)})
		}
	}
}

// once wants each of n errands back, once, and no fault.
func (m *marker) once(t testing.TB, n int) {
	t.Helper()
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.back) != n || len(m.fault) != 0 {
		t.Errorf("%d of %d came back, %d faults: %v", len(m.back), n, len(m.fault), m.fault)
	}
	for key, times := range m.back {
		if times != 1 {
			t.Errorf("%s came back %d times", key, times)
		}
	}
}

var lenders atomic.Int64

// A lending runs errands by sleeping, and brings back "done:" and the errand.
type lending struct {
	*program
	name string
	mu   sync.Mutex
	ran  int
	dumb bool // takes and does not bring back
}

func lend(t testing.TB, o options, places int, takes time.Duration) *lending {
	o.role, o.places = "lend", places
	if o.version == "" {
		o.version = "v"
	}
	o.name = fmt.Sprint("lender ", lenders.Add(1))
	e := &lending{name: o.name}
	e.program = beside(t, o, func(p *program, m pipe.Message) {
		if m.Kind != pipe.Put {
			return
		}
		go func() {
			time.Sleep(takes)
			e.mu.Lock()
			e.ran++
			dumb := e.dumb
			e.mu.Unlock()
			if !dumb {
				p.send(pipe.Message{Kind: pipe.Back, Key: m.Key, Body: append([]byte("done:"), m.Body...)})
			}
		}()
	})
	go func() {
		for t := time.Tick(time.Second); ; {
			select {
			case <-e.over:
				return
			case <-t:
				e.send(pipe.Message{Kind: pipe.Beat})
			}
		}
	}()
	return e
}

// aServer starts one and returns how it is reached as the marker and as a lender.
func aServer(t testing.TB, dir, listen string) (marks, lends options, end func()) {
	t.Helper()
	o := options{role: "mark", listen: listen, dir: dir, ackWait: 30 * time.Second, tryFor: 2 * time.Second}
	end, err := serve(&o)
	if err != nil {
		t.Fatal(err)
	}
	o.listen = ""
	lends = o
	lends.tokenFile = filepath.Join(dir, "lend.token")
	return o, lends, sync.OnceFunc(end)
}

func some(n int) func(int) []byte {
	text := make([]byte, n)
	rng := rand.NewChaCha8([32]byte{1})
	rng.Read(text)
	return func(k int) []byte { return append(fmt.Appendf(nil, "%d ", k), text...) }
}

// A program beside a marker that ends and is started again finds what came back meanwhile, and
// nothing runs twice.
func TestGoingOn(t *testing.T) {
	dir := t.TempDir()
	marks, lends, end := aServer(t, dir, "127.0.0.1:0")
	defer end()
	const n = 40
	first := mark(t, marks)
	for k := range n {
		first.send(pipe.Message{Kind: pipe.Put, Key: fmt.Sprintf("%032d", k), Body: some(600_000 * (k % 2))(k)})
	}
	lent := lend(t, lends, 4, 10*time.Millisecond)
	for range 5 {
		<-first.came
	}
	first.end() // as after Ctrl-C
	<-first.over
	for began := time.Now(); time.Since(began) < 20*time.Second; time.Sleep(20 * time.Millisecond) {
		if lent.count() == n {
			break
		}
	}
	second := mark(t, marks)
	taken := 0
	first.mu.Lock()
	for k := range n {
		if key := fmt.Sprintf("%032d", k); first.back[key] == 0 {
			second.send(pipe.Message{Kind: pipe.Put, Key: key, Body: some(600_000 * (k % 2))(k)})
			taken++
		}
	}
	first.mu.Unlock()
	for range taken {
		select {
		case <-second.came:
		case <-time.After(30 * time.Second):
			t.Fatal("an outcome of the last time is not found")
		}
	}
	second.once(t, taken)
	if got := lent.count(); got != n || taken == 0 {
		t.Errorf("%d errands ran, want %d; %d were asked for again", got, n, taken)
	}
}

// ran is how many errands lenders have run together.
func ran(lent []*lending) (n int) {
	for _, e := range lent {
		n += e.count()
	}
	return n
}

func (e *lending) count() int {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.ran
}

// The server is stopped and started again in the middle: both sides find it again, and everything
// comes back, once.
func TestServerAway(t *testing.T) {
	dir := t.TempDir()
	marks, lends, end := aServer(t, dir, "127.0.0.1:0")
	marks.ackWait, lends.ackWait = 2*time.Second, 2*time.Second
	address := strings.TrimPrefix(marks.to, "nats://")
	m := mark(t, marks)
	lent := []*lending{lend(t, lends, 2, 20*time.Millisecond), lend(t, lends, 2, 20*time.Millisecond)}
	go func() {
		for ran(lent) < 60 {
			time.Sleep(5 * time.Millisecond)
		}
		end()
		time.Sleep(1500 * time.Millisecond)
		_, _, again := aServer(t, dir, address)
		t.Cleanup(again)
	}()
	const n = 200
	m.run(t, n, 16, some(1000))
	m.once(t, n)
	if !m.told("is reached again") || !lent[0].told("or the marking has ended") || !lent[0].told("is reached again") {
		t.Errorf("it is not told that the server was away: %q, %q", m.notes, lent[0].notes)
	}
	t.Logf("%d errands ran for %d", ran(lent), n)
}

// A lender of another version gets nothing, and both sides are told; what others put into the
// stream is no errand; an outcome by who was not given the errand does not count; an errand that
// three machines took is set aside.
func TestStrangers(t *testing.T) {
	marks, lends, end := aServer(t, t.TempDir(), "127.0.0.1:0")
	defer end()
	marks.ackWait = 600 * time.Millisecond
	lends.ackWait = 600 * time.Millisecond
	old := lends
	old.version = "old"
	m := mark(t, marks)
	other := lend(t, old, 2, 0)
	ask := func(key string) {
		m.send(pipe.Message{Kind: pipe.Put, Key: fmt.Sprintf("%032s", key), Body: []byte(key)})
	}
	ask("1")
	until := func(what string, is func() bool) {
		t.Helper()
		for began := time.Now(); !is(); time.Sleep(10 * time.Millisecond) {
			if time.Since(began) > 20*time.Second {
				t.Fatalf("%s: told %q", what, m.notes)
			}
		}
	}
	until("the marker is told of another version", func() bool { return m.told("it gets no work") })
	until("an old lender is told", func() bool { return other.told("no errands yet for machines of this version") })
	if other.count() != 0 {
		t.Error("a lender of another version was given an errand")
	}

	// Somebody with a lender's password writes an outcome.
	l := &link{enc: gob.NewEncoder(io.Discard)}
	forger := lends
	forger.role = "lend"
	nc, err := connect(l, forger)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	s, err := open(t.Context(), nc, forger)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.js.Publish(t.Context(), "$KV."+backName+"."+fmt.Sprintf("%032d", 1)+".00000000000000000000000000000000", []byte("=done:forged")); err != nil {
		t.Fatal(err)
	}
	until("a forged outcome is told", func() bool { return m.told("was not given that notebook") })
	m.mu.Lock()
	if len(m.back) != 0 {
		t.Errorf("a forged outcome counts: %v", m.back)
	}
	m.mu.Unlock()

	// And the marker's side puts text that is no errand.
	boss, err := connect(l, marks)
	if err != nil {
		t.Fatal(err)
	}
	defer boss.Close()
	if err := boss.Publish("gravlab.jobs.v.filled", []byte("filled by others")); err != nil {
		t.Fatal(err)
	}
	good := lend(t, lends, 1, 0)
	until("text of others is told", func() bool { return good.told("an errand cannot be used") })
	until("the errand comes back", func() bool { m.mu.Lock(); defer m.mu.Unlock(); return m.back[fmt.Sprintf("%032d", 1)] == 1 })
	good.end()
	<-good.over

	// Three that take it and say no more.
	var all []*lending
	for range mostRuns {
		e := lend(t, lends, 1, 0)
		e.mu.Lock()
		e.dumb = true
		e.mu.Unlock()
		all = append(all, e)
	}
	ask("2")
	until("three machines have had the errand and are gone", func() bool {
		gone := 0
		for _, e := range all {
			if e.count() > 0 {
				e.end()
				gone++
			}
		}
		return gone == mostRuns
	})
	last := lend(t, lends, 1, 0)
	until("an errand that ends machines is set aside", func() bool {
		m.mu.Lock()
		defer m.mu.Unlock()
		return strings.Contains(m.fault[fmt.Sprintf("%032d", 2)], "3 machines took the notebook")
	})
	if last.count() != 0 {
		t.Error("a fourth machine was given it")
	}
	m.end()
	until("what the machines did is told", func() bool { return m.told(good.name + ": 1 done") })
}

// Nothing waits for ever: an errand that a machine says it has done without storing anything, and
// one whose outcome is not what its object holds, are run by who asked; one that machines took
// three times is set aside even if the server may not tell so.
func TestLost(t *testing.T) {
	deaf := &server.Permissions{Subscribe: &server.SubjectPermission{Deny: []string{"$JS.EVENT.>"}}}
	srv, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: -1, JetStream: true, StoreDir: t.TempDir(), NoSigs: true, NoLog: true,
		Users: []*server.User{{Username: "any", Password: "any", Permissions: deaf}}})
	if err != nil {
		t.Fatal(err)
	}
	go srv.Start()
	t.Cleanup(func() { srv.Shutdown(); srv.WaitForShutdown() })
	if !srv.ReadyForConnections(20 * time.Second) {
		t.Fatal("the server does not start")
	}
	token := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(token, []byte("any:any"), 0o600); err != nil {
		t.Fatal(err)
	}
	o := options{role: "mark", version: "v", to: srv.ClientURL(), tokenFile: token, dir: t.TempDir(), ackWait: 400 * time.Millisecond, tryFor: 2 * time.Second}
	m := mark(t, o)
	o.role = "lend"
	nc, err := connect(&link{enc: gob.NewEncoder(io.Discard)}, o)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	ctx := t.Context()
	s, err := open(ctx, nc, o)
	if err != nil {
		t.Fatal(err)
	}
	take := func() jetstream.Msg {
		for began := time.Now(); time.Since(began) < 20*time.Second; {
			if job, _ := s.next(ctx, new(sync.Mutex)); job != nil {
				return job
			}
		}
		t.Fatal("no errand comes")
		return nil
	}
	come := func() {
		t.Helper()
		select {
		case <-m.came:
		case <-time.After(20 * time.Second):
			t.Fatalf("it is waited for what does not come; told %q", m.notes)
		}
	}
	key := func(k int) string { return fmt.Sprintf("%032d", k) }

	m.send(pipe.Message{Kind: pipe.Put, Key: key(1), Body: []byte("1")})
	take().Ack()
	come()
	m.send(pipe.Message{Kind: pipe.Put, Key: key(2), Body: []byte("2")})
	job := take()
	text, err := s.pack(ctx, "back-"+key(2), make([]byte, large+1))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.objects.PutBytes(ctx, "back-"+key(2), []byte("another's")); err != nil {
		t.Fatal(err)
	}
	if _, err := s.js.Publish(ctx, "$KV."+backName+"."+key(2)+"."+job.Headers().Get(secretHeader), append([]byte("name\n"), text...)); err != nil {
		t.Fatal(err)
	}
	job.Ack()
	come()
	m.send(pipe.Message{Kind: pipe.Put, Key: key(3), Body: []byte("3")})
	for range mostRuns {
		take()
	}
	if job, _ := s.next(ctx, new(sync.Mutex)); job != nil {
		t.Error("a fourth machine is given it")
	}
	come()

	m.mu.Lock()
	defer m.mu.Unlock()
	const empty = 1001 // once, and not what a lender brings
	if m.back[key(1)] != empty || m.back[key(2)] != empty || len(m.back) != 2 || !m.told("nothing came back") || !m.told("is not what was put there") {
		t.Errorf("came back %v, told %q", m.back, m.notes)
	}
	if len(m.fault) != 1 || !strings.Contains(m.fault[key(3)], "3 machines took the notebook") {
		t.Errorf("faults %v", m.fault)
	}
}

// An errand whose object cannot be had for a moment comes again.
func TestObjectLate(t *testing.T) {
	marks, lends, end := aServer(t, t.TempDir(), "127.0.0.1:0")
	defer end()
	marks.ackWait, lends.ackWait = 3*time.Second, 3*time.Second
	m := mark(t, marks)
	boss, err := connect(&link{enc: gob.NewEncoder(io.Discard)}, marks)
	if err != nil {
		t.Fatal(err)
	}
	defer boss.Close()
	marks.version = "v"
	s, err := open(t.Context(), boss, marks)
	if err != nil {
		t.Fatal(err)
	}
	body := make([]byte, large+1)
	m.send(pipe.Message{Kind: pipe.Put, Key: fmt.Sprintf("%032d", 1), Body: body})
	for began := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		if info, err := s.jobs.Info(t.Context()); err == nil && info.State.Msgs == 1 {
			break
		}
		if time.Since(began) > 20*time.Second {
			t.Fatal("the errand is not put")
		}
	}
	name := "job-" + fmt.Sprintf("%032d", 1)
	if err := s.objects.Delete(t.Context(), name); err != nil {
		t.Fatal(err)
	}
	e := lend(t, lends, 1, 0)
	for began := time.Now(); !e.told("an errand cannot be used"); time.Sleep(10 * time.Millisecond) {
		if time.Since(began) > 20*time.Second {
			t.Fatal("it is not told that the object is not there")
		}
	}
	if _, err := s.objects.PutBytes(t.Context(), name, body); err != nil {
		t.Fatal(err)
	}
	select {
	case <-m.came:
	case <-time.After(20 * time.Second):
		t.Fatal("the errand does not come again")
	}
	m.once(t, 1)
}

// Two who mark on one server do not disturb each other.
func TestTwoMarkings(t *testing.T) {
	marks, lends, end := aServer(t, t.TempDir(), "127.0.0.1:0")
	defer end()
	one := mark(t, marks)
	marks.dir = t.TempDir()
	two := mark(t, marks)
	lend(t, lends, 2, time.Millisecond)
	const n = 100
	for k := range n {
		one.send(pipe.Message{Kind: pipe.Put, Key: fmt.Sprintf("1%031d", k), Body: []byte("1")})
		two.send(pipe.Message{Kind: pipe.Put, Key: fmt.Sprintf("2%031d", k), Body: []byte("2")})
	}
	for range n {
		for _, m := range []*marker{one, two} {
			select {
			case <-m.came:
			case <-time.After(20 * time.Second):
				t.Fatalf("%d came back; told %q", len(m.back), m.notes)
			}
		}
	}
	one.once(t, n)
	two.once(t, n)
	if one.told("was not given") || two.told("was not given") {
		t.Errorf("the other's outcomes are taken for forged: %q %q", one.notes, two.notes)
	}
}

// Of three servers that hold the queue together the one that leads it is lost in the middle:
// nothing is lost, and nothing counts twice.
func TestCluster(t *testing.T) {
	if testing.Short() {
		t.Skip("starts three servers")
	}
	var routes, urls []string
	var ports []int
	for range 3 {
		free, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		ports = append(ports, free.Addr().(*net.TCPAddr).Port)
		routes = append(routes, "nats://"+free.Addr().String())
		free.Close()
	}
	var all []*server.Server
	for i := range 3 {
		s, err := server.NewServer(&server.Options{ServerName: fmt.Sprint("server-", i), Host: "127.0.0.1", Port: -1, JetStream: true, StoreDir: t.TempDir(), NoSigs: true, NoLog: true,
			Cluster: server.ClusterOpts{Name: "three", Host: "127.0.0.1", Port: ports[i]}, Routes: server.RoutesFromStr(strings.Join(routes, ","))})
		if err != nil {
			t.Fatal(err)
		}
		go s.Start()
		t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
		all = append(all, s)
	}
	for _, s := range all {
		if !s.ReadyForConnections(20 * time.Second) {
			t.Fatal("a server does not start")
		}
		urls = append(urls, s.ClientURL())
	}
	o := options{role: "mark", version: "v", to: strings.Join(urls, ","), dir: t.TempDir(), ackWait: 2 * time.Second, tryFor: 5 * time.Second}
	m := mark(t, o)
	lent := []*lending{lend(t, o, 2, 20*time.Millisecond), lend(t, o, 2, 20*time.Millisecond), lend(t, o, 2, 20*time.Millisecond)}
	lost := make(chan string, 1)
	go func() {
		for ran(lent) < 100 {
			time.Sleep(5 * time.Millisecond)
		}
		for _, s := range all {
			if s.JetStreamIsStreamLeader(server.DEFAULT_GLOBAL_ACCOUNT, jobsName) {
				lost <- s.Name()
				s.Shutdown()
				return
			}
		}
		lost <- ""
	}()
	const n = 400
	m.run(t, n, 32, some(1000))
	m.once(t, n)
	if name := <-lost; name == "" {
		t.Error("no server led the queue")
	}
	nc, err := connect(&link{enc: gob.NewEncoder(io.Discard)}, o)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	s, err := open(t.Context(), nc, o)
	if err != nil {
		t.Fatal(err)
	}
	if info, err := s.jobs.Info(t.Context()); err != nil || info.Config.Replicas != 3 {
		t.Errorf("the queue is kept in %+v, %v; want three copies", info.Config, err)
	}
	t.Logf("%d errands ran for %d", ran(lent), n)
}

// What an errand costs beside its run: all sides in this process, the server too.
func BenchmarkErrands(b *testing.B) {
	const n = 10_000
	for _, size := range []int{20_000, 60_000} {
		b.Run(fmt.Sprintf("%dkB", size/1000), func(b *testing.B) {
			for b.Loop() {
				marks, lends, end := aServer(b, b.TempDir(), "127.0.0.1:0")
				m := mark(b, marks)
				for range 4 {
					lend(b, lends, 2, 0)
				}
				before := processorTime()
				m.run(b, n, 64, some(size))
				used := processorTime() - before
				m.once(b, n)
				b.ReportMetric(float64(used.Microseconds())/1000/n, "cpu-ms/errand")
				b.ReportMetric(float64(mostResident())/(1<<20), "MB-at-most")
				end()
			}
		})
	}
}

// mostResident is the largest resident memory of this process so far, where the system tells.
func mostResident() (bytes int) {
	text, _ := os.ReadFile("/proc/self/status")
	for line := range strings.Lines(string(text)) {
		fmt.Sscanf(line, "VmHWM: %d kB", &bytes)
	}
	return bytes << 10
}
