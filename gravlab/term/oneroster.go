package term

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/marking"
	"gravity.example/testdata"
)

// The tables of OneRoster's CSV binding 1.2.1 (1EdTech, final release) are in
// testdata/oneroster_csv.csv. Files are written after them and read with them. That is no claim of
// conformance: 1EdTech certifies that, and has not looked at this program.

// A field is a column of a OneRoster file, or a property of its manifest.
type field struct {
	name, required, format string
	permitted              []string
	extensible             bool
}

const manifestFile = "manifest"

// fieldsOf are the fields of a file, in their order.
func fieldsOf(file string) []field {
	var all []field
	for _, r := range testdata.Table("oneroster_csv.csv") {
		if r["file"] != file {
			continue
		}
		f := field{name: r["field"], required: r["required"], format: r["format"], extensible: r["extensible"] == "yes"}
		if r["permitted"] != "" {
			f.permitted = strings.Split(r["permitted"], " | ")
		}
		all = append(all, f)
	}
	return all
}

var (
	guid     = regexp.MustCompile(`^[0-9A-Za-z._/@-]{1,255}$`)
	float    = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)
	integer  = regexp.MustCompile(`^-?[0-9]+$`)
	year     = regexp.MustCompile(`^[0-9]{4}$`)
	dateTime = "2006-01-02T15:04:05.000Z"
)

// fault says what is wrong with a cell; empty if nothing is. delta says that the
// file holds changes.
func (f field) fault(cell string, delta bool) string {
	forDelta := f.required == "Yes for Delta"
	switch {
	case cell == "" && (f.required == "Yes" || forDelta && delta):
		return "is required and empty"
	case cell == "":
		return ""
	case forDelta && !delta:
		return "has a value, which only a file of changes (delta) may have"
	case strings.ContainsAny(cell, "\r\n"):
		return "has a line break"
	case len(f.permitted) > 0 && !slices.Contains(f.permitted, cell) && !(f.extensible && strings.HasPrefix(cell, "ext:")):
		return fmt.Sprintf("is %q; permitted: %s", clip.Line(cell, 40), strings.Join(f.permitted, ", "))
	}
	is := func(ok bool, what string) string {
		if ok {
			return ""
		}
		return fmt.Sprintf("is %q, which is no %s", clip.Line(cell, 60), what)
	}
	date := func(form string) bool { _, err := time.Parse(form, cell); return err == nil }
	switch f.format {
	case "GUID", "GUID Reference":
		return is(guid.MatchString(cell), "id of letters, digits and . - _ / @")
	case "List of GUID References":
		return is(!slices.ContainsFunc(strings.Split(cell, ","), func(id string) bool { return !guid.MatchString(strings.TrimSpace(id)) }), "list of ids of letters, digits and . - _ / @")
	case "Date":
		return is(date(time.DateOnly), "date like 2026-11-03")
	case "DateTime":
		return is(date(dateTime), "time like 2026-11-03T17:00:00.000Z")
	case "Float":
		return is(float.MatchString(cell), "number")
	case "Integer":
		return is(integer.MatchString(cell), "whole number")
	case "Year":
		return is(year.MatchString(cell), "year")
	}
	return ""
}

// A Roster is a set of OneRoster files, as far as a class list and results need it.
type Roster struct {
	file    string
	Classes []RosterClass
	Remarks []string // on what the standard has otherwise
}

// A RosterClass is a class with its students.
type RosterClass struct {
	ID, Title, Code string
	Students        []RosterStudent // in the order of enrollments.csv
	school          string
	sessions        []session // in which it is taught
}

// A RosterStudent is a user who is enrolled in a class as a student.
type RosterStudent struct {
	SourcedID, Identifier, Username, Name string
	line                                  int // in users.csv
}

type session struct{ id, start, end string }

// rosterTable is a file of the set.
type rosterTable struct {
	file  string // as told
	rows  []map[string]string
	lines []int
}

// ReadRoster reads a set of OneRoster CSV files: a zip archive, or a folder.
func ReadRoster(path string) (*Roster, error) {
	texts, err := rosterFiles(path)
	if err != nil {
		return nil, err
	}
	r := &Roster{file: path}
	mode, err := r.manifest(texts["manifest.csv"])
	if err != nil {
		return nil, err
	}
	tables := map[string]rosterTable{}
	for _, name := range []string{"users", "enrollments", "classes", "academicSessions", "orgs"} {
		text, there := texts[name+".csv"]
		switch {
		case !there && slices.Contains([]string{"users", "enrollments", "classes"}, name):
			return nil, wrong(path, 0, "holds no %s.csv; a class list is made from users.csv, enrollments.csv and classes.csv", name)
		case !there:
			continue
		case mode[name] == "delta":
			return nil, wrong(filepath.Join(path, "manifest.csv"), 0, "says that %s.csv holds changes only (delta); a class list needs a whole set (bulk)", name)
		}
		if tables[name], err = r.table(name, text); err != nil {
			return nil, err
		}
	}
	if err := r.classes(tables); err != nil {
		return nil, err
	}
	return r, r.enrol(tables)
}

// rosterFiles are the CSV files of a set, by name.
func rosterFiles(path string) (map[string][]byte, error) {
	const most = 200 << 20 // bytes of a file: a district has some 100,000 users of 300 bytes
	info, err := os.Stat(path)
	if err != nil {
		return nil, wrong(path, 0, "cannot be opened: %v; it is the zip archive of OneRoster CSV files, or a folder with them", errors.Unwrap(err))
	}
	texts := map[string][]byte{}
	take := func(name string, open func() (io.ReadCloser, error)) error {
		f, err := open()
		if err != nil {
			return err
		}
		defer f.Close()
		text, err := io.ReadAll(io.LimitReader(f, most+1))
		if err == nil && len(text) > most {
			err = fmt.Errorf("has more than %d MB", most>>20)
		}
		if err != nil {
			return wrong(filepath.Join(path, name), 0, "cannot be read: %v", err)
		}
		texts[name] = text
		return nil
	}
	wanted := func(name string) bool {
		return slices.Contains([]string{"manifest.csv", "users.csv", "enrollments.csv", "classes.csv", "academicSessions.csv", "orgs.csv"}, name)
	}
	if info.IsDir() {
		entries, err := os.ReadDir(path)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if wanted(e.Name()) && e.Type().IsRegular() {
				if err := take(e.Name(), func() (io.ReadCloser, error) { return os.Open(filepath.Join(path, e.Name())) }); err != nil {
					return nil, err
				}
			}
		}
		return texts, nil
	}
	z, err := zip.OpenReader(path)
	if err != nil {
		return nil, wrong(path, 0, "is not a zip archive that can be read; give the archive of OneRoster CSV files, or a folder with them")
	}
	defer z.Close()
	for _, f := range z.File {
		if _, twice := texts[f.Name]; twice {
			return nil, wrong(path, 0, "holds %s twice", f.Name)
		}
		if wanted(f.Name) {
			if err := take(f.Name, f.Open); err != nil {
				return nil, err
			}
		}
	}
	return texts, nil
}

// records reads a file of the set. Header names count as they are written.
func records(file string, text []byte) (header []string, rows [][]string, lines []int, err error) {
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	for {
		row, err := in.Read()
		if err == io.EOF {
			break
		}
		var at *csv.ParseError
		if errors.As(err, &at) {
			return nil, nil, nil, wrong(file, at.StartLine, "cannot be read: %v", at.Err)
		}
		if err != nil {
			return nil, nil, nil, wrong(file, 0, "cannot be read: %v", err)
		}
		line, _ := in.FieldPos(0)
		if header == nil {
			header = row
			continue
		}
		rows, lines = append(rows, row), append(lines, line)
	}
	if header == nil {
		return nil, nil, nil, wrong(file, 1, "is empty; its first line names the columns")
	}
	return header, rows, lines, nil
}

// manifest reads which files there are.
func (r *Roster) manifest(text []byte) (map[string]string, error) {
	file := filepath.Join(r.file, "manifest.csv")
	if text == nil {
		return nil, wrong(r.file, 0, "holds no manifest.csv at its top, so it is no set of OneRoster CSV files")
	}
	_, rows, lines, err := records(file, text)
	if err != nil {
		return nil, err
	}
	properties := map[string]field{}
	for _, f := range fieldsOf(manifestFile) {
		properties[f.name] = f
	}
	mode := map[string]string{}
	for i, row := range rows {
		if len(row) < 2 {
			return nil, wrong(file, lines[i], "has %d cells; a row has a name and a value", len(row))
		}
		f, known := properties[row[0]]
		if name, ok := strings.CutPrefix(row[0], "file."); ok {
			mode[name] = row[1]
		}
		if !known {
			continue
		}
		if row[0] == "oneroster.version" && row[1] != "1.2" {
			r.Remarks = append(r.Remarks, fmt.Sprintf("%s says version %s; the files are read by the names that version 1.2 has", file, clip.Line(row[1], 20)))
			continue
		}
		if fault := f.fault(row[1], false); fault != "" {
			return nil, wrong(file, lines[i], "%s %s", row[0], fault)
		}
	}
	return mode, nil
}

// table reads a file by the names of its columns.
func (r *Roster) table(name string, text []byte) (rosterTable, error) {
	t := rosterTable{file: filepath.Join(r.file, name+".csv")}
	header, rows, lines, err := records(t.file, text)
	if err != nil {
		return t, err
	}
	fields := fieldsOf(name)
	at := make([]int, len(fields))
	for i, f := range fields {
		if at[i] = slices.Index(header, f.name); at[i] < 0 {
			if f.required == "Yes" {
				return t, wrong(t.file, 1, "has no column %s, which the standard requires; names of columns are case-sensitive", f.name)
			}
			continue
		}
		if slices.Index(header[at[i]+1:], f.name) >= 0 {
			return t, wrong(t.file, 1, "has two columns %s", f.name)
		}
		if at[i] != i {
			r.remark("%s has column %s in another place than the standard; it is read by its name", t.file, f.name)
		}
	}
	first := map[string]int{}
	for k, row := range rows {
		cells := map[string]string{}
		for i, f := range fields {
			if at[i] < 0 {
				continue
			}
			cell := row[at[i]]
			if f.required == "Yes for Delta" {
				if cell != "" {
					r.remark("%s has values in %s, which a whole set has not", t.file, f.name)
				}
			} else if fault := f.fault(cell, false); fault != "" {
				return t, wrong(t.file, lines[k], "%s %s", f.name, fault)
			}
			cells[f.name] = cell
		}
		id := cells["sourcedId"]
		if line, twice := first[id]; twice {
			return t, wrong(t.file, lines[k], "has the sourcedId %s of line %d again; ask for the set anew", clip.Line(id, 60), line)
		}
		first[id] = lines[k]
		if cells["status"] == "tobedeleted" {
			continue
		}
		t.rows, t.lines = append(t.rows, cells), append(t.lines, lines[k])
	}
	return t, nil
}

// remark keeps one remark of a kind.
func (r *Roster) remark(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); !slices.Contains(r.Remarks, text) {
		r.Remarks = append(r.Remarks, text)
	}
}

// classes takes the classes and the sessions that they are taught in.
func (r *Roster) classes(tables map[string]rosterTable) error {
	sessions := map[string]session{}
	for _, s := range tables["academicSessions"].rows {
		sessions[s["sourcedId"]] = session{s["sourcedId"], s["startDate"], s["endDate"]}
	}
	t := tables["classes"]
	for i, c := range t.rows {
		class := RosterClass{ID: c["sourcedId"], Title: c["title"], Code: c["classCode"], school: c["schoolSourcedId"]}
		for id := range strings.SplitSeq(c["termSourcedIds"], ",") {
			id = strings.TrimSpace(id)
			s, known := sessions[id]
			if !known && len(sessions) > 0 {
				return wrong(t.file, t.lines[i], "names the term %s, which academicSessions.csv does not have", clip.Line(id, 60))
			}
			s.id = id
			class.sessions = append(class.sessions, s)
		}
		r.Classes = append(r.Classes, class)
	}
	return nil
}

// enrol takes the students of the classes.
func (r *Roster) enrol(tables map[string]rosterTable) error {
	users, lines := map[string]map[string]string{}, map[string]int{}
	for i, u := range tables["users"].rows {
		users[u["sourcedId"]], lines[u["sourcedId"]] = u, tables["users"].lines[i]
	}
	classes := map[string]int{}
	for i, c := range r.Classes {
		classes[c.ID] = i
	}
	t := tables["enrollments"]
	first := map[string]int{}
	for i, e := range t.rows {
		at, known := classes[e["classSourcedId"]]
		if !known {
			return wrong(t.file, t.lines[i], "names the class %s, which classes.csv does not have", clip.Line(e["classSourcedId"], 60))
		}
		u, known := users[e["userSourcedId"]]
		if !known {
			return wrong(t.file, t.lines[i], "names the user %s, whom users.csv does not have", clip.Line(e["userSourcedId"], 60))
		}
		if e["role"] != "student" {
			continue
		}
		what := e["classSourcedId"] + "\x00" + e["userSourcedId"]
		if line, twice := first[what]; twice {
			return wrong(t.file, t.lines[i], "enrols the user %s in the class %s a second time; the first is in line %d", clip.Line(e["userSourcedId"], 60), clip.Line(e["classSourcedId"], 60), line)
		}
		first[what] = t.lines[i]
		name := func(preferred, own string) string {
			if u[preferred] != "" {
				return u[preferred]
			}
			return u[own]
		}
		r.Classes[at].Students = append(r.Classes[at].Students, RosterStudent{
			SourcedID: u["sourcedId"], Identifier: u["identifier"], Username: u["username"],
			Name: strings.TrimSpace(name("preferredGivenName", "givenName") + " " + name("preferredFamilyName", "familyName")), line: lines[u["sourcedId"]],
		})
	}
	return nil
}

// Class finds a class by its sourcedId or class code; empty: the only one.
func (r *Roster) Class(id string) (RosterClass, error) {
	var found []RosterClass
	for _, c := range r.Classes {
		if id == "" || id == c.ID || id == c.Code {
			found = append(found, c)
		}
	}
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) == 0:
		return RosterClass{}, wrong(r.file, 0, "has no class %q", clip.Line(id, 60))
	}
	return RosterClass{}, wrong(r.file, 0, "has %d such classes: say which one by its sourcedId", len(found))
}

// Which columns of users.csv can be a student's id.
const (
	ByIdentifier = "identifier"
	ByUsername   = "username"
	BySourcedID  = "sourcedId"
)

func (s RosterStudent) by(column string) string {
	switch column {
	case ByUsername:
		return s.Username
	case BySourcedID:
		return s.SourcedID
	}
	return s.Identifier
}

// WriteClass writes the class list of a class, with the ids of a column of users.csv. The list has
// to be one that can be read again.
func (r *Roster) WriteClass(class RosterClass, column, path string) error {
	users := filepath.Join(r.file, "users.csv")
	before, lines := marking.Class{}, map[string]int{}
	for _, s := range class.Students {
		id := s.by(column)
		if id == "" {
			return wrong(users, s.line, "the student %s has no %s; take the ids from another column with --id username or --id sourcedId", s.SourcedID, column)
		}
		if twin, twice := before.Find(id); twice {
			return wrong(users, s.line, "the %s %q is that of line %d too (capitals and zeros in front do not count); take the ids from another column with --id username or --id sourcedId", column, clip.Line(id, 60), lines[twin.ID])
		}
		before.Students, lines[id] = append(before.Students, marking.Student{ID: id}), s.line
	}
	if len(class.Students) == 0 {
		return wrong(r.file, 0, "the class %s has no students", class.ID)
	}
	write := func(path string) error {
		return marking.Dialect{}.WriteTable(path, []string{"id", "name", "sourcedId"}, nil, func(write func(...string) error) error {
			for _, s := range class.Students {
				if err := write(s.by(column), s.Name, s.SourcedID); err != nil {
					return err
				}
			}
			return nil
		})
	}
	// It is tried out first: what is wrong is told where it came from.
	dir, err := os.MkdirTemp("", "gravlab-roster-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	trial := filepath.Join(dir, "class.csv")
	if err := write(trial); err != nil {
		return err
	}
	var fault *marking.InputError
	if _, err := marking.ReadClass(trial); errors.As(err, &fault) && fault.Line >= 2 && fault.Line-2 < len(class.Students) {
		s := class.Students[fault.Line-2]
		return wrong(users, s.line, "the %s of %s cannot be an id of a class list: %s", column, s.SourcedID, fault.What)
	} else if err != nil {
		return err
	}
	return write(path)
}

// match finds the students of a class list in a roster, by whichever column their ids are from.
func (c RosterClass) match(class marking.Class) map[string]RosterStudent {
	var best map[string]RosterStudent
	for _, column := range []string{ByIdentifier, ByUsername, BySourcedID} {
		found := map[string]RosterStudent{}
		for _, s := range c.Students {
			if who, ok := class.Find(s.by(column)); ok && s.by(column) != "" {
				found[who.ID] = s
			}
		}
		if len(found) > len(best) {
			best = found
		}
	}
	return best
}
