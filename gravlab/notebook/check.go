package notebook

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
)

// Validate checks nb against format 4.5 and returns an *Error, or nil. What was
// read is valid; what a program has put together may not be.
func (nb *Notebook) Validate() error {
	var ps problems
	nb.check(&ps)
	return ps.err("notebook")
}

var validID = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

func (nb *Notebook) check(ps *problems) {
	nb.checkMetadata(ps)
	first := map[string]int{}
	for i, c := range nb.Cells {
		if c == nil {
			ps.add(place(i, ""), "is nil", "remove it")
			continue
		}
		at := place(i, c.ID)
		if j, twice := first[c.ID]; twice {
			ps.add(at, fmt.Sprintf("has the same id as cell %d", j+1), "give one of the two another id: copies of a cell need ids of their own")
		} else if !validID.MatchString(c.ID) {
			ps.add(at, "has an id that is not allowed", "use 1 to 64 letters, digits, - and _")
		}
		if _, twice := first[c.ID]; !twice {
			first[c.ID] = i
		}
		c.check(ps, at)
	}
}

func (nb *Notebook) checkMetadata(ps *problems) {
	need := func(key string, fields ...string) {
		v, there := nb.Metadata[key]
		if !there {
			return
		}
		m, ok := v.(map[string]any)
		if !ok {
			ps.add("metadata", key+" is not an object", resave)
			return
		}
		for _, f := range fields {
			if _, ok := m[f].(string); !ok {
				ps.add("metadata", fmt.Sprintf("%s has no %s", key, f), "open it in Jupyter, choose a kernel and save it")
			}
		}
	}
	need("kernelspec", "name", "display_name")
	need("language_info", "name")
	if v, there := nb.Metadata["title"]; there {
		if _, ok := v.(string); !ok {
			ps.add("metadata", "title is not text", "make it text")
		}
	}
	if v, there := nb.Metadata["authors"]; there {
		if _, ok := v.([]any); !ok {
			ps.add("metadata", "authors is not a list", "make it a list")
		}
	}
}

func (c *Cell) check(ps *problems, at string) {
	c.checkMetadata(ps, at)
	switch c.Kind {
	case Code:
		if c.Attachments != nil {
			ps.add(at, "is a code cell with attachments", "move them to a Markdown cell")
		}
		if c.Run < 0 {
			ps.add(at, "has an execution count below 0", "make it 0")
		}
		for i, o := range c.Outputs {
			o.check(ps, fmt.Sprintf("%s, output %d", at, i+1))
		}
	case Markdown, Raw:
		if len(c.Outputs) > 0 || c.Run != 0 {
			ps.add(at, "has outputs but is not a code cell", "remove them")
		}
		for _, name := range slices.Sorted(maps.Keys(c.Attachments)) {
			c.Attachments[name].check(ps, fmt.Sprintf("%s, attachment %q", at, name))
		}
	default:
		ps.add(at, fmt.Sprintf("has the unknown kind %q", c.Kind), "make it code, markdown or raw")
	}
}

// checkMetadata checks the keys that the format gives a meaning.
func (c *Cell) checkMetadata(ps *problems, at string) {
	ok := func(v any, key, want string, good bool) {
		if !good {
			ps.add(at, fmt.Sprintf("has the metadata %s %v", key, v), "make it "+want)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(c.Metadata)) {
		v := c.Metadata[key]
		switch key {
		case "tags":
			ok(v, key, "a list of different texts without commas", goodTags(v))
		case "name", "format":
			_, good := v.(string)
			ok(v, key, "text", good || key == "format" && c.Kind != Raw)
		case "collapsed":
			_, good := v.(bool)
			ok(v, key, "true or false", good || c.Kind != Code)
		case "scrolled":
			_, good := v.(bool)
			ok(v, key, `true, false or "auto"`, good || v == "auto" || c.Kind != Code)
		case "jupyter":
			_, good := v.(map[string]any)
			ok(v, key, "an object", good)
		case "execution":
			m, good := v.(map[string]any)
			for _, t := range m {
				_, text := t.(string)
				good = good && text
			}
			ok(v, key, "an object of texts", good || c.Kind != Code)
		}
	}
}

func goodTags(v any) bool {
	var list []string
	switch v := v.(type) {
	case []string:
		list = v
	default:
		var ok bool
		if list, ok = texts(v); !ok {
			return false
		}
	}
	seen := map[string]bool{}
	for _, t := range list {
		if !validTag.MatchString(t) || seen[t] {
			return false
		}
		seen[t] = true
	}
	return true
}

var validTag = regexp.MustCompile(`^[^,]+$`)

func (o *Output) check(ps *problems, at string) {
	switch {
	case o == nil:
		ps.add(at, "is nil", "remove it")
	case o.Kind == Stream:
		if o.Name == "" {
			ps.add(at, "is a stream without a name", "name it stdout or stderr")
		}
	case o.Kind == Display || o.Kind == Result:
		if o.Data == nil {
			ps.add(at, "has no data", "give it at least text/plain")
		}
		if o.Run < 0 {
			ps.add(at, "has an execution count below 0", "make it 0")
		}
		o.Data.check(ps, at)
	case o.Kind == Failure:
	default:
		ps.add(at, fmt.Sprintf("has the unknown kind %q", o.Kind), "make it stream, display_data, execute_result or error")
	}
}

func (b Bundle) check(ps *problems, at string) {
	for _, mime := range slices.Sorted(maps.Keys(b)) {
		if _, ok := b[mime].(string); !ok && !isJSON(mime) {
			ps.add(at, fmt.Sprintf("has data of type %q that is not text", mime), "make it a string (images as base64)")
		}
	}
}
