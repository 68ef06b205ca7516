package notebook

import (
	"reflect"
	"strconv"
	"testing"
)

func TestDeclarations(t *testing.T) {
	const source = `var sheet = ask.Assessed("01-weighing-the-earth",
	"K7QF-3M2P") // ask.Sheet("02", "")`
	want := []Declaration{
		{Lab: "01-weighing-the-earth", Code: "K7QF-3M2P", Assessed: true, Text: "ask.Assessed(\"01-weighing-the-earth\",\n\t\"K7QF-3M2P\""},
		{Lab: "02", Text: `ask.Sheet("02", ""`},
	}
	if got := Declarations(source, -1); !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got := Declarations(source, 1); len(got) != 1 {
		t.Errorf("%d, want the first only", len(got))
	}
	// In the file the quotes are escaped.
	if got := Declarations(strconv.Quote(`ask.Sheet("01", "K7QF-3M2P")`), -1); len(got) != 1 || got[0].Lab != "01" || got[0].Code != "K7QF-3M2P" {
		t.Errorf("%+v", got)
	}
	if got, want := Declare(`x := ask.Assessed("01", "") // mine`, "02-b", "A"), `x := ask.Assessed("02-b", "A") // mine`; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

func TestOwn(t *testing.T) {
	for _, metadata := range []map[string]any{nil, {"gravlab": "a word"}, {"gravlab": map[string]any{"from": "01/x"}}} {
		c := &Cell{Metadata: metadata}
		_ = c.Own()["from"]
		c.SetOwn("draft", Object(struct {
			U string `json:"u"`
		}{"1"}))
		if got, ok := c.Own()["draft"].(map[string]any); !ok || got["u"] != "1" {
			t.Errorf("%v", c.Metadata)
		}
		c.SetOwn("draft", nil)
		if _, ok := c.Own()["draft"]; ok {
			t.Errorf("%v", c.Metadata)
		}
	}
}
