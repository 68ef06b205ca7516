package term

import (
	"archive/zip"
	"bytes"
	"crypto/sha1"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/marking"
)

// namespace is what the name-based ids (RFC 9562, version 5) of line items and results are made
// from; a number of our own, drawn once.
var namespace = [16]byte{0x5c, 0x1e, 0x0b, 0x6f, 0x9a, 0x44, 0x4d, 0x2b, 0x8d, 0x37, 0xe1, 0x72, 0x3a, 0x90, 0x56, 0xc4}

// uuid is the name-based UUID of a few words.
func uuid(words ...string) string {
	h := sha1.New()
	h.Write(namespace[:])
	for _, w := range words {
		fmt.Fprintf(h, "%d:%s,", len(w), w)
	}
	u := h.Sum(nil)[:16]
	u[6], u[8] = u[6]&0x0f|0x50, u[8]&0x3f|0x80
	x := hex.EncodeToString(u)
	return x[:8] + "-" + x[8:12] + "-" + x[12:16] + "-" + x[16:20] + "-" + x[20:]
}

// A file is one file of an archive.
type file struct {
	name string
	text []byte
}

// results is what came out as a set of OneRoster CSV files: a line item for each lab and one for
// the total, and the results of each student who is in the roster. The set holds changes (delta):
// a whole set (bulk) would have the system that reads it mark all other line items and results as
// deleted (section 3 of the standard). No reason that a rule gives leaves the house: the comments
// say what is open and nothing else.
//
// The dates are those of the rules results, assigned and due, so that the same input gives the
// same bytes.
func (t Total) results(r Result) (set []file, remarks []string, err error) {
	rules, roster, class := t.Rules, t.Roster, t.Taught
	if rules.results == "" {
		return nil, nil, wrong(rules.file, 0, "says nothing of the date of the results, which OneRoster requires; a row such as results,,,2026-12-14, does")
	}
	for _, lab := range rules.labs {
		if lab.assigned == "" || lab.due == nil {
			return nil, nil, wrong(rules.file, 0, "does not say when lab %s was handed out and when it was due, which OneRoster requires; rows such as assigned,%s,,2026-10-20, and due,%s,,2026-11-03T18:00+01:00, do", lab.number, lab.number, lab.number)
		}
	}
	modified := rules.results + "T00:00:00.000Z"
	labs, totals := uuid("category", class.ID, "labs"), uuid("category", class.ID, "totals")
	// The total has the rules in it already, so it is what counts.
	categories := [][]string{{labs, "active", modified, "Gravity labs", "0"}, {totals, "active", modified, "Total of the gravity labs", "100"}}
	var items, results [][]string
	item := func(id, title, description, assigned, due, category, most string) {
		items = append(items, []string{id, "active", modified, title, description, assigned, due, class.ID, category, class.session(due), "0.0", most, class.school})
	}
	first := rules.results
	for _, lab := range rules.labs {
		first = min(first, lab.assigned)
		item(uuid("lineItem", class.ID, lab.book.Lab), lab.number+" "+lab.book.Title, "", lab.assigned, lab.due.Format(time.DateOnly), labs, fmt.Sprintf("%d.0", lab.book.Of()))
	}
	item(uuid("lineItem", class.ID, "total"), "Total of the gravity labs", "percent", first, rules.results, totals, "100.0")
	users := class.match(t.Class)
	for _, s := range r.Students {
		user, known := users[s.Student.ID]
		if !known {
			remarks = append(remarks, fmt.Sprintf("%s is not in the class %s of %s: no results of theirs are written", s.Student.ID, class.ID, roster.file))
			continue
		}
		add := func(lab, status, score, comment string, late, missing bool) {
			word := func(b bool) string { return fmt.Sprint(b) }
			results = append(results, []string{uuid("result", class.ID, lab, user.SourcedID), "active", modified, uuid("lineItem", class.ID, lab), user.SourcedID, status, score, rules.results, comment, "", class.ID, "false", "false", word(late), word(missing)})
		}
		for i, f := range s.Labs {
			status, score := "fully graded", ""
			if !f.Excused {
				score = f.Marks.FloatString(2)
			}
			missing := f.State == marking.Missing && !f.Excused
			switch {
			case f.Excused:
				status = "exempt"
			case f.State == marking.Several:
				status, score = "submitted", ""
			case len(f.Open) > 0:
				status = "partially graded"
			case missing && f.Marks.Sign() == 0:
				status = "not submitted"
			}
			add(r.Labs[i].ID, status, score, provisional(f.Open), f.Late, missing)
		}
		switch {
		case s.Total == nil:
			add("total", "exempt", "", "", false, false)
		case s.Final():
			add("total", "fully graded", s.Total.FloatString(1), "", false, false)
		default:
			add("total", "partially graded", s.Total.FloatString(1), provisional(s.Open), false, false)
		}
	}
	for _, s := range class.Students {
		found := false
		for _, u := range users {
			found = found || u.SourcedID == s.SourcedID
		}
		if !found {
			remarks = append(remarks, fmt.Sprintf("%s of the class %s of %s is not in the class list: no results of theirs are written", s.SourcedID, class.ID, roster.file))
		}
	}
	if len(results) == 0 {
		return nil, nil, wrong(roster.file, 0, "knows no student of the class list in the class %s", class.ID)
	}
	tables := map[string][][]string{"categories": categories, "lineItems": items, "results": results}
	var manifest [][]string
	for _, f := range fieldsOf(manifestFile) {
		value := ""
		switch name, isFile := strings.CutPrefix(f.name, "file."); {
		case isFile && tables[name] != nil:
			value = "delta"
		case isFile:
			value = "absent"
		case len(f.permitted) == 1:
			value = f.permitted[0]
		case f.name == "source.systemName":
			value = "gravlab"
		}
		if value != "" {
			manifest = append(manifest, []string{f.name, value})
		}
	}
	set = append(set, file{"manifest.csv", csvText([]string{"propertyName", "value"}, manifest)})
	for _, name := range []string{"categories", "lineItems", "results"} {
		fields := fieldsOf(name)
		var header []string
		for _, f := range fields {
			header = append(header, f.name)
		}
		for _, row := range tables[name] {
			for i, f := range fields {
				if fault := f.fault(row[i], true); fault != "" {
					return nil, nil, fmt.Errorf("%s.csv: %s %s", name, f.name, fault)
				}
			}
		}
		set = append(set, file{name + ".csv", csvText(header, tables[name])})
	}
	return set, remarks, nil
}

func provisional(open []string) string {
	if len(open) == 0 {
		return ""
	}
	return "provisional: " + strings.Join(open, "; ")
}

// session is the one of the class in which a date lies, else its first.
func (c RosterClass) session(date string) string {
	for _, s := range c.sessions {
		if s.start <= date && date < s.end {
			return s.id
		}
	}
	return c.sessions[0].id
}

// csvText is a CSV file after RFC 4180, in UTF-8 without a byte order mark.
func csvText(header []string, rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	w.Write(header)
	w.WriteAll(rows)
	return b.Bytes()
}

// writeZip writes a zip archive whole, for its owner alone. All its files have the same date, so
// that the same files give the same bytes.
func writeZip(path string, files []file) error {
	return atomicfile.Write(path, 0o600, func(w io.Writer) error {
		z := zip.NewWriter(w)
		for _, f := range files {
			in, err := z.CreateHeader(&zip.FileHeader{Name: filepath.ToSlash(f.name), Method: zip.Deflate, Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)})
			if err != nil {
				return err
			}
			if _, err := in.Write(f.text); err != nil {
				return err
			}
		}
		return z.Close()
	})
}
