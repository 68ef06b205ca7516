package marking

import (
	"regexp"
	"strings"
	"testing"
)

// The page of a class shows who has what at a glance, the best first, and what most have in
// common, with its remedy. A mistake of one student is no subject for all.
func TestClassAtAGlance(t *testing.T) {
	c := newClassroom(t, swingLab, 4)
	for i, what := range []string{"half", "half", "worked", ""} {
		p := c.sheet(i)
		s := sources{}
		switch what {
		case "half":
			s["period"] = gives("period", right(p, "period", 0.5), "s")
		case "worked":
			s = worked(p).with("mass", "%%\nsheet.Choice(\"mass\", \"b\")")
		default:
			continue
		}
		c.hand(c.Class.Students[i].ID+"/a.ipynb", answered(t, p, s))
	}
	c.mark()
	text := c.file("class.html")

	_, talk, _ := strings.Cut(text, `id="talk"`)
	talk, _, _ = strings.Cut(talk, "</section>")
	if !strings.Contains(talk, "<strong>half a swing</strong> in “Period”: 2 of the 3 who answered. A full swing is there and back.") {
		t.Errorf("what to talk about: %s", talk)
	}
	if strings.Count(talk, "<li>") != 1 {
		t.Errorf("a mistake of one student is to be talked about: %s", talk)
	}

	_, grid, _ := strings.Cut(text, `id="glance"`)
	grid, _, _ = strings.Cut(grid, "</section>")
	rows := regexp.MustCompile(`<tr><th scope="row"><a href="replies/(s\d+)\.html">.*`).FindAllStringSubmatch(grid, -1)
	var order, signs []string
	for _, m := range rows {
		order = append(order, m[1])
		line := ""
		for _, sign := range regexp.MustCompile(`<span aria-hidden="true">(.)</span>`).FindAllStringSubmatch(m[0], -1) {
			line += sign[1]
		}
		signs = append(signs, line)
	}
	if got, want := strings.Join(order, " "), "s3 s1 s2"; strings.ReplaceAll(got, "s0", "s") != want {
		t.Errorf("the students stand as %s, want %s", got, want)
	}
	if got := strings.Join(signs, " "); got != "✓✓✓✓△… △––––– △–––––" {
		t.Errorf("the signs are %s", got)
	}
	if strings.Contains(grid, "s04") {
		t.Error("who handed in nothing stands in the grid")
	}
}
