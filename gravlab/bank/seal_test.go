package bank

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"gravity.example/gravlab/judge"
)

// TestKeyed compares the keyed hash with its definition, and tells lists of parts apart.
func TestKeyed(t *testing.T) {
	key := bytes.Repeat([]byte{0x0b}, 20)
	// RFC 4231, test case 1: this HMAC-SHA-256 is the standard's.
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte("Hi There"))
	if got := hex.EncodeToString(mac.Sum(nil)); got != "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7" {
		t.Fatalf("HMAC-SHA-256 is %s", got)
	}
	mac = hmac.New(sha256.New, key)
	for _, part := range []string{"gravlab", "name", "01", "s1"} {
		mac.Write([]byte{0, 0, 0, 0, 0, 0, 0, byte(len(part))})
		mac.Write([]byte(part))
	}
	if got := Keyed(key, "name", "01", "s1"); !bytes.Equal(got, mac.Sum(nil)) || len(got) != 32 {
		t.Errorf("keyed: %x", got)
	}
	seen := map[string]string{}
	for _, parts := range [][]string{{"name", "ab", "c"}, {"name", "a", "bc"}, {"name", "abc"}, {"name", "abc", ""}, {"name", "", "abc"}, {"sealed", "ab", "c"}, {"practice", "ab", "c"}, {"entry", "ab", "c"}, {"nameab", "c"}} {
		h := string(Keyed(key, parts[0], parts[1:]...))
		if was, twice := seen[h]; twice {
			t.Errorf("%q and %s have the same hash", parts, was)
		}
		seen[h] = strings.Join(parts, "|")
	}
}

func TestSealedCode(t *testing.T) {
	key := []byte("a key for tests, of 32 bytes ...")
	code := SealedCode(key, "01-weighing-the-earth", "s1", "")
	if !code.Sealed() || StudentCode(key, "01-weighing-the-earth", "s1", "").Sealed() || Code("").Sealed() {
		t.Fatalf("%s", code)
	}
	for _, typed := range []string{string(code), strings.ToLower(string(code)), strings.ReplaceAll(string(code), "-", "")} {
		if got, err := ParseCode(typed); err != nil || got != code {
			t.Errorf("%q is read as %q, %v", typed, got, err)
		}
	}
	if strings.HasPrefix(string(code), string(StudentCode(key, "01-weighing-the-earth", "s1", ""))) || SealedCode(key, "01-weighing-the-earth", "s1", "resit") == code {
		t.Error("the names of the practice sheet, the sealed one and that of the resit are alike")
	}
	for _, bad := range []string{string(code) + "S", string(code)[:9] + "-T", "S" + string(code)[1:]} {
		if got, err := ParseCode(bad); err == nil && got == code {
			t.Errorf("%q is read as %s", bad, got)
		}
	}
}

// TestSealedDraw: a sealed sheet's numbers hang on its key alone, stream by stream.
func TestSealedDraw(t *testing.T) {
	lab := Lab{ID: "90-plumb", Title: "Plumb", Build: func(d *Draw) Sheet {
		v := d.Rand("a").Float64() + 1
		return Sheet{Questions: []Question{{ID: "a", Kind: judge.KindNumber, Marks: 1, Unit: "s", Prompt: "?", Solve: Always(v), Tol: judge.Tolerance{Rel: 1e-6},
			Worked: "%%\nsheet.Number(\"a\", 1, \"s\")"}}}
	}}
	key := []byte("a key for tests, of 32 bytes ...")
	code := SealedCode(key, lab.ID, "s1", "")
	value := func(sheetKey []byte, c Code) float64 { return lab.WithKey(sheetKey).Sheet(c).RightAnswers()["a"] }
	mine := SheetKey(key, lab.ID, "s1", "")
	v := value(mine, code)
	if v != value(mine, code) {
		t.Error("the same key gives other numbers")
	}
	other := bytes.Clone(mine)
	other[31] ^= 1
	if v == value(other, code) || v == value(SheetKey(key, lab.ID, "s2", ""), code) || v == value(SheetKey(key, lab.ID, "s1", "resit"), code) {
		t.Error("another key gives the same numbers")
	}
	if v != value(mine, SealedCode(key, lab.ID, "s9", "")) {
		t.Error("the numbers hang on the name")
	}
	public := lab.WithKey(mine).Sheet(NumberedCode(lab.ID, 1))
	if public.RightAnswers()["a"] != lab.Sheet(NumberedCode(lab.ID, 1)).RightAnswers()["a"] {
		t.Error("the key changes a practice sheet")
	}
	hidden := lab.Sheet(code)
	if !hidden.Sealed || hidden.Questions[0].Solve != nil {
		t.Errorf("without the key: %+v", hidden)
	}
	a := judge.Answer{Value: v, Unit: "s"}
	if got := hidden.Judge(hidden.Questions[0], a, Answers{}, 0); got.Outcome != judge.OutcomeRecorded || got.Marks != 0 {
		t.Errorf("without the key the right answer is judged %+v", got)
	}
	if got := lab.WithKey(mine).Sheet(code); got.Judge(got.Questions[0], a, Answers{}, 0).Outcome != judge.OutcomeRight {
		t.Error("with the key the right answer is not right")
	}
	if _, err := hidden.Fill(nil, true); !errors.Is(err, ErrSealed) {
		t.Errorf("filled: %v", err)
	}
}
