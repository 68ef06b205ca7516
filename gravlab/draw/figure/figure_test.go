package figure

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func good() *Figure {
	f := &Figure{
		Title: "Period", X: Axis{Label: "length", Unit: "m"}, Y: Axis{Label: "period", Unit: "s"},
		Series: []Series{{Kind: Points, X: []float64{1, 2, 3}, Y: []float64{2, math.NaN(), 3.5}, U: []float64{0.1, 0.1, 0.1}}},
		Map:    &Map{Label: "gz", Unit: "µGal", X: []float64{0, 1}, Y: []float64{0, 1, 2}, Z: []float64{1, 2, 3, 4, 5, 6}},
	}
	f.AddResiduals("s", []float64{1, 2}, []float64{2, 3}, nil, []float64{1.9, 3.2})
	return f
}

func TestValidate(t *testing.T) {
	if err := good().Validate(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		want  string
		spoil func(*Figure)
	}{
		{"x axis has no label", func(f *Figure) { f.X.Label = " " }},
		{`y axis has no unit; give one, or "1"`, func(f *Figure) { f.Y.Unit = "" }},
		{"panel 2: y axis has no unit", func(f *Figure) { f.Under[0].Y.Unit = "" }},
		{"nothing to draw", func(f *Figure) { f.Series, f.Map = nil, nil }},
		{"3 values of X and 2 of Y", func(f *Figure) { f.Series[0].Y = f.Series[0].Y[:2] }},
		{"3 values of X and 1 of U", func(f *Figure) { f.Series[0].U = f.Series[0].U[:1] }},
		{"0 points", func(f *Figure) { f.Series[0].X = nil }},
		{"X[1] is NaN", func(f *Figure) { f.Series[0].X[1] = math.NaN() }},
		{"Y[0] is +Inf", func(f *Figure) { f.Series[0].Y[0] = math.Inf(1) }},
		{"U[2] is -1", func(f *Figure) { f.Series[0].U[2] = -1 }},
		{"every Y is NaN", func(f *Figure) { f.Series[0].Y = []float64{math.NaN(), math.NaN(), math.NaN()} }},
		{"beyond 1e150", func(f *Figure) { f.Series[0].Y[0] = 1e200 }},
		{"above zero (the axis is logarithmic)", func(f *Figure) { f.Map = nil; f.X.Log = true; f.Series[0].X[0] = 0 }},
		{"a map on a logarithmic axis", func(f *Figure) { f.X.Log = true }},
		{`Kind is "bars"; allowed: line`, func(f *Figure) { f.Series[0].Kind = "bars" }},
		{"band without U", func(f *Figure) { f.Series[0].Kind, f.Series[0].U = Band, nil }},
		{"has no name, and the panel has 2", func(f *Figure) { f.Series = append(f.Series, f.Series[0]) }},
		{"runs from 2 to 1", func(f *Figure) { f.X.Min, f.X.Max = 2, 1 }},
		{"mark 1: Kind is", func(f *Figure) { f.Marks = []Mark{{}} }},
		{"mark 1 is at NaN", func(f *Figure) { f.Marks = []Mark{{Kind: Vertical, X: math.NaN()}} }},
		{"equal steps", func(f *Figure) { f.Map.Y[1] = 1.5 }},
		{"a value for each", func(f *Figure) { f.Map.Z = f.Map.Z[:5] }},
		{"map has no label", func(f *Figure) { f.Map.Unit = "" }},
		{"title has 501 bytes; allowed: 500", func(f *Figure) { f.Title = strings.Repeat("x", 501) }},
		{"caption has 10001 bytes", func(f *Figure) { f.Caption = strings.Repeat("x", 10001) }},
		{"alt text has 10001 bytes", func(f *Figure) { f.Alt = strings.Repeat("x", 10001) }},
		{"y axis's label has 501 bytes", func(f *Figure) { f.Y.Label = strings.Repeat("x", 501) }},
		{"panel 2: y axis's unit has 501 bytes", func(f *Figure) { f.Under[0].Y.Unit = strings.Repeat("x", 501) }},
		{"series 1's name has 501 bytes", func(f *Figure) { f.Series[0].Name = strings.Repeat("x", 501) }},
		{"mark 1's text has 501 bytes", func(f *Figure) { f.Marks = []Mark{{Kind: Vertical, Text: strings.Repeat("x", 501)}} }},
		{"map's label has 501 bytes", func(f *Figure) { f.Map.Label = strings.Repeat("x", 501) }},
		{"201 series and 0 marks; allowed: 200 and 2000", func(f *Figure) { f.Series = make([]Series, 201) }},
		{"panel 2: 1 series and 2001 marks", func(f *Figure) { f.Under[0].Marks = make([]Mark, 2001) }},
		{"NaN only", func(f *Figure) {
			for i := range f.Map.Z {
				f.Map.Z[i] = math.NaN()
			}
		}},
	} {
		f := good()
		c.spoil(f)
		if err := f.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want one with %q", err, c.want)
		}
	}
}

func TestPackUnpack(t *testing.T) {
	want := good()
	want.Series[0].Y[1] = 7 // NaN is not equal to itself
	head, numbers, err := want.Pack()
	if err != nil {
		t.Fatal(err)
	}
	got, err := Unpack(head, numbers)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
	for name, bad := range map[string][]float64{"a number short": numbers[1:], "a number more": append(numbers, 1)} {
		if _, err := Unpack(head, bad); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	for _, bad := range []string{"", "{}x", `{"series":[{}],"counts":[1,1]}`, `{"series":[{}],"counts":[-1,0,0]}`, `{"counts":[1]}`} {
		if _, err := Unpack([]byte(bad), numbers); err == nil {
			t.Errorf("head %q: no error", bad)
		}
	}
}

// The JSON that a cell writes says what package json writes of the same figure or sketch, and
// what JSON has no number for is refused, as there.
func TestPackIsJSON(t *testing.T) {
	check := func(t *rapid.T, v any, got []byte, err error) {
		want, wantErr := json.Marshal(v)
		if (err != nil) != (wantErr != nil) {
			t.Fatalf("%v; package json: %v", err, wantErr)
		}
		if err != nil {
			return
		}
		a, b := reflect.New(reflect.TypeOf(v)), reflect.New(reflect.TypeOf(v))
		if err := json.Unmarshal(want, a.Interface()); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(got, b.Interface()); err != nil {
			t.Fatalf("%v in %q", err, got)
		}
		// Written again by package json, an empty list is as none.
		first, _ := json.Marshal(a.Interface())
		second, _ := json.Marshal(b.Interface())
		if !bytes.Equal(first, second) {
			t.Fatalf("%s\nwant %s", second, first)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Make[Figure]().Draw(t, "figure")
		got, numbers, err := f.Pack()
		check(t, f, got, err)
		if err == nil {
			if _, err := Unpack(got, numbers); err != nil {
				t.Fatal(err)
			}
		}
		s := rapid.Make[Sketch]().Draw(t, "sketch")
		if len(s.Shapes) == 0 {
			s.Shapes = nil
		}
		got, err = s.Pack()
		check(t, s, got, err)
	})
}

func TestAltText(t *testing.T) {
	f := good()
	f.Map = nil
	got := f.AltText()
	for _, want := range []string{"Period.", "period against length", "from 2 to 3.5 s", "Below it: residual against length"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q does not say %q", got, want)
		}
	}
	f.X.Label, f.Series[0].X[0] = "year", 1686 // not 1.69e+03
	if got := f.AltText(); !strings.Contains(got, "to 1686") {
		t.Errorf("%q does not say the year", got)
	}
	f.Alt = "a\x00b\nc"
	if got := f.AltText(); got != "ab c" {
		t.Errorf("AltText() = %q", got)
	}
}

func TestSketch(t *testing.T) {
	ok := Sketch{Unit: "mm", Shapes: []Shape{{Kind: Circle, R: 1, Text: "m"}}}
	if err := ok.Validate(); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []Sketch{
		{Shapes: ok.Shapes}, {Unit: "mm"}, {Unit: "mm", Bar: -1, Shapes: ok.Shapes},
		{Unit: "mm", Shapes: []Shape{{Kind: Circle}}}, {Unit: "mm", Shapes: []Shape{{Kind: "oval"}}},
		{Unit: "mm", Shapes: []Shape{{Kind: Box, X: math.Inf(1)}}}, {Unit: "mm", Shapes: []Shape{{Kind: Text}}},
		{Unit: "mm", Shapes: []Shape{{Kind: Box, Role: "x"}}},
		{Unit: "mm", Shapes: ok.Shapes, Title: strings.Repeat("x", 501)},
		{Unit: "mm", Shapes: ok.Shapes, Caption: strings.Repeat("x", 10001)},
		{Unit: "mm", Shapes: []Shape{{Kind: Text, Text: strings.Repeat("x", 501)}}},
	} {
		if err := bad.Validate(); err == nil {
			t.Errorf("%+v: no error", bad)
		}
	}
	if got := ok.AltText(); got != "Sketch. Labelled: m." {
		t.Errorf("AltText() = %q", got)
	}
}
