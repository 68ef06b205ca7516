package term

import (
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/marking"
)

// What a roster has wrong is told with its file and line: a student twice above all.
func TestBadRoster(t *testing.T) {
	line := func(text, id string) string {
		return regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(id) + `,.*\r\n`).FindString(text)
	}
	change := func(name, old, new string) func(map[string]string) {
		return func(set map[string]string) {
			if !strings.Contains(set[name], old) {
				t.Fatalf("%s has no %q", name, old)
			}
			set[name] = strings.Replace(set[name], old, new, 1)
		}
	}
	for _, c := range []struct {
		what   string
		change func(map[string]string)
		want   string
	}{
		{"a user twice", func(set map[string]string) { set["users.csv"] += line(set["users.csv"], "u/0002") }, "users.csv, line 7: has the sourcedId u/0002 of line 4 again"},
		{"an enrolment twice", func(set map[string]string) {
			set["enrollments.csv"] += strings.Replace(line(set["enrollments.csv"], "e-u/0002"), "e-", "x-", 1)
		}, "enrollments.csv, line 7: enrols the user u/0002 in the class class-2a a second time; the first is in line 4"},
		{"an identifier twice", change("users.csv", ",0002,", ",0001,"), "users.csv, line 4: the identifier \"0001\" is that of line 3 too"},
		{"no identifier", change("users.csv", ",0002,", ",,"), "users.csv, line 4: the student u/0002 has no identifier; take the ids from another column with --id username"},
		{"an identifier that is no folder", change("users.csv", ",0002,", ",00/02,"), "users.csv, line 4: the identifier of u/0002 cannot be an id of a class list"},
		{"somebody unknown", change("enrollments.csv", "skelmire,u/0002", "skelmire,u/9999"), "enrollments.csv, line 4: names the user u/9999, whom users.csv does not have"},
		{"an unknown class", change("enrollments.csv", "class-2a,skelmire,u/0002", "class-9,skelmire,u/0002"), "enrollments.csv, line 4: names the class class-9"},
		{"an unknown term", change("classes.csv", "\"t2,t1\"", "\"t2,t9\""), "classes.csv, line 2: names the term t9"},
		{"a role of no one", change("enrollments.csv", "u/0002,student", "u/0002,pupil"), `enrollments.csv, line 4: role is "pupil"; permitted: administrator, proctor, student, teacher`},
		{"a date of no calendar", change("academicSessions.csv", "2026-09-01", "1.9.2026"), `academicSessions.csv, line 2: startDate is "1.9.2026", which is no date`},
		{"an id that is none", change("users.csv", "u/0002", "u 0002"), `users.csv, line 4: sourcedId is "u 0002", which is no id`},
		{"a name in capitals", change("users.csv", "sourcedId", "SourcedId"), "users.csv, line 1: has no column sourcedId"},
		{"cells too few", change("enrollments.csv", ",student,,,", ",student"), "enrollments.csv, line 3: cannot be read: wrong number of fields"},
		{"changes only", change("manifest.csv", "file.users,bulk", "file.users,delta"), "manifest.csv: says that users.csv holds changes only (delta)"},
		{"no users", func(set map[string]string) { delete(set, "users.csv") }, "holds no users.csv"},
		{"no manifest", func(set map[string]string) { delete(set, "manifest.csv") }, "holds no manifest.csv"},
	} {
		dir := t.TempDir()
		set := rosterSet(3)
		c.change(set)
		for name, text := range set {
			put(t, dir, "set/"+name, text)
		}
		r, err := ReadRoster(filepath.Join(dir, "set"))
		if err == nil {
			var class RosterClass
			if class, err = r.Class("PHYS-2A"); err == nil {
				err = r.WriteClass(class, ByIdentifier, filepath.Join(dir, "class.csv"))
			}
		}
		if !marking.IsInput(err) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.what, err, c.want)
		}
		if left, _ := filepath.Glob(filepath.Join(dir, "*.csv")); len(left) > 0 {
			t.Errorf("%s: %v was written", c.what, left)
		}
	}
}

// Columns in another order, a byte order mark and values that a whole set has not are read and
// told.
func TestOddRoster(t *testing.T) {
	set := rosterSet(2)
	plain := maps.Clone(set)
	set["orgs.csv"] = "\ufeffsourcedId,status,name,dateLastModified,type,identifier,parentSourcedId\r\nskelmire,active,Skelmire College,,school,,\r\n"
	set["manifest.csv"] = strings.Replace(set["manifest.csv"], "oneroster.version,1.2", "oneroster.version,1.1", 1)
	dir := t.TempDir()
	putSet(t, filepath.Join(dir, "odd.zip"), set)
	r, err := ReadRoster(filepath.Join(dir, "odd.zip"))
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(r.Remarks, "\n")
	for _, part := range []string{"says version 1.1", "orgs.csv has column name in another place", "orgs.csv has values in status"} {
		if !strings.Contains(all, part) {
			t.Errorf("no remark says %q:\n%s", part, all)
		}
	}
	if _, err := r.Class(""); !marking.IsInput(err) || !strings.Contains(err.Error(), "2 such classes") {
		t.Errorf("of two classes one is taken: %v", err)
	}
	if c, err := r.Class("class-2b"); err != nil || len(c.Students) != 1 || c.Students[0].Username != "rae9001" {
		t.Errorf("the other class is %+v, %v", c, err)
	}
	putSet(t, filepath.Join(dir, "plain.zip"), plain)
	if r, err := ReadRoster(filepath.Join(dir, "plain.zip")); err != nil || len(r.Remarks) > 0 {
		t.Errorf("a set after the standard: %v, %q", err, r.Remarks)
	}
}

// A result needs dates that only the lecturer knows.
func TestResultsNeedDates(t *testing.T) {
	dir := t.TempDir()
	putSet(t, filepath.Join(dir, "roster.zip"), rosterSet(2))
	roster, err := ReadRoster(filepath.Join(dir, "roster.zip"))
	if err != nil {
		t.Fatal(err)
	}
	taught, _ := roster.Class("PHYS-2A")
	class := classOf(t, dir, "0001", "0003")
	book(t, dir, "m1", "01-one", sheet{id: "0001", a: 6, b: 4}, sheet{id: "0003", waits: true})
	const due = "due,01,,2026-11-03T18:00Z,\n"
	for _, c := range []struct{ rules, want string }{
		{"", "says nothing of the date of the results"},
		{"results,,,2026-12-14,\n" + due, "does not say when lab 01 was handed out and when it was due"},
		{"results,,,14.12.2026,\n", `line 3: the date of the rule results is "14.12.2026"`},
		{"results,,,2026-12-14,\nassigned,01,,2026-10-20,\n" + due, ""},
	} {
		rules, err := ReadRules(put(t, dir, "rules.csv", head+"book,01,,m1,\n"+c.rules), class)
		var remarks []string
		out := filepath.Join(dir, "out")
		if err == nil {
			var r Result
			r, err = Total{Class: class, Rules: rules, Out: out, Roster: roster, Taught: taught}.Write(t.Context())
			remarks = slices.DeleteFunc(r.Remarks, func(s string) bool { return strings.Contains(s, "when it was handed in") })
		}
		if _, missing := os.Stat(out); c.want != "" && missing == nil {
			t.Errorf("%q: something was written", c.rules)
		}
		if c.want == "" {
			if all := strings.Join(remarks, "\n"); err != nil || len(remarks) != 2 || !strings.Contains(all, "0003 is not in the class class-2a") || !strings.Contains(all, "u/0002 of the class class-2a") {
				t.Errorf("with all dates: %v, remarks %q", err, remarks)
			}
		} else if !marking.IsInput(err) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.rules, err, c.want)
		}
	}
}
