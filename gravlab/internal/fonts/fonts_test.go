package fonts

import (
	"bytes"
	"io/fs"
	"strings"
	"testing"
)

func TestEveryFileIsUsed(t *testing.T) {
	names, err := fs.Glob(files, "*.woff2")
	if err != nil || len(names) == 0 {
		t.Fatal(names, err)
	}
	sheet := Linked("/asset/")
	for _, name := range names {
		if !strings.Contains(sheet, `url("/asset/`+name+`")`) {
			t.Errorf("no face uses %s", name)
		}
		text, err := File(name)
		if err != nil || !bytes.HasPrefix(text, []byte("wOF2")) { // the signature of W3C's WOFF 2.0
			t.Errorf("%s is not WOFF2: %v", name, err)
		}
	}
	if len(names) != len(faces) {
		t.Errorf("%d files for %d faces", len(names), len(faces))
	}
	for _, name := range []string{"fonts.go", "../fonts/serif-latin-400-normal.woff2", ""} {
		if _, err := File(name); err == nil {
			t.Errorf("%q was handed out", name)
		}
	}
}

// The whole of it must stay small beside the 3 MB that a lab may load, and a report small
// enough to be sent by mail.
func TestSize(t *testing.T) {
	total := 0
	for _, f := range faces {
		text, err := File(f.file)
		if err != nil {
			t.Fatal(err)
		}
		total += len(text)
	}
	if total > 320_000 {
		t.Errorf("the files of type have %d bytes; 320,000 are allowed", total)
	}
	if n := len(Embedded()); n > 280_000 {
		t.Errorf("a report carries %d bytes of type; 280,000 are allowed", n)
	}
}
