package kernel

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"gravity.example/gravlab/notebook"
)

func said(msgType, content string) message {
	return message{channel: iopubChannel, header: header{MsgType: msgType}, content: json.RawMessage(content)}
}

// collect collects the messages of one cell; the notebook must stay valid.
func collect(t *testing.T, limit Limits, shown displays, messages ...message) *notebook.Cell {
	t.Helper()
	nb := book("x", "x", "1")
	out := &collector{cell: nb.Cells[0], limit: limit.orDefault(), displays: shown}
	for _, m := range messages {
		out.take(m)
	}
	out.finish()
	if _, err := nb.Bytes(); err != nil {
		t.Errorf("the outputs do not fit the format: %v", err)
	}
	return nb.Cells[0]
}

func TestCollectStreams(t *testing.T) {
	c := collect(t, Limits{}, displays{},
		said("stream", `{"name":"stdout","text":"a"}`), said("stream", `{"name":"stdout","text":"b"}`),
		said("stream", `{"name":"stderr","text":"c"}`), said("stream", `{"name":"stdout","text":""}`),
		said("stream", `{"name":"stdout","text":"d"}`), said("status", `{"execution_state":"busy"}`), said("stream", `nonsense`))
	var got []string
	for _, o := range c.Outputs {
		got = append(got, o.Name+":"+o.Text)
	}
	if want := "stdout:ab stderr:c stdout:d"; strings.Join(got, " ") != want {
		t.Errorf("streams %q, want %q", got, want)
	}
}

func TestCollectLimit(t *testing.T) {
	flood := said("stream", `{"name":"stdout","text":"ääääää"}`) // 12 bytes
	c := collect(t, Limits{Text: 17}, displays{}, flood, flood, flood)
	if got := printed(c); got != "ääääääää" || !utf8.ValidString(got) {
		t.Errorf("kept %q, want 8 whole letters (16 of 17 bytes)", got)
	}
	if last := c.Outputs[len(c.Outputs)-1]; !strings.Contains(last.Text, "printed about") {
		t.Errorf("no word about what is missing: %q", last.Text)
	}
	figure := said("display_data", `{"data":{"text/plain":"123456789"},"metadata":{}}`)
	c = collect(t, Limits{Rich: 100}, displays{}, figure, figure, figure)
	if len(c.Outputs) != 3 || !strings.Contains(c.Outputs[2].Text, "1 displays of this cell were left out") {
		t.Errorf("of three displays, two of which fit, there are %d outputs", len(c.Outputs))
	}
	c = collect(t, Limits{Outputs: 2}, displays{}, figure, figure, figure, flood)
	if len(c.Outputs) != 3 {
		t.Errorf("%d outputs, want 2 and the note", len(c.Outputs))
	}
}

func TestCollectDisplays(t *testing.T) {
	shown := displays{}
	first := collect(t, Limits{}, shown,
		said("display_data", `{"data":{"text/html":["<b>","old</b>"],"application/vnd.x+json":{"n":1e400},"image/bad":{"a":1}},"metadata":{"k":1},"transient":{"display_id":"1"}}`))
	if o := first.Outputs[0]; o.Data["text/html"] != "<b>old</b>" || o.Data["image/bad"] != nil || o.Data["application/vnd.x+json"] == nil {
		t.Errorf("display %+v", o.Data)
	}
	// Another cell may update it.
	second := collect(t, Limits{}, shown,
		said("update_display_data", `{"data":{"text/html":"new"},"metadata":{},"transient":{"display_id":"1"}}`),
		said("update_display_data", `{"data":{"text/html":"new"},"metadata":{},"transient":{"display_id":"2"}}`),
		said("execute_result", `{"data":{"text/plain":"42"},"metadata":{},"execution_count":7}`))
	if got := first.Outputs[0].Data["text/html"]; got != "new" {
		t.Errorf("after the update the display holds %v", got)
	}
	if len(second.Outputs) != 1 || second.Outputs[0].Kind != notebook.Result || second.Outputs[0].Run != 7 {
		t.Errorf("outputs of the second cell: %+v", second.Outputs)
	}
}

func TestCollectClear(t *testing.T) {
	text := func(s string) message { return said("stream", `{"name":"stdout","text":"`+s+`"}`) }
	if got := printed(collect(t, Limits{}, displays{}, text("a"), said("clear_output", `{"wait":false}`))); got != "" {
		t.Errorf("cleared at once, %q is left", got)
	}
	if got := printed(collect(t, Limits{}, displays{}, text("a"), said("clear_output", `{"wait":true}`))); got != "a" {
		t.Errorf("to be cleared by the next output, %q is left, want a", got)
	}
	if got := printed(collect(t, Limits{}, displays{}, text("a"), said("clear_output", `{"wait":true}`), text("b"))); got != "b" {
		t.Errorf("cleared by the next output, %q is left, want b", got)
	}
}

func TestExitLine(t *testing.T) {
	for text, want := range map[string]string{
		"panic: x\nexit status 2\n": "exit status 2",
		"signal: killed":            "signal: killed",
		"exit status 2\nmore\n":     "",
		"my exit status 2\n":        "",
	} {
		c := notebook.NewCell(notebook.Code, "a", "")
		c.Print("stderr", text)
		c.Print("stdout", "exit status 9\n")
		if got := exitLine(c); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

func TestTail(t *testing.T) {
	var log tail
	log.Write([]byte("I1125 09:39:42.069696 chatter\nE1125 trouble\nI1125 more chatter\n"))
	if got := log.lastWords(); got != "E1125 trouble" {
		t.Errorf("last words %q, want the trouble alone", got)
	}
	log.Write([]byte("panic: index out of range\n\ngoroutine 1 [running]:\n" + strings.Repeat("a frame\n", 100)))
	if got := log.lastWords(); !strings.HasPrefix(got, "panic: index out of range") {
		t.Errorf("last words %q, want the panic first", got)
	}
	log.Write([]byte(strings.Repeat("x", 10*tailSize)))
	if len(log.text) > 12*tailSize {
		t.Errorf("the tail keeps %d bytes", len(log.text))
	}
	for range 100 {
		log.Write([]byte(strings.Repeat("x", 1000)))
	}
	if len(log.text) > 2*tailSize+1000 {
		t.Errorf("the tail keeps %d bytes", len(log.text))
	}
}
