package marking

import (
	"encoding/hex"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"
)

func write(t testing.TB, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "list.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestReadClass(t *testing.T) {
	for name, text := range map[string]string{
		"commas":                              "id,name,group\ns1,Ada Bell,A\ns2,\"Berg, Cleo\",B\n",
		"semicolons":                          "id;name;group\r\ns1;Ada Bell;A\r\ns2;Berg, Cleo;B\r\n",
		"tabs":                                "id\tname\tgroup\ns1\tAda Bell\tA\ns2\tBerg, Cleo\tB\n",
		"mark and space":                      "\ufeff ID , Name ,group\n\n s1 , Ada Bell ,A\n,,\ns2,\"Berg, Cleo\",B",
		"a separator named":                   "sep=;\nid;name;group\ns1;Ada Bell;A\ns2;Berg, Cleo;B\n",
		"in quotation marks":                  "\"sep=;\"\r\nid;name;group\r\ns1;Ada Bell;A\r\ns2;Berg, Cleo;B\r\n",
		"CR ends":                             "id,name,group\rs1,Ada Bell,A\rs2,\"Berg, Cleo\",B\r",
		"titles":                              "Skelmire College,,\n\n\"Laboratory class, autumn\",,\nid,name,group\ns1,Ada Bell,A\ns2,\"Berg, Cleo\",B\n",
		"titles with commas above semicolons": "Skelmire College, autumn\nid;name;group\ns1;Ada Bell;A\ns2;Berg, Cleo;B\n",
		"ID number":                           "ID number,Full name,group\ns1,Ada Bell,A\ns2,\"Berg, Cleo\",B\n",
		"Student ID":                          "Student ID,name,group\ns1,Ada Bell,A\ns2,\"Berg, Cleo\",B\n",
		"student_id":                          "student_id,name,group\ns1,Ada Bell,A\ns2,\"Berg, Cleo\",B\n",
		"first and last":                      "Last name,First name,id,group\nBell,Ada,s1,A\nCleo,\"Berg,\",s2,B\n",
		"surname first":                       "Surname;Forenames;id;group\nBell;Ada;s1;A\nCleo;Berg,;s2;B\n",
		"an empty column":                     "id,name,group,,\ns1,Ada Bell,A,,\ns2,\"Berg, Cleo\",B,,\n",
		"UTF-16 LE":                           utf16le("\ufeffid,name,group\r\ns1,Ada Bell,A\r\ns2,\"Berg, Cleo\",B\r\n"),
		"UTF-16 BE":                           swapped(utf16le("\ufeffid\tname\tgroup\r\ns1\tAda Bell\tA\r\ns2\tBerg, Cleo\tB\r\n")),
		"UTF-16 LE without a mark":            utf16le("id;name;group\ns1;Ada Bell;A\ns2;Berg, Cleo;B\n"),
		"UTF-16 BE without a mark":            swapped(utf16le("id;name;group\ns1;Ada Bell;A\ns2;Berg, Cleo;B\n")),
		"other order":                         "group,code,name,id\nA,xx,Ada Bell,s1\nB,,\"Berg, Cleo\",s2\n",
	} {
		c, err := ReadClass(write(t, text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if len(c.Students) != 2 || c.Students[0].ID != "s1" || c.Students[1].Name != "Berg, Cleo" || !slices.Equal(c.Students[1].Other, []string{"B"}) || !slices.Equal(c.Other, []string{"group"}) {
			t.Errorf("%s: %+v", name, c)
		}
	}
	for text, want := range map[string]string{
		"":                                  "is empty",
		"name\nAda\n":                       `no column "id"`,
		"id,ID\n1,2\n":                      `two columns "id"`,
		"id\n":                              "no students",
		"id,name\n,Ada\n":                   "line 2: the id is empty",
		"id\ns1\nS1\n":                      "line 3: the id \"S1\" is in line 2 too",
		"id\n../../x\n":                     "cannot be the name of a folder",
		"id\na/b\n":                         "cannot be the name of a folder",
		"id\nNUL\n":                         "Windows keeps",
		"id\ncom1.x\n":                      "Windows keeps",
		"id\nends.\n":                       "cannot be the name of a folder",
		"id\n.hidden\n":                     "cannot be the name of a folder",
		"id\n=1+1\n":                        "cannot be the name of a folder",
		"id\n" + strings.Repeat("x", 65):    "cannot be the name of a folder",
		"id,name\ns1,Berg, Cleo\n":          "between quotation marks",
		"id,name\ns1,\"Ada\n":               "line 2: has a quotation mark in the wrong place",
		"id,name\ns1,\"Ada\ns2,\"B\"\n":     "line 2: has a quotation mark in the wrong place",
		"id\ns1\x00\n":                      "zero bytes",
		"id,name\ns1,\x81\n":                "neither UTF-8 nor Windows-1252",
		"\xff\xfei\x00d\x00\n":              "cut off",
		"PK\x03\x04\x00":                    "is a spreadsheet",
		"sep=x\nid\ns1\n":                   "line 1: names a separator",
		"Student ID,ID number\n1,2\n":       "call the one that counts",
		"id,name\ns1,Ada\nTotal,1\n":        "line 3: the id \"Total\" belongs to a line of totals",
		"id\n1.23457E+11\n":                 "a long number that a spreadsheet has rounded",
		"id;name\n1,23457E+11;Ada\n":        "a long number that a spreadsheet has rounded",
		"id\n007\n07\n":                     "line 3: the id \"07\" and the id \"007\" in line 2 differ by zeros",
		"title\nid\n7\n8\n007\n":            "line 5: the id \"007\" and the id \"7\" in line 3 differ by zeros",
		"id;name\ns1;a;b\n":                 "has 3 cells and the header 2",
		"id,name\n\"s1\" x,Ada\ns2,\"B\"\n": "line 2",
	} {
		if _, err := ReadClass(write(t, text)); err == nil || !strings.Contains(err.Error(), want) || !IsInput(err) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
	if _, err := ReadClass(filepath.Join(t.TempDir(), "nowhere.csv")); !IsInput(err) {
		t.Errorf("a list that is not there: %v", err)
	}
}

// Letters of Windows-1252 are read, and a person is asked to look at them.
func TestClassEncoding(t *testing.T) {
	const name = "Zoë Brûlé-Ångström €"
	for what, text := range map[string]string{
		"UTF-8": "id,name\ns1," + name + "\n", "UTF-16": utf16le("\ufeffid,name\ns1," + name + "\n"),
		"Windows-1252": "id,name\ns1,Zo\xeb Br\xfbl\xe9-\xc5ngstr\xf6m \x80\n",
	} {
		c, err := ReadClass(write(t, text))
		if err != nil || c.Students[0].Name != name {
			t.Errorf("%s: %+v, %v", what, c, err)
		}
		if (c.Note != "") != (what == "Windows-1252") {
			t.Errorf("%s: the note is %q", what, c.Note)
		}
	}
}

// Empty cells between tabs stay cells of their own.
func TestEmptyCells(t *testing.T) {
	for _, sep := range []string{",", ";", "\t"} {
		c, err := ReadClass(write(t, strings.ReplaceAll("id,name,group\ns1,,A\n,Nobody,B\n", ",", sep)))
		if err == nil || !strings.Contains(err.Error(), "line 3: the id is empty") {
			t.Errorf("%q: %+v, %v", sep, c, err)
		}
	}
}

// An id is known again after a spreadsheet has been at it.
func TestFoldedID(t *testing.T) {
	c := Class{Students: []Student{{ID: "0012"}, {ID: "AB7"}, {ID: "000"}}}
	for id, want := range map[string]int{"0012": 0, "12": 0, "012": 0, "ab7": 1, "AB7": 1, "0": 2, "120": -1, "": -1, "1": -1} {
		if got := c.index(id); got != want {
			t.Errorf("%q is student %d, want %d", id, got, want)
		}
	}
}

// A named pipe without a writer holds nobody up.
func TestPipeForTable(t *testing.T) {
	path := pipe(t, filepath.Join(t.TempDir(), "class.csv"))
	if _, err := ReadClass(path); !IsInput(err) || !strings.Contains(err.Error(), "not an ordinary file") {
		t.Errorf("a pipe for a class list: %v", err)
	}
	if _, _, err := ReadKey(path); !IsInput(err) || !strings.Contains(err.Error(), "not an ordinary file") {
		t.Errorf("a pipe for a class key: %v", err)
	}
}

func utf16le(s string) string {
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		b = append(b, byte(u), byte(u>>8))
	}
	return string(b)
}

// swapped is UTF-16 in the other order of bytes.
func swapped(s string) string {
	b := []byte(s)
	for i := 0; i+1 < len(b); i += 2 {
		b[i], b[i+1] = b[i+1], b[i]
	}
	return string(b)
}

func TestKey(t *testing.T) {
	path := filepath.Join(t.TempDir(), "class.key")
	key, made, open, err := MakeKey(path)
	if err != nil || !made || open || len(key) != keySize {
		t.Fatalf("MakeKey: %d bytes, made %v, open %v, %v", len(key), made, open, err)
	}
	info, err := os.Stat(path)
	if err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("the key has the mode %v, %v", info.Mode(), err)
	}
	again, made, _, err := MakeKey(path)
	if err != nil || made || !slices.Equal(again, key) {
		t.Errorf("the second time: made %v, %v", made, err)
	}
	if runtime.GOOS != "windows" {
		os.Chmod(path, 0o644)
		if _, open, err := ReadKey(path); err != nil || !open {
			t.Errorf("a key that others can read: open %v, %v", open, err)
		}
	}
	for _, text := range []string{"", "xyz", hex.EncodeToString(key[:31]), strings.Repeat("a", 2000)} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, _, err := ReadKey(path); !IsInput(err) {
			t.Errorf("the key %.10q: %v", text, err)
		}
		if _, made, _, err := MakeKey(path); err == nil || made {
			t.Errorf("MakeKey over %.10q: made %v, %v", text, made, err)
		}
	}
}

// Cells that a spreadsheet would compute are made text, numbers stay, and what we read
// again is what was there.
func TestHarmless(t *testing.T) {
	for in, want := range map[string]string{
		"Ada": "Ada", "-1.5": "-1.5", "+3": "+3", "": "", "a=b": "a=b",
		"=1+1": "'=1+1", "@x": "'@x", "-a": "'-a", "\t=1": "\t'=1", "a;=1+1": "a;'=1+1", "a; =1+1;b": "a;' =1+1;b", "a\n=1": "a\n'=1", "3;-2": "3;-2", "x;-2+3+cmd|' /C calc'!A0": "x;'-2+3+cmd|' /C calc'!A0", "a;\"=1": "a;'\"=1", " =1": "' =1", "＝1": "'＝1", "+cmd|' /C calc'!A0": "'+cmd|' /C calc'!A0",
		"a\x00b\x1b[1m": "ab[1m", "a\r\nb": "a\nb", "x\u202ey": "xy", "a\xffb": "a\ufffdb",
	} {
		if got := harmless(in); got != want {
			t.Errorf("harmless(%q) = %q, want %q", in, got, want)
		}
	}
	for _, s := range []string{"=1", "Ada", "'quoted'", "-a", "'", "a;=1", "a;'b", "=1;=2\n@x"} {
		if got := harmed(harmless(s)); got != s {
			t.Errorf("%q comes back as %q", s, got)
		}
	}
}
