//go:build unix

package labserver

import (
	"bytes"
	"encoding/gob"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/janpfeifer/gonb/gonbui/protocol"

	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/judge"
)

// buildCell compiles testdata/cell once.
var buildCell = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "gravlab-cell-")
	if err != nil {
		return "", err
	}
	cellFolder = dir
	path := filepath.Join(dir, "cell")
	out, err := exec.Command("go", "build", "-ldflags=-s", "-o", path, "./testdata/cell").CombinedOutput()
	if err != nil {
		os.Stderr.Write(out)
	}
	return path, err
})

// cellFolder is what buildCell has made, "" if nothing.
var cellFolder string

func TestMain(m *testing.M) {
	code := m.Run()
	if cellFolder != "" {
		os.RemoveAll(cellFolder)
	}
	os.Exit(code)
}

// fakeNotebook does what GoNB does with the pipes of one cell.
type fakeNotebook struct {
	pipe, back string
	done       chan struct{}
	displays   []protocol.DisplayData
}

func newFakeNotebook(t *testing.T) *fakeNotebook {
	t.Helper()
	dir := t.TempDir()
	n := &fakeNotebook{pipe: filepath.Join(dir, "pipe"), back: filepath.Join(dir, "back"), done: make(chan struct{})}
	for _, p := range []string{n.pipe, n.back} {
		if err := syscall.Mkfifo(p, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return n
}

// serve reads displays until the writer closes the pipe.
func (n *fakeNotebook) serve() {
	acks := make(chan protocol.CommValue, 16)
	go func() {
		w, err := os.OpenFile(n.back, os.O_WRONLY, 0)
		if err != nil {
			return
		}
		defer w.Close()
		enc := gob.NewEncoder(w)
		for a := range acks {
			enc.Encode(&a)
		}
	}()
	go func() {
		defer close(n.done)
		defer close(acks)
		r, err := os.Open(n.pipe)
		if err != nil {
			return
		}
		defer r.Close()
		dec := gob.NewDecoder(r)
		for {
			var d protocol.DisplayData
			if dec.Decode(&d) != nil {
				return
			}
			if v, ok := d.Data[protocol.MIMECommValue]; ok {
				sync := v.(protocol.CommValue)
				// Widgets speak on the same pipe.
				acks <- protocol.CommValue{Address: "#some/widget", Value: "moved"}
				acks <- protocol.CommValue{Address: protocol.GonbuiSyncAckAddress, Value: sync.Value}
				continue
			}
			n.displays = append(n.displays, d)
		}
	}()
}

// run runs a cell at a lab server and returns what it printed and what the notebook
// displayed.
func run(t *testing.T, b *Server, args ...string) (printed string, displays []protocol.DisplayData) {
	t.Helper()
	n := newFakeNotebook(t)
	n.serve()
	out, err := cell(t, b, n, args...).CombinedOutput()
	if _, exited := err.(*exec.ExitError); err != nil && !exited {
		t.Fatal(err)
	}
	select {
	case <-n.done:
	case <-time.After(20 * time.Second):
		t.Fatal("the lab server keeps the pipe of a cell that has ended")
	}
	return string(out), n.displays
}

func cell(t *testing.T, b *Server, n *fakeNotebook, args ...string) *exec.Cmd {
	t.Helper()
	path, err := buildCell()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, args...)
	cmd.Env = append(os.Environ(), "GRAVLAB_SERVER="+b.Socket())
	if n != nil {
		cmd.Env = append(cmd.Env, "GONB_PIPE="+n.pipe, "GONB_PIPE_BACK="+n.back)
	}
	return cmd
}

func start(t *testing.T, o Options) *Server {
	t.Helper()
	if o.Data == "" {
		o.Data = t.TempDir()
	}
	b, err := Start(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// verdict is the one verdict among the displays.
func verdict(t *testing.T, displays []protocol.DisplayData) map[string]any {
	t.Helper()
	if len(displays) != 1 {
		t.Fatalf("%d displays, want one verdict", len(displays))
	}
	v, ok := displays[0].Data[judge.VerdictMIME].(map[string]any)
	if !ok {
		t.Fatalf("no verdict in %v", displays[0].Data)
	}
	return v
}

func TestCellAnswers(t *testing.T) {
	b := start(t, Options{})
	for _, c := range []struct {
		args    []string
		outcome string
		message string
	}{
		{[]string{"number", "fall-time", "NaN", "s"}, "unreadable", ""},
		{[]string{"number", "fall-time", "0", "s"}, "blank", ""},
		{[]string{"number", "fal-time", "1", "s"}, "unreadable", "Did you mean fall-time?"},
		{[]string{"number", "brackets", "1", "s"}, "unreadable", `sheet.Choice("brackets", "a")`},
		{[]string{"function"}, "right", ""},
		{[]string{"remembers"}, "unreadable", "for the same arguments it gave first"},
		{[]string{"panics"}, "unreadable", "index out of range [99]"},
		{[]string{"wrong-function"}, "unreadable", "The question needs a func([]float64) float64."},
	} {
		printed, displays := run(t, b, c.args...)
		if printed != "" {
			t.Errorf("%v printed %q", c.args, printed)
		}
		v := verdict(t, displays)
		if v["outcome"] != c.outcome || !strings.Contains(v["message"].(string), c.message) {
			t.Errorf("%v: %v, want %s with %q", c.args, v, c.outcome, c.message)
		}
		plain := displays[0].Data[protocol.MIMETextPlain].(string)
		if n := strings.Count(plain, "\n") + 1; n > maxLines {
			t.Errorf("%v: a verdict of %d lines:\n%s", c.args, n, plain)
		}
	}
}

func TestManyDisplaysArrive(t *testing.T) {
	b := start(t, Options{})
	_, displays := run(t, b, "many")
	if len(displays) != 200 {
		t.Fatalf("%d of 200 displays arrived", len(displays))
	}
	for i, d := range displays {
		if got, want := d.Data[protocol.MIMETextHTML], "display "+strconv.Itoa(i); got != want {
			t.Fatalf("display %d is %v", i, got)
		}
	}
}

func TestDisplayBeforeExit(t *testing.T) {
	b := start(t, Options{})
	if _, displays := run(t, b, "exits"); len(displays) != 1 {
		t.Fatalf("%d displays before os.Exit, want 1", len(displays))
	}
}

func TestFigure(t *testing.T) {
	b := start(t, Options{})
	printed, displays := run(t, b, "figure")
	if printed != "" || len(displays) != 1 {
		t.Fatalf("printed %q, %d displays", printed, len(displays))
	}
	d := displays[0].Data
	if svg, _ := d[protocol.MIMEImageSVG].(string); !strings.Contains(svg, "<svg") {
		t.Error("no SVG")
	}
	if png, _ := d[protocol.MIMEImagePNG].([]byte); !bytes.HasPrefix(png, []byte("\x89PNG")) {
		t.Error("no PNG")
	}
	if plain, _ := d[protocol.MIMETextPlain].(string); !strings.Contains(plain, "A straight line.") {
		t.Errorf("plain text %q lacks the caption", plain)
	}
}

// A chart comes with its still image, and with what it is made from.
func TestChart(t *testing.T) {
	b := start(t, Options{ChartScript: "var echarts = null"})
	printed, displays := run(t, b, "chart")
	if printed != "" || len(displays) != 1 {
		t.Fatalf("printed %q, %d displays", printed, len(displays))
	}
	d := displays[0].Data
	if page, _ := d[protocol.MIMETextHTML].(string); !strings.Contains(page, "<img") || !strings.Contains(page, "echarts") {
		t.Errorf("HTML %q", page)
	}
	if option, _ := d[draw.ChartMIME].(map[string]any); len(option) == 0 {
		t.Error("no option")
	}
	if png, _ := d[protocol.MIMEImagePNG].([]byte); len(png) == 0 {
		t.Error("no PNG")
	}
}

func TestManyCellsAtOnce(t *testing.T) {
	b := start(t, Options{})
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			if _, displays := run(t, b, "function"); len(displays) != 1 {
				t.Errorf("%d displays", len(displays))
			}
		})
	}
	wg.Wait()
	sum, err := b.Summary("00", "", false)
	if err != nil || sum.Marks != 2 {
		t.Errorf("marks %d, %v; want 2", sum.Marks, err)
	}
}

// A cell whose notebook is gone goes on all the same, and its answer counts.
func TestNotebookGone(t *testing.T) {
	b := start(t, Options{})
	n := newFakeNotebook(t) // nobody reads
	began := time.Now()
	out, err := cell(t, b, n, "function").CombinedOutput()
	if err != nil {
		t.Fatal(err, string(out))
	}
	t.Logf("took %v", time.Since(began).Round(time.Millisecond))
	if !strings.Contains(string(out), "recorded") {
		t.Errorf("the cell printed %q", out)
	}
	if sum, _ := b.Summary("00", "", false); sum.Marks != 2 {
		t.Errorf("marks %d, want 2", sum.Marks)
	}
}

// A cell that is killed while its display is stuck frees its pipe.
func TestCellDies(t *testing.T) {
	complained := make(chan string, 10)
	b := start(t, Options{Log: func(m string) { complained <- m }})
	n := newFakeNotebook(t)
	r, err := os.OpenFile(n.pipe, os.O_RDWR, 0) // takes the display, acknowledges nothing
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	cmd := cell(t, b, n, "hangs")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	one := make([]byte, 1)
	if _, err := r.Read(one); err != nil { // the display is under way
		t.Fatal(err)
	}
	cmd.Process.Kill()
	cmd.Wait()
	select {
	case <-complained:
	case <-time.After(patience / 2):
		t.Fatal("the lab server still waits for a dead cell's notebook")
	}
}

func TestNoNotebook(t *testing.T) {
	b := start(t, Options{})
	out, err := cell(t, b, nil, "function").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "mean: recorded") {
		t.Errorf("%q, %v", out, err)
	}
	out, _ = cell(t, b, nil, "done").CombinedOutput()
	if !strings.Contains(string(out), "marks 2 of 7") {
		t.Errorf("summary:\n%s", out)
	}
}

func TestUnknownRecording(t *testing.T) {
	b := start(t, Options{})
	out, err := cell(t, b, nil, "record", "swng").CombinedOutput()
	if err == nil || !strings.Contains(string(out), "its recordings are") {
		t.Errorf("%q, %v", out, err)
	}
}

// A pipe that is no pipe is not written to.
func TestPipeIsAFile(t *testing.T) {
	b := start(t, Options{})
	file := filepath.Join(t.TempDir(), "precious")
	if err := os.WriteFile(file, []byte("precious"), 0o600); err != nil {
		t.Fatal(err)
	}
	cell(t, b, &fakeNotebook{pipe: file, back: file}, "figure").Run()
	if got, _ := os.ReadFile(file); string(got) != "precious" {
		t.Errorf("the file holds %q", got)
	}
}
