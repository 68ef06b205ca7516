package term

import (
	"iter"
	"maps"
	"math/big"
	"os"
	"strings"

	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/marking"
)

// A second is what a second marker gives for a question, and what the two agreed on.
type second struct {
	id, question  string
	first, second *big.Rat
	agreed        *big.Rat // nil: the first marks count
	reason        string
}

// readSecond reads a table with the columns id, question and marks, and perhaps agreed and reason.
// Marks that differ count only once the two have agreed, with a reason.
func readSecond(file string, book marking.Book) ([]second, error) {
	records, err := marking.ReadRecords(file, []string{"id", "question", "marks"}, "agreed", "reason")
	if err != nil {
		return nil, err
	}
	rows := marking.Class{}
	for _, r := range book.Rows {
		rows.Students = append(rows.Students, marking.Student{ID: r.ID})
	}
	var all []second
	seen := map[string]int{}
	for _, rec := range records {
		bad := func(format string, args ...any) error { return wrong(file, rec.Line, format, args...) }
		id, question := rec.Cells["id"], strings.TrimPrefix(rec.Cells["question"], number(book.Lab)+"/")
		who, ok := rows.Find(id)
		if !ok {
			return nil, bad("the book of lab %s has no row for %q", book.Lab, clip.Line(id, 40))
		}
		s := second{id: who.ID, question: question, reason: rec.Cells["reason"]}
		of := -1
		for i, q := range book.Questions {
			if q.ID != question {
				continue
			}
			of = q.Of
			for _, r := range book.Rows {
				if r.ID == s.id && r.Marks[i].Counts && !r.Marks[i].Waits {
					s.first = marksOf(r.Marks[i].Earned)
				}
			}
		}
		if of < 0 {
			return nil, bad("lab %s has no question %q", book.Lab, clip.Line(question, 40))
		}
		if s.first == nil {
			return nil, bad("%s has no marks for %s by a first marker yet", s.id, question)
		}
		if line, twice := seen[s.id+" "+question]; twice {
			return nil, bad("contradicts line %d: both are about %s of %s", line, question, s.id)
		}
		seen[s.id+" "+question] = rec.Line
		for _, c := range []struct {
			name string
			to   **big.Rat
		}{{"marks", &s.second}, {"agreed", &s.agreed}} {
			text := rec.Cells[c.name]
			if text == "" && c.name == "agreed" {
				continue
			}
			v, ok := exact(text)
			if !ok || v.Sign() < 0 || v.Cmp(big.NewRat(int64(of), 1)) > 0 {
				return nil, bad("the column %s has %q; allowed: 0 to %d", c.name, clip.Line(text, 40), of)
			}
			*c.to = v
		}
		if s.agreed != nil && s.agreed.Cmp(s.first) != 0 && s.reason == "" {
			return nil, bad("changes the marks of %s for %s without a reason", s.id, question)
		}
		all = append(all, s)
	}
	return all, nil
}

// marksOf is a mark of a book, which has two decimals at most, as an exact number.
func marksOf(v float64) *big.Rat {
	r := new(big.Rat)
	r.SetString(new(big.Rat).SetFloat64(v).FloatString(2))
	return r
}

func sameFolder(a, b string) bool {
	x, err := os.Stat(a)
	if err != nil {
		return false
	}
	y, err := os.Stat(b)
	return err == nil && os.SameFile(x, y)
}

func keys[V any](m map[string]V) iter.Seq[string] { return maps.Keys(m) }
