package marking

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Whoever has a student's file cannot keep it from being marked: equal files count
// once, and of files that differ the one in the student's own folder counts.
func TestWhoseFileCounts(t *testing.T) {
	c := newClassroom(t, swingLab, 10)
	work := func(i int) []byte { return answered(t, c.sheet(i), sources{"mass": worked(c.sheet(i))["mass"]}) }
	changed := func(i, n int) []byte {
		return answered(t, c.sheet(i), sources{"mass": fmt.Sprintf("%s // %d", chooses("mass", letter(c.sheet(i), "mass", false)), n)})
	}
	const one, none = "0 0 0 0 1 0 1", "      "

	c.hand("s01/lab.ipynb", work(0))
	c.hand("s02/copied.ipynb", work(0)) // byte by byte, by somebody who hands in nothing else
	c.hand("s03/lab.ipynb", work(2))
	c.hand("s04/lab.ipynb", work(3))
	for n := range 3 { // somebody else's, changed
		c.hand(fmt.Sprintf("s04/more%d.ipynb", n), changed(2, n))
	}
	// In one folder a name proves nothing: everybody gives their files names.
	c.hand("lab.ipynb", work(4))
	c.hand("s05.ipynb", changed(4, 0))
	// Nor does a folder in an archive that a student made.
	c.hand("mine.ipynb", work(5))
	c.hand("s04/x.zip", archive(t, entry{name: "s06/lab.ipynb", text: string(changed(5, 0))}))
	// An archive beside what came out of it, with a recording.
	c.hand("s07/all.zip", archive(t, entry{name: "lab/lab.ipynb", text: string(work(6))}, entry{name: "lab/own.csv", text: "x (m)\n1\n"}))
	c.hand("s07/lab/lab.ipynb", work(6))
	c.hand("s07/lab/own.csv", []byte("x (m)\n1\n"))
	// Two versions of one's own: the student has to say which.
	c.hand("s08/old.ipynb", work(7))
	c.hand("s08/new.ipynb", changed(7, 1))
	// A folder by the student's name, written in another way, and not the lecturer's.
	c.Class.Students[8].Name = "Zoë Brûlé-Ångström"
	c.hand("Bru\u0302le\u0301-A\u030angstro\u0308m, Zoe\u0308_441_file/lab.ipynb", work(8))
	c.hand("s04/late/lab.ipynb", changed(8, 0))

	s := c.mark()
	if s.Marked != 5 || s.Unmarked != 3 || s.Unusable != 1 || s.Missing != 1 {
		t.Errorf("%+v", s)
	}
	for id, want := range map[string]string{"s01": one, "s02": none, "s03": one, "s04": one, "s05": none, "s06": none, "s07": one, "s08": none, "s09": one, "s10": none} {
		c.wantMarks(id, want)
	}
	c.wantRemark("s01", "was handed in 2 times with the same bytes; it counts once")
	c.wantRemark("s01", "lies under the name s02: whose work is it?")
	c.wantRemark("s03", "does not count: another file with the code of s03 lies in a folder of that name, and this one does not")
	c.wantRemark("s05", "is one of 2 files with the code of s05")
	c.wantRemark("s06", "is one of 2 files")
	c.wantRemark("s07", "was handed in 2 times")
	c.wantRemark("s08", "is one of 2 files")
	c.wantRemark("s09", "lies under the name s04")
	for id, part := range map[string]string{
		"s02": "It carries the code of another student&#39;s sheet.",
		"s03": "one of them was marked",
		"s05": "2 different files were handed in with the code of your sheet",
	} {
		if reply := c.file("replies/" + id + ".html"); !strings.Contains(reply, part) {
			t.Errorf("the reply to %s does not say %q", id, part)
		}
	}
	if strings.Contains(c.file("replies/s02.html"), "s01") {
		t.Error("the reply says whose sheet it is")
	}

	// The lecturer's word comes before all that.
	print := ""
	for _, row := range c.rows("remarks.csv") {
		if row[0] == "s03" && row[2] == "more1.ipynb" {
			print = row[3]
		}
	}
	c.Adjust = write(t, "id,question,marks,reason\ns03,file,"+print+",for once\n")
	c.mark()
	c.wantMarks("s03", "0 0 0 0 0 0 0")
}

// Those who handed in something that cannot be read are not missing: they get a reply
// that says why.
func TestUnreadableIsReturned(t *testing.T) {
	c := newClassroom(t, swingLab, 6)
	c.hand("s01/lab.ipynb", answered(t, c.sheet(0), nil)[:500])
	c.hand("s02/lab.pdf", []byte("%PDF"))
	c.hand("s03/lab.rar", []byte("Rar!"))
	c.hand("s04/lab.ipynb", answered(t, c.sheet(3), nil))
	c.hand("s04/photo.jpeg", []byte("jpeg"))
	c.hand("s05/lab.zip", []byte("PK"))
	s := c.mark()
	if s.Marked != 1 || s.Unusable != 4 || s.Missing != 1 {
		t.Errorf("%+v", s)
	}
	for id, part := range map[string]string{
		"s01": "It is not a notebook that can be read", "s02": "It is not a notebook (.ipynb) or a recording", "s03": "It is an archive of a kind that is not read", "s05": "not a zip archive",
	} {
		if reply := c.file("replies/" + id + ".html"); !strings.Contains(reply, part) || !strings.Contains(reply, "nothing of it could be marked") {
			t.Errorf("the reply to %s does not say %q", id, part)
		}
	}
	if _, err := os.Stat(filepath.Join(c.Out, "replies", "s06.html")); err == nil {
		t.Error("a reply to somebody who handed in nothing")
	}
	page := c.file("class.html")
	_, missing, _ := strings.Cut(page, "Who is missing")
	if strings.Count(missing, "<li>") != 1 || !strings.Contains(missing, "s06") || !strings.Contains(page, "of 6 students marked, 1 handed in nothing, 4 with nothing that can be marked") {
		t.Errorf("who is missing: %.300s", missing)
	}
	for _, row := range c.rows("marks.csv") {
		if row[0] == "" {
			continue // the marks to be had
		}
		if note, want := row[len(row)-1], map[string]string{"s04": "", "s06": "nothing returned"}; row[0] == "s04" || row[0] == "s06" {
			if note != want[row[0]] {
				t.Errorf("%s: %q", row[0], note)
			}
		} else if note != "nothing that can be marked: see remarks.csv" {
			t.Errorf("%s: %q", row[0], note)
		}
	}
	if reply := c.file("replies/s04.html"); !strings.Contains(reply, ">0 of 1 mark<") || !strings.Contains(reply, ">0 of 2 marks<") {
		t.Error("the reply does not count one mark and two marks as people do")
	}
	if strings.Contains(page, "<th scope=\"col\" class=\"number\">carried</th>") || !strings.Contains(page, "<th scope=\"col\" class=\"number\">blank</th>") {
		t.Error("the table of the questions has columns of nothing, or not that of the blanks")
	}
	// A file beside the one that is marked is told all the same.
	c.wantRemark("", "so it is not read; it lies under the name s04")
}
