package page_test

import (
	"context"
	"encoding/json"
	"strings"
	"sync"
	"testing"
	"time"

	labpage "gravity.example/gravlab/page"
	"gravity.example/gravlab/wire"
)

// builder is a runner that keeps a box as long as it is held. It notes what becomes of each.
type builder struct {
	mu    sync.Mutex
	calls []*built
	frame []byte // exchanged by each run
}

type built struct {
	source             string
	held, ran, dropped bool
}

func (r *builder) RunBox(ctx context.Context, b labpage.Box) (labpage.Result, error) {
	call := &built{source: b.Source, held: b.Hold != nil}
	r.mu.Lock()
	r.calls = append(r.calls, call)
	r.mu.Unlock()
	if b.Hold != nil {
		select {
		case <-b.Hold:
		case <-ctx.Done():
			r.mu.Lock()
			defer r.mu.Unlock()
			call.dropped = true
			return labpage.Result{}, ctx.Err()
		}
	}
	r.mu.Lock()
	call.ran = true
	r.mu.Unlock()
	if r.frame != nil {
		b.Exchange(r.frame)
	}
	b.Output([]byte("ran\n"))
	return labpage.Result{}, nil
}

// became waits until so many boxes have come to the runner and says what became of each: "held",
// "ran", "dropped".
func (r *builder) became(t *testing.T, n int) string {
	t.Helper()
	var list []string
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		r.mu.Lock()
		list = nil
		waits := false
		for i, c := range r.calls {
			switch {
			case c.dropped:
				list = append(list, "dropped")
			case c.ran && c.held:
				list = append(list, "held ran")
			case c.ran:
				list = append(list, "ran")
			default:
				list = append(list, "held")
				waits = waits || i < len(r.calls)-1 // one at a time
			}
		}
		r.mu.Unlock()
		if len(list) == n && !waits {
			break
		}
	}
	return strings.Join(list, ", ")
}

// TestAhead: a box is built when its reader pauses, one at a time, and dropped when its text
// changes; nothing of it runs before the reader runs it, and then it is not built again.
func TestAhead(t *testing.T) {
	r := &builder{}
	c := call(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: r, Ahead: true})
	c.enter()
	c.blocks()
	send := func(what string, fields map[string]any) string {
		fields["tab"] = "a"
		body, _ := json.Marshal(fields)
		status, _, text := c.send(request{method: "POST", path: labPath + "/" + what, body: string(body)})
		if status != 200 {
			t.Fatal(status, text)
		}
		return text
	}
	typed := func(text string) { send("save", map[string]any{"cells": map[string]string{"code-10": text}}) }
	run := func(cell, text string) string {
		return send("run", map[string]any{"cell": cell, "source": text})
	}
	typed("%%\nx := 1")
	if got := r.became(t, 1); got != "held" {
		t.Fatalf("after a pause: %s", got)
	}
	typed("%%\nx := 2")
	if got := r.became(t, 2); got != "dropped, held" {
		t.Fatalf("after another: %s", got)
	}
	if out := run("code-10", "%%\nx := 2"); !strings.Contains(out, `"text":"ran\n"`) || !strings.Contains(out, `"ok":true`) {
		t.Errorf("it put out %s", out)
	}
	if got := r.became(t, 2); got != "dropped, held ran" {
		t.Errorf("after the run: %s", got)
	}
	// Another text than the one that was built, and another box.
	typed("%%\nx := 3")
	run("code-10", "%%\nx := 4")
	if got := r.became(t, 4); got != "dropped, held ran, dropped, ran" {
		t.Errorf("after a run of another text: %s", got)
	}
	typed("%%\nx := 5")
	run("code-12", "%%\ny := 5")
	if got := r.became(t, 6); got != "dropped, held ran, dropped, ran, dropped, ran" {
		t.Errorf("after a run of another box: %s", got)
	}
	// What a box above declares is part of the program.
	typed("%%\nx := 6")
	send("save", map[string]any{"cells": map[string]string{"code-10": "%%\nx := 6", "big-g-answer": "const k = 2\n%%\n"}})
	run("code-10", "%%\nx := 6")
	if got := r.became(t, 8); !strings.HasSuffix(got, "dropped, ran") {
		t.Errorf("after a declaration above has changed: %s", got)
	}
}

// TestNothingAhead: where many readers share a machine nothing is built ahead.
func TestNothingAhead(t *testing.T) {
	r := &builder{}
	c := call(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: r})
	c.enter()
	c.blocks()
	c.send(request{method: "POST", path: labPath + "/save", body: `{"tab":"a","cells":{"code-10":"%%\nx := 1"}}`})
	c.send(request{method: "POST", path: labPath + "/run", body: `{"tab":"a","cell":"code-10","source":"%%\nx := 1"}`})
	if got := r.became(t, 1); got != "ran" {
		t.Errorf("%s", got)
	}
}

// TestUnchangedBoxes: a box whose outcome depends on its code and its sheet alone is shown again,
// with the same output, and not run; one whose code, or what is declared above it, has changed,
// and one that submits or reads a file, is run.
func TestUnchangedBoxes(t *testing.T) {
	for _, c := range []struct {
		name  string
		frame wire.Frame
		again bool
	}{
		{"a recording", wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: "01-weighing-the-earth", Text: "swing"}}, false},
		{"an answer", wire.Frame{Head: wire.Head{Kind: wire.Answer, Lab: "01-weighing-the-earth", Question: "kappa", Form: wire.FormTyped, Text: "1 N m/rad"}}, true},
		{"a file", wire.Frame{Head: wire.Head{Kind: wire.File, Text: "own.csv"}}, true},
	} {
		frame, err := c.frame.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		r := &builder{frame: frame}
		p := call(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: r})
		p.enter()
		p.blocks()
		run := func(source string) string {
			body, _ := json.Marshal(map[string]any{"tab": "a", "cell": "code-10", "source": source, "unchanged": true})
			_, _, text := p.send(request{method: "POST", path: labPath + "/run", body: string(body)})
			return text
		}
		run("%%\nx := 1")
		second := run("%%\nx := 1")
		want := 1
		if c.again {
			want = 2
		}
		if got := len(r.calls); got != want {
			t.Errorf("%s: run %d times, want %d", c.name, got, want)
		}
		if !strings.Contains(second, "ran") || !strings.Contains(second, `"ok":true`) {
			t.Errorf("%s: shown again as %s", c.name, second)
		}
		run("%%\nx := 2")
		if got := len(r.calls); got != want+1 {
			t.Errorf("%s: other code was not run", c.name)
		}
	}
}
