package wire

import (
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// byJSON is a head after another way there and back: that of package json, which writes fields by
// their names, and bytes as base64.
func byJSON(t rapid.TB, h Head) (back Head) {
	b, err := json.Marshal(h)
	if err == nil {
		err = json.Unmarshal(b, &back)
	}
	if err != nil {
		t.Fatal(err)
	}
	// An empty list and none are the same.
	if len(back.Lengths) == 0 {
		back.Lengths = nil
	}
	if len(back.Columns) == 0 {
		back.Columns = nil
	}
	if len(back.Figure) == 0 {
		back.Figure = nil
	}
	return back
}

// Every field of every head comes back as by package json.
func TestHead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := rapid.Make[Head]().Draw(t, "head")
		if rapid.Bool().Draw(t, "not UTF-8") {
			h.Text += "\xff\xc0" + h.Fault
		}
		want := byJSON(t, h)
		var got Head
		if err := got.decode(h.append(nil)); err != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("%+v, %v; want %+v", got, err, want)
		}
	})
}

// Each field of Head has a number: one that was forgotten would not arrive.
func TestFields(t *testing.T) {
	for i := range reflect.TypeFor[Head]().NumField() {
		var h, got Head
		switch v := reflect.ValueOf(&h).Elem().Field(i); v.Kind() {
		case reflect.String:
			v.SetString("x")
		case reflect.Int:
			v.SetInt(-3)
		case reflect.Bool:
			v.SetBool(true)
		default:
			v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		}
		if err := got.decode(h.append(nil)); err != nil || !reflect.DeepEqual(got, h) {
			t.Errorf("%+v came back as %+v, %v", h, got, err)
		}
	}
}

// What a stranger writes is a head or an error, and takes no more memory than it has bytes to
// show for.
func TestHeadAttacked(t *testing.T) {
	long := "\xff\xff\xff\xff\xff\xff\xff\xff\x7f"
	for name, b := range map[string]string{
		"a field that is not there":       string(rune(fieldOwn + 1)),
		"a field of the last number":      "\xff",
		"a field twice":                   "\x01\x01a\x01\x01b",
		"fields that fall":                "\x02\x01a\x01\x01b",
		"a truth value twice":             string([]byte{fieldOwn, fieldOwn}),
		"a text without a length":         "\x01",
		"a text that is cut off":          "\x01\x05ab",
		"a text of 2^62 bytes":            "\x01" + long,
		"a length without an end":         "\x01" + strings.Repeat("\xff", 20),
		"a figure of 2^62 bytes":          string([]byte{fieldFigure}) + long,
		"2^62 lengths":                    string([]byte{fieldLengths}) + long,
		"more lengths than bytes":         string([]byte{fieldLengths, 3, 1, 1}),
		"a length that is cut off":        string([]byte{fieldLengths, 2, 1, 0x80}),
		"a length beyond 64 bits":         string([]byte{fieldLengths, 11}) + strings.Repeat("\xff", 10) + "\x01",
		"2^62 columns":                    string([]byte{fieldColumns}) + long,
		"more columns than half of bytes": string([]byte{fieldColumns, 2, 0, 0, 0}),
		"a column that is cut off":        string([]byte{fieldColumns, 1, 0, 9}),
		"a place without a number":        string([]byte{fieldAt}),
		"a total beyond 64 bits":          string([]byte{fieldTotal}) + strings.Repeat("\xff", 10) + "\x01",
	} {
		if err := new(Head).decode([]byte(b)); !errors.Is(err, errHead) {
			t.Errorf("%s: %v", name, err)
		}
		allocated := testing.AllocsPerRun(10, func() { _ = new(Head).decode([]byte(b)) })
		if allocated > 20 {
			t.Errorf("%s: %v pieces of memory", name, allocated)
		}
	}
}
