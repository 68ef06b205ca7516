package teach

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/page"
)

// childFolder, in the environment, makes this test program serve a class in that folder;
// childRunner says that its boxes are really run.
const childFolder, childAddress, childRunner = "GRAVLAB_TEACH_FOLDER", "GRAVLAB_TEACH_ADDRESS", "GRAVLAB_TEACH_RUNNER"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childFolder); dir != "" {
		if err := child(dir, os.Getenv(childAddress)); err != nil {
			fmt.Println("failed: " + err.Error())
			os.Exit(1)
		}
	}
	if text := os.Getenv(lender); text != "" {
		if err := beLent(text); err != nil {
			fmt.Fprintln(os.Stderr, "lender:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// child serves the class of a folder until it is killed, or its input ends.
func child(dir, address string) error {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return err
	}
	o := options(&testing.B{}, dir)
	o.Address = "http://" + l.Addr().String()
	o.Log = func(text string) { fmt.Fprintln(os.Stderr, text) }
	if os.Getenv(childRunner) != "" {
		o.Labs = o.Labs[:1]
		o.Runner = func(c page.ConfinedOptions) page.Runner { return page.NewConfined("../..", o.Log, c) }
	}
	c, cards, err := New(context.Background(), o)
	if err != nil {
		return err
	}
	fmt.Printf("ready %s %s\n", o.Address, cards)
	go func() {
		io.Copy(io.Discard, os.Stdin)
		c.Close()
		os.Exit(0)
	}()
	return (&http.Server{Handler: c.Handler(), IdleTimeout: 30 * time.Second, ReadHeaderTimeout: 10 * time.Second}).Serve(l)
}

// A process is a class served by another process.
type process struct {
	cmd            *exec.Cmd
	in             io.Closer
	address, cards string
}

// start serves the class of a folder at an address.
func start(t testing.TB, dir, address string, more ...string) *process {
	t.Helper()
	p := &process{cmd: exec.Command(os.Args[0])}
	p.cmd.Env = append(append(os.Environ(), childFolder+"="+dir, childAddress+"="+address), more...)
	var said bytes.Buffer
	p.cmd.Stderr = &said
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if p.in, err = p.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.kill() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if word := strings.Fields(line); err == nil && len(word) > 1 && word[0] == "ready" {
		p.address = word[1]
		if len(word) > 2 {
			p.cards = word[2]
		}
		return p
	}
	t.Fatalf("the class is not served: %q %s", line, said.String())
	return nil
}

// kill is what a power cut does to the process.
func (p *process) kill() {
	p.cmd.Process.Kill()
	p.cmd.Wait()
}

// A writer is a student who answers and types without a pause, and remembers what was
// acknowledged.
type writer struct {
	http             *http.Client
	url, cookie, key string
	mu               sync.Mutex
	answered         []string // acknowledged
	sent             string   // of the text, last
	saved            string   // acknowledged, last
	n                int
}

// post sends and reports whether it was acknowledged.
func (w *writer) post(path, body string) bool {
	q, err := http.NewRequest("POST", w.url+path, strings.NewReader(body))
	if err != nil {
		return false
	}
	for name, value := range map[string]string{"Origin": w.url, "Content-Type": "application/json", "X-Gravlab-Key": w.key, "Cookie": w.cookie} {
		q.Header.Set(name, value)
	}
	resp, err := w.http.Do(q)
	if err != nil {
		return false
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	return err == nil && resp.StatusCode == http.StatusOK && len(text) > 0
}

// write goes on until ctx ends.
func (w *writer) write(ctx context.Context) {
	for ctx.Err() == nil {
		w.mu.Lock()
		w.n++
		n := w.n
		w.sent = fmt.Sprintf("// text %d", n)
		w.mu.Unlock()
		if w.post("/api/lab/"+lab01+"/save", fmt.Sprintf(`{"tab":"a","cells":{"code-06":"// text %d"}}`, n)) {
			w.mu.Lock()
			w.saved = fmt.Sprintf("// text %d", n)
			w.mu.Unlock()
		}
		if w.post("/api/lab/"+lab01+"/answer", fmt.Sprintf(`{"tab":"a","question":"kappa","fields":{"number":"%d.5e-3","unit":"N m/rad"}}`, n)) {
			w.mu.Lock()
			w.answered = append(w.answered, fmt.Sprintf("%d.5e-3 N m/rad", n))
			w.mu.Unlock()
		}
	}
}

// textNumber is the number of a text, -1 if it is none.
func textNumber(text string) int {
	n := -1
	fmt.Sscanf(text, "// text %d", &n)
	return n
}

// The program is killed at random moments, while three students answer and type. Whatever was
// acknowledged is there, and their tabs go on without coming in again.
func TestKilled(t *testing.T) {
	times := 3
	if os.Getenv("GRAVLAB_LONG") != "" {
		times = 50
	}
	dir := t.TempDir()
	p := start(t, dir, "127.0.0.1:0")
	address := strings.TrimPrefix(p.address, "http://")
	codes := codesIn(t, p.cards)
	var writers []*writer
	for _, code := range codes {
		w := &writer{http: &http.Client{Timeout: 20 * time.Second}, url: p.address}
		resp, err := w.http.Post(p.address+"/enter", "application/json", strings.NewReader(fmt.Sprintf(`{"code":%q}`, code)))
		if err != nil {
			t.Fatal(err)
		}
		var in struct{ Page string }
		json.NewDecoder(resp.Body).Decode(&in)
		resp.Body.Close()
		w.cookie, _, _ = strings.Cut(resp.Header.Get("Set-Cookie"), ";")
		w.key = in.Page
		writers = append(writers, w)
	}
	acknowledged := 0
	for n := range times {
		ctx, stop := context.WithCancel(context.Background())
		var all sync.WaitGroup
		for _, w := range writers {
			all.Go(func() { w.write(ctx) })
		}
		time.Sleep(time.Duration(200+rand.IntN(600)) * time.Millisecond)
		p.kill()
		stop()
		all.Wait()
		for i, w := range writers {
			id := fmt.Sprintf("s%d", i+1)
			logs, err := filepath.Glob(filepath.Join(dir, "hour", "students", id, "answers", lab01, "*.jsonl"))
			if err != nil || len(logs) > 1 {
				t.Fatalf("%s has the logs %v", id, logs)
			}
			text := ""
			if len(logs) == 1 {
				b, err := os.ReadFile(logs[0])
				if err != nil {
					t.Fatal(err)
				}
				text = string(b)
			}
			for _, a := range w.answered {
				if !strings.Contains(text, `"`+a+`"`) {
					t.Errorf("kill %d: the answer %q of %s was acknowledged, and is not in the log", n, a, id)
				}
			}
			if w.saved == "" {
				continue
			}
			nb, err := notebook.ReadFile(filepath.Join(dir, "hour", "work", lab01, id, lab01+".ipynb"), notebook.Options{})
			if err != nil {
				t.Fatalf("kill %d: %v", n, err)
			}
			// What was on its way, and not acknowledged, may be there too.
			if got := nb.Cell("code-06").Source; textNumber(got) < textNumber(w.saved) || textNumber(got) > textNumber(w.sent) {
				t.Errorf("kill %d: %s had saved %q and sent %q, and the working copy says %q", n, id, w.saved, w.sent, got)
			}
			acknowledged += len(w.answered)
			w.answered = nil
		}
		p = start(t, dir, address)
		for i, w := range writers {
			if !w.post("/api/lab/"+lab01+"/save", `{"tab":"a","cells":{"code-06":"`+w.sent+`"}}`) {
				t.Errorf("after kill %d the tab of s%d does not go on", n, i+1)
			}
		}
	}
	t.Logf("%d kills, %d acknowledged answers", times, acknowledged)
	if acknowledged < times {
		t.Errorf("only %d answers were acknowledged between %d kills", acknowledged, times)
	}
}
