package marking

import (
	"encoding/hex"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
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
		"commas":         "id,name,group\ns1,Ada Bell,A\ns2,\"Berg, Cleo\",B\n",
		"semicolons":     "id;name;group\r\ns1;Ada Bell;A\r\ns2;Berg, Cleo;B\r\n",
		"tabs":           "id\tname\tgroup\ns1\tAda Bell\tA\ns2\tBerg, Cleo\tB\n",
		"mark and space": "\ufeff ID , Name ,group\n\n s1 , Ada Bell ,A\n,,\ns2,\"Berg, Cleo\",B",
		"other order":    "group,code,name,id\nA,xx,Ada Bell,s1\nB,,\"Berg, Cleo\",s2\n",
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
		"id\ns1\nS1\n":                      "line 3: the id \"S1\" stands in line 2 too",
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
		"id\n\xff\xfe\n":                    "not UTF-8",
		"i\x00d\x00\n\x00":                  "zero bytes",
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
		"=1+1": "'=1+1", "@x": "'@x", "-a": "'-a", "\t=1": "'\t=1", "＝1": "'＝1", "+cmd|' /C calc'!A0": "'+cmd|' /C calc'!A0",
		"a\x00b\x1b[1m": "ab[1m", "a\r\nb": "a\nb", "x\u202ey": "xy", "a\xffb": "a\ufffdb",
	} {
		if got := harmless(in); got != want {
			t.Errorf("harmless(%q) = %q, want %q", in, got, want)
		}
	}
	for _, s := range []string{"=1", "Ada", "'quoted'", "-a", "'"} {
		if got := harmed(harmless(s)); got != s {
			t.Errorf("%q comes back as %q", s, got)
		}
	}
}
