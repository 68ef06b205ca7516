package bank

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"hash"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"gravity.example/gravlab/notebook"
)

// Fingerprints are short hashes of the questions of a sheet by their ids: of what a mark
// rests on, words apart. They hold the numbers that the prompt prints, the recordings that
// the worked solution reads, and the right answer. A change of a hint or a sentence leaves
// them as they are.
//
// Who has the fingerprint of a right answer can search for the answer. So those of a sheet
// that counts stay with the lecturer; of a sealed sheet without its key they hold only what
// everyone may know: kind, unit and the form of a function.
func (s Sheet) Fingerprints() (map[string]string, error) {
	tables := map[string][]byte{}
	if !s.Sealed {
		for _, r := range s.Recordings {
			table, err := r.Table()
			if err != nil {
				return nil, err
			}
			tables[r.ID] = table
		}
	}
	right := s.RightAnswers()
	out := map[string]string{}
	for _, q := range s.Questions {
		h := sha256.New()
		fmt.Fprintf(h, "question 1 %q %q\n", q.Kind, q.Unit)
		if q.Function != nil {
			fmt.Fprintf(h, "function %q %q\n", q.Function.Name, q.Function.Signature)
		}
		if !s.Sealed {
			q.printTruth(h, right)
			for _, r := range s.Recordings {
				if strings.Contains(q.Worked, fmt.Sprintf("Recording(%q)", r.ID)) {
					fmt.Fprintf(h, "recording %q %x\n", r.ID, sha256.Sum256(tables[r.ID]))
				}
			}
		}
		out[q.ID] = hex.EncodeToString(h.Sum(nil))[:16]
	}
	return out, nil
}

var printedNumber = regexp.MustCompile(`[0-9]+(?:\.[0-9]+)?`)

// printTruth writes what is right. Six digits: machines differ in the last ones.
func (q Question) printTruth(h hash.Hash, right Answers) {
	fmt.Fprintf(h, "numbers %q\n", printedNumber.FindAllString(q.Prompt, -1))
	if q.Solve != nil {
		fmt.Fprintf(h, "right %.6g\n", right[q.ID])
	}
	if q.U != nil {
		fmt.Fprintf(h, "u %.4g\n", q.U())
	}
	for _, o := range q.Options {
		if o.Right {
			fmt.Fprintf(h, "option %q of %d\n", o.Letter, len(q.Options))
		}
	}
	if f := q.Function; f != nil {
		for _, call := range f.Calls {
			fmt.Fprintf(h, "call %.6g gives %.6g\n", call, f.Right(call))
		}
	}
}

// Differing lists the questions of a sheet whose fingerprints are not those that were kept,
// in the order of the sheet; a question that has none is not listed, one that the sheet no
// longer has is.
func (s Sheet) Differing(kept map[string]string) ([]string, error) {
	if len(kept) == 0 {
		return nil, nil
	}
	now, err := s.Fingerprints()
	if err != nil {
		return nil, err
	}
	var out []string
	for _, q := range s.Questions {
		if was, ok := kept[q.ID]; ok && was != now[q.ID] {
			out = append(out, q.ID)
		}
	}
	var gone []string
	for id := range kept {
		if _, ok := now[id]; !ok {
			gone = append(gone, id)
		}
	}
	slices.Sort(gone)
	return append(out, gone...), nil
}

// printsKey is where the cell that declares the sheet keeps the fingerprints that travel
// with a notebook.
const printsKey = "prints"

// Stamp keeps the sheet's fingerprints in a notebook, so that another bank can be told.
// With those of a sealed sheet and its key the right answers could be searched for, so call
// it on the sheet as the student's program knows it.
func (s Sheet) Stamp(nb *notebook.Notebook) error {
	cell := nb.Question(s.Lab.Number(), notebook.Sheet)
	if cell == nil {
		return nil
	}
	prints, err := s.Fingerprints()
	if err != nil {
		return err
	}
	kept := map[string]any{}
	for id, print := range prints {
		kept[id] = print
	}
	cell.SetOwn(printsKey, kept)
	return nil
}

// Stamped are the fingerprints that a notebook carries; nil if there are none.
func Stamped(nb *notebook.Notebook) map[string]string {
	for _, c := range nb.Cells {
		if _, part, ok := c.Question(); !ok || part != notebook.Sheet {
			continue
		}
		kept, _ := c.Own()[printsKey].(map[string]any)
		out := map[string]string{}
		for id, v := range kept {
			if print, ok := v.(string); ok {
				out[id] = print
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	return nil
}

// Changed lists the questions of a notebook's sheet that are not those of this bank: the
// bank has changed since the notebook was handed out or begun.
func (s Sheet) Changed(nb *notebook.Notebook) ([]string, error) { return s.Differing(Stamped(nb)) }

// Table is a recording as a CSV file with the units in its header, as spreadsheets and
// ask.OwnRecording read it. Numbers stand there whole: read back they are the same.
func (r Recording) Table() ([]byte, error) {
	columns, err := r.Make()
	if err != nil {
		return nil, fmt.Errorf("recording %s: %w", r.ID, err)
	}
	if len(columns) != len(r.Columns) {
		return nil, fmt.Errorf("recording %s has %d columns and names %d", r.ID, len(columns), len(r.Columns))
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	row := make([]string, len(r.Columns))
	for i, c := range r.Columns {
		unit := c.Unit
		if unit == "" {
			unit = "1"
		}
		row[i] = fmt.Sprintf("%s (%s)", c.Name, unit)
	}
	w.Write(row)
	for k := range columns[0] {
		for i := range columns {
			if len(columns[i]) != len(columns[0]) || math.IsNaN(columns[i][k]) {
				return nil, fmt.Errorf("recording %s: column %s has a gap at sample %d", r.ID, r.Columns[i].Name, k)
			}
			row[i] = strconv.FormatFloat(columns[i][k], 'g', -1, 64)
		}
		w.Write(row)
	}
	w.Flush()
	return []byte(b.String()), w.Error()
}
