package kernel

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"gravity.example/gravlab/notebook"
)

// A collector turns what a kernel publishes about one cell into the cell's
// outputs. It keeps no more than its limits, however much a cell prints.
type collector struct {
	cell     *notebook.Cell
	limit    Limits
	displays displays

	text    int  // bytes of text kept
	lost    int  // bytes of text dropped
	rich    int  // bytes of displays kept
	missed  int  // displays dropped
	erase   bool // clear_output asked to wait for the next output
	failure *notebook.Output

	tell func(Piece) // hears what is kept, as it comes, failures aside; may be nil
	told time.Time   // when all was last told anew
	due  bool        // something that was told has changed
}

// A Piece is a part of what a cell puts out.
type Piece struct {
	Output *notebook.Output // something shown, or printed text to append to what came before
	Anew   bool             // what came before in this cell is void; what still counts follows
}

// anewEvery is how often what has changed is told, at most: a cell may change a
// display thirty times a second.
const anewEvery = 250 * time.Millisecond

func (c *collector) hear(o *notebook.Output) {
	if c.tell != nil {
		c.tell(Piece{Output: o})
	}
}

// anew tells all that is kept.
func (c *collector) anew() {
	c.due, c.told = false, time.Now()
	if c.tell == nil {
		return
	}
	c.tell(Piece{Anew: true})
	for _, o := range c.cell.Outputs {
		if o != c.failure {
			c.hear(o)
		}
	}
}

// print keeps printed text.
func (c *collector) print(name, text string) {
	c.cell.Print(name, text)
	c.hear(&notebook.Output{Kind: notebook.Stream, Name: name, Text: text})
}

// displays knows, for a whole session, which outputs carry a display id.
type displays map[string][]*notebook.Output

// Limits says how much of one cell's output is kept. Zero fields take their
// defaults.
type Limits struct {
	Text    int // bytes of printed text; 1 MiB
	Rich    int // bytes of figures and other displays; 64 MiB
	Outputs int // number of outputs; 5000
}

func (l Limits) orDefault() Limits {
	if l.Text == 0 {
		l.Text = 1 << 20
	}
	if l.Rich == 0 {
		l.Rich = 64 << 20
	}
	if l.Outputs == 0 {
		l.Outputs = 5000
	}
	return l
}

// take adds what a message brings.
func (c *collector) take(m message) {
	if c.due && time.Since(c.told) > anewEvery {
		c.anew()
	}
	switch m.header.MsgType {
	case "stream":
		c.stream(m)
	case "display_data", "execute_result", "update_display_data":
		c.display(m)
	case "error":
		var e struct {
			Name      string   `json:"ename"`
			Value     string   `json:"evalue"`
			Traceback []string `json:"traceback"`
		}
		m.into(&e)
		c.fail(e.Name, e.Value, e.Traceback)
	case "clear_output":
		var clear struct {
			Wait bool `json:"wait"`
		}
		m.into(&clear)
		if c.erase = clear.Wait; !c.erase {
			c.clear()
		}
	}
}

func (c *collector) clear() {
	c.cell.Outputs, c.text, c.rich, c.erase = nil, 0, 0, false
	c.anew()
}

func (c *collector) room() bool {
	if c.erase {
		c.clear()
	}
	return len(c.cell.Outputs) < c.limit.Outputs
}

func (c *collector) stream(m message) {
	left := c.limit.Text - c.text
	if left <= 0 && !c.erase {
		// Past the limit the text is only counted, and not even decoded: a flood
		// must not cost time either. The content is a little longer than its text.
		c.lost += len(m.content)
		return
	}
	var s struct{ Name, Text string }
	m.into(&s)
	if s.Text == "" {
		return
	}
	if !c.room() {
		c.lost += len(s.Text)
		return
	}
	left = c.limit.Text - c.text
	text := s.Text
	if len(text) > left {
		cut := left
		for cut > 0 && !utf8.RuneStart(text[cut]) {
			cut--
		}
		text = text[:cut]
	}
	c.text += len(text)
	c.lost += len(s.Text) - len(text)
	if len(text) < len(s.Text) {
		c.text = c.limit.Text
	}
	if text != "" {
		c.print(streamName(s.Name), text)
	}
}

func streamName(name string) string {
	if name == "stderr" {
		return name
	}
	return "stdout"
}

func (c *collector) display(m message) {
	var d struct {
		Data      map[string]any `json:"data"`
		Metadata  map[string]any `json:"metadata"`
		Transient struct {
			ID string `json:"display_id"`
		} `json:"transient"`
		Count int `json:"execution_count"`
	}
	size := len(m.content)
	if c.rich+size > c.limit.Rich {
		c.missed++
		return
	}
	dec := json.NewDecoder(bytes.NewReader(m.content))
	dec.UseNumber()
	if dec.Decode(&d) != nil {
		return
	}
	data := bundle(d.Data)
	if m.header.MsgType == "update_display_data" {
		for _, o := range c.displays[d.Transient.ID] {
			o.Data, o.Metadata = data, d.Metadata
		}
		c.rich += size
		if c.due = true; time.Since(c.told) > anewEvery {
			c.anew()
		}
		return
	}
	if !c.room() {
		c.missed++
		return
	}
	c.rich += size
	o := &notebook.Output{Kind: notebook.Display, Data: data, Metadata: d.Metadata}
	if m.header.MsgType == "execute_result" {
		o.Kind, o.Run = notebook.Result, d.Count
	}
	if id := d.Transient.ID; id != "" {
		c.displays[id] = append(c.displays[id], o)
	}
	c.cell.Outputs = append(c.cell.Outputs, o)
	c.hear(o)
}

// bundle makes a mime bundle that the format allows: text may come in pieces,
// and only JSON types may be anything else.
func bundle(data map[string]any) notebook.Bundle {
	b := notebook.Bundle{}
	for mime, v := range data {
		isJSON := mime == "application/json" || strings.HasPrefix(mime, "application/") && strings.HasSuffix(mime, "+json")
		switch v := v.(type) {
		case string:
			b[mime] = v
		case []any:
			if isJSON {
				b[mime] = v
				continue
			}
			var text strings.Builder
			for _, piece := range v {
				s, _ := piece.(string)
				text.WriteString(s)
			}
			b[mime] = text.String()
		default:
			if isJSON {
				b[mime] = v
			}
		}
	}
	return b
}

func (c *collector) fail(name, value string, traceback []string) {
	if c.erase {
		c.clear()
	}
	c.failure = &notebook.Output{Kind: notebook.Failure, ErrName: name, ErrValue: value, Traceback: traceback}
	c.cell.Outputs = append(c.cell.Outputs, c.failure)
}

// finish says what was left out.
func (c *collector) finish() {
	if c.due {
		c.anew()
	}
	if c.lost > 0 {
		c.print("stderr", fmt.Sprintf("\n[gravlab: this cell printed about %s more than the %s that are kept; print less, or write to a file]\n", bytesText(c.lost), bytesText(c.limit.Text)))
	}
	if c.missed > 0 {
		c.print("stderr", fmt.Sprintf("\n[gravlab: %d displays of this cell were left out: one cell may show %s in %d outputs]\n", c.missed, bytesText(c.limit.Rich), c.limit.Outputs))
	}
}

func bytesText(n int) string {
	switch {
	case n >= 1<<20:
		return fmt.Sprintf("%.1f MiB", float64(n)/(1<<20))
	case n >= 1<<10:
		return fmt.Sprintf("%.1f KiB", float64(n)/(1<<10))
	}
	return fmt.Sprintf("%d bytes", n)
}
